"""Engines with a hidden truth, for the study of the air comparison.

How they breathe, what ails a sensor and what a technician would see is worked out here by other
means than the program's own: residual gas, heat taken up, pipes in tune, backflow; a hot wire's own
law (King 1914: the square of the voltage rises with the root of the flow) with a film on it or an
offset in its ground; a hole of so many millimetres. Nothing is imported from the comparison but the
names of its verdicts and the types that it takes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.operating_point import AirEngine, air_points
from backprobe.core.engine.sensor_comparison import SensorReadings

Array = NDArray[np.float64]
TRUTHS = (
    "in order",
    "reads low",
    "reads high",
    "offset",
    "contaminated",
    "unmetered air",
    "engine",
    "fuel",
)
KINDS = ("idle", "idle and 2500", "stand", "drive")
# How often each is drawn, unless asked otherwise.
SHARES = (0.45, 0.12, 0.05, 0.07, 0.10, 0.09, 0.06, 0.06)
# What is less than this at idle and at full load alike is no fault that anyone would call one.
_LEAST_EFFECT = 0.10
R_AIR = 287.0


@dataclass(frozen=True)
class Engine:
    """What an engine is, and how it breathes."""

    litres: float
    is_forced: bool
    is_diesel: bool
    compression: float
    discharge: float
    heat: float  # share of the way to the coolant's temperature at idle
    overlap: float
    overlap_power: float
    tuned_rpm: float
    tuned_octaves: float
    tuned_gain: float
    loss: float  # at 6000 1/min
    back_pressure: float  # Pa at full load
    exhaust_back: float  # share of charge at part load
    timing: float = 1.0  # what wrong valve timing leaves
    blocked: float = 0.0  # more back pressure at full load, Pa

    def air(self, rpm: Array, pressure: Array, kelvin: Array, barometer: float) -> Array:
        """Air that it takes, kg/s."""
        full = self.litres * 0.038
        air: Array = np.full(len(rpm), 0.5 * full)
        for _ in range(20):  # back pressure and heat depend on the flow
            share = np.minimum(air / full, 1.5)
            behind = barometer + (self.back_pressure + self.blocked) * share**2
            k, r = 1.33, self.compression
            filled = r / (r - 1) - (behind / pressure + k - 1) / (k * (r - 1))
            ratio = np.minimum(pressure / barometer, 1.0)
            filled = filled * (1 - self.overlap * (1 - ratio) * (800 / rpm) ** self.overlap_power)
            part = np.clip((ratio - 0.33) / 0.67, 0, 1)
            back = (1 - part) if self.is_diesel else 4 * part * (1 - part)
            if self.is_diesel:
                back = np.clip((1.5 * barometer - pressure) / (0.5 * barometer), 0, 1)
            charge = kelvin + self.heat * (363 - kelvin) / (1 + 3 * share)
            octaves = np.log2(rpm / self.tuned_rpm) / self.tuned_octaves
            tuned = 1 + self.tuned_gain * ratio * np.exp(-0.5 * octaves**2)
            lost = 1 - self.loss * (rpm / 6000) ** 2
            density = pressure / (R_AIR * charge)
            swept = self.litres * 1e-3 * rpm / 120 * density
            new = swept * self.discharge * np.maximum(filled, 0.05) * tuned * lost
            air = 0.5 * air + 0.5 * new * (1 - self.exhaust_back * back) * self.timing
        return air


@dataclass(frozen=True)
class Visit:
    """One engine as a technician meets it: the truth, and what was read."""

    truth: str
    engine: AirEngine
    readings: SensorReadings
    kind: str  # which points were read


def draw_visit(
    rng: np.random.Generator,
    *,
    truth: str = "",
    kind: str = "",
    with_fuel: bool | None = None,
    only_petrol: bool = False,
) -> Visit:
    """Draw an engine, a fault, and readings."""
    truth = truth or str(rng.choice(TRUTHS, p=SHARES))
    kind = kind or str(rng.choice(KINDS, p=(0.2, 0.3, 0.2, 0.3)))
    engine = _engine(rng, only_petrol=only_petrol)
    if engine.is_diesel and truth == "unmetered air":
        truth = "in order"  # without a vacuum nothing is drawn in past the sensor
    engine = _ill(rng, engine) if truth == "engine" else engine
    barometer = float(rng.uniform(88e3, 103e3))
    rpm, pressure, kelvin = _points(rng, engine, kind, barometer)
    has_fuel = bool(rng.random() < 0.5) if with_fuel is None else with_fuel
    if truth == "fuel" and (engine.is_diesel or not has_fuel):
        truth = "in order"  # nothing is said of the fuel then
    true = engine.air(rpm, pressure, kelvin, barometer)
    shown = _sensor(rng, truth, engine, true, pressure, kelvin, barometer)
    shown = np.maximum(np.round(shown, 5), 1e-5)
    fuel = np.full(len(true), np.nan)
    if has_fuel and not engine.is_diesel:
        fuel = (
            true
            * _fuel_fault(rng, truth, true, engine)
            * np.exp(rng.normal(0, 0.04) + rng.normal(0, 0.015, len(true)))
        )
    told = air_points(
        np.round(rpm * (1 + rng.normal(0, 0.002, len(rpm)))),
        np.round((pressure + rng.uniform(-2e3, 2e3)) / 1e3) * 1e3,
        np.round(kelvin + rng.uniform(-4, 4)),
        round(barometer + rng.uniform(-1.5e3, 1.5e3), -3),
    )
    recirculates = not (engine.is_diesel and rng.random() < 0.5)
    if not recirculates:  # seen to be shut: then it is
        engine_open = engine.exhaust_back
        shut = _shut(engine)
        shown = shown * (
            shut.air(rpm, pressure, kelvin, barometer) / true if engine_open else np.ones(len(true))
        )
    known = AirEngine(
        engine.litres * 1e-3,
        is_diesel=engine.is_diesel,
        is_forced=engine.is_forced,
        recirculates=recirculates,
    )
    digits = np.full(len(true), 0.01e-3 / 12**0.5)
    return Visit(truth, known, SensorReadings(told, shown, fuel, digits), kind)


def _engine(rng: np.random.Generator, *, only_petrol: bool) -> Engine:
    is_diesel = not only_petrol and bool(rng.random() < 0.15)
    is_forced = is_diesel or (not only_petrol and bool(rng.random() < 0.2))
    return Engine(
        litres=float(rng.uniform(1.0, 3.5)),
        is_forced=is_forced,
        is_diesel=is_diesel,
        compression=float(rng.uniform(15, 19) if is_diesel else rng.uniform(8.5, 12.5)),
        discharge=float(rng.normal(0.91, 0.045)),
        heat=float(rng.uniform(0.1, 0.5)),
        overlap=float(rng.uniform(0.0, 0.45)),
        overlap_power=float(rng.uniform(0.5, 1.2)),
        tuned_rpm=float(rng.uniform(2200, 5500)),
        tuned_octaves=float(rng.uniform(0.3, 0.9)),
        tuned_gain=float(rng.uniform(0.0, 0.12)),
        loss=float(rng.uniform(0.0, 0.14)),
        back_pressure=float(rng.uniform(5e3, 30e3)),
        exhaust_back=float(
            rng.uniform(0.1, 0.45) if is_diesel else rng.choice((0, 1)) * rng.uniform(0, 0.12)
        ),
    )


def _fuel_fault(rng: np.random.Generator, truth: str, true: Array, engine: Engine) -> Array:
    """Wrong pressure or injectors: the same share everywhere, or growing with the air."""
    if truth != "fuel":
        return np.ones(len(true))
    size = rng.choice((1.0, 1.0, -0.7)) * rng.uniform(0.12, 0.4)
    share = np.clip(true / (0.038 * engine.litres), 0.0, 1.0) ** 0.4 if rng.random() < 0.4 else 1.0
    return np.asarray(1.0 + size * share * np.ones(len(true)))


def _shut(engine: Engine) -> Engine:
    return Engine(**{**engine.__dict__, "exhaust_back": 0.0})


def _ill(rng: np.random.Generator, engine: Engine) -> Engine:
    """Valve timing a tooth or more off, or a blocked exhaust."""
    if rng.random() < 0.6:
        return Engine(**{**engine.__dict__, "timing": float(rng.uniform(0.5, 0.86))})
    return Engine(**{**engine.__dict__, "blocked": float(rng.uniform(90e3, 300e3))})


def _points(
    rng: np.random.Generator, engine: Engine, kind: str, barometer: float
) -> tuple[Array, Array, Array]:
    rpm = [rng.uniform(650, 900)]
    share = [rng.uniform(0.28, 0.42)]
    if kind != "idle":
        rpm.append(rng.uniform(2300, 2700))
        share.append(rng.uniform(0.24, 0.36))
    if kind == "stand":
        rpm += [rng.uniform(1300, 1700), rng.uniform(3200, 3800)]
        share += [rng.uniform(0.25, 0.36), rng.uniform(0.25, 0.4)]
    if kind == "drive":
        rpm += list(rng.uniform(1500, 3200, 2)) + list(rng.uniform(2500, 5500, 2))
        share += list(rng.uniform(0.45, 0.75, 2)) + list(rng.uniform(0.94, 0.99, 2))
    ratio = np.array(share)
    if engine.is_diesel:
        ratio = 1.0 + 0.3 * np.maximum(ratio - 0.4, 0.0)
    if engine.is_forced and kind == "drive":
        ratio[-2:] = rng.uniform(1.3, 2.0, 2)
    kelvin = np.full(len(rpm), 273.15 + rng.uniform(0, 45)) + rng.uniform(0, 6, len(rpm))
    return np.array(rpm), ratio * barometer, kelvin


def _sensor(
    rng: np.random.Generator,
    truth: str,
    engine: Engine,
    true: Array,
    pressure: Array,
    kelvin: Array,
    barometer: float,
) -> Array:
    """What the sensor shows of the air that goes in."""
    ends = np.array([0.0012, 0.038]) * engine.litres
    while True:
        shown, at_ends = _told(rng, truth, true, ends, (pressure, kelvin, barometer))
        effect = np.abs(np.log(np.maximum(at_ends, 1e-6) / ends)).max()
        if truth in {"in order", "engine", "fuel"} or effect >= _LEAST_EFFECT:
            break
    own = np.exp(rng.normal(0, 0.02) + rng.normal(0, 0.006, len(true)))
    return np.asarray(shown * own)


def _told(
    rng: np.random.Generator,
    truth: str,
    true: Array,
    ends: Array,
    where: tuple[Array, Array, float],
) -> tuple[Array, Array]:
    both = np.concatenate((true, ends))
    top = ends[1] * 1.5
    a, b = 1.0, (4.6**2 - 1.0) / top**0.5  # King's law: 1 V still, 4.6 V at the top of the range
    volts = np.sqrt(a + b * both**0.5)
    if truth == "reads low":
        both = both * rng.uniform(0.45, 0.88)
    elif truth == "reads high":
        both = both * rng.uniform(1.12, 1.8)
    elif truth == "offset":
        volts = volts + rng.choice((1, 1, -1)) * rng.uniform(0.03, 0.35)
        both = (np.maximum(volts**2 - a, 1e-3) / b) ** 2
    elif truth == "contaminated":
        # A film keeps heat from the stream; what it takes up beside it over-reads a small flow.
        film, over = 1 - rng.uniform(0.06, 0.28), rng.uniform(0.0, 0.3)
        still = b * ends[0] ** 0.5 * (np.exp(over / 2) - film)
        both = (film * both**0.5 + still / b) ** 2
    elif truth == "unmetered air":
        most = 0.75 * true[:1].min() / _leak(1.0, where)[0]  # leaves some for the throttle
        both = both - _leak(rng.uniform(0.3, 1.0) * most**0.5, where)
    return both[: len(true)], both[len(true) :]


def _leak(millimetres: float, where: tuple[Array, Array, float]) -> Array:
    """Air through a round hole, at the points and at both ends."""
    pressure, kelvin, barometer = where
    behind = np.concatenate((pressure, [0.33 * barometer, 0.97 * barometer])) / barometer
    warm = np.concatenate((kelvin, kelvin[:1], kelvin[:1]))
    area = 0.7 * np.pi / 4 * (millimetres * 1e-3) ** 2
    ratio = np.clip(behind, 0.528, 1.0)
    flux = np.sqrt(7.0 * (ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)))
    return np.asarray(area * barometer / np.sqrt(R_AIR * warm) * flux)
