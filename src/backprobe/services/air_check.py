"""The air check: sensor against engine, answered in words with reasons and what limits them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from backprobe.core.engine.air_flow import absolute_load, air_from_fuel
from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.calculated_air import CalculatedAir, InputUncertainty, calculate_air
from backprobe.core.engine.humid_air import ZERO_CELSIUS
from backprobe.core.engine.operating_point import AirEngine, AirPoints, air_points
from backprobe.core.engine.sensor_comparison import Comparison, SensorReadings, compare_sensor
from backprobe.core.engine.stoichiometry import FUELS
from backprobe.services.air_input import AirCase, AirReading
from backprobe.services.air_quick_checks import QuickCheck, quick_checks
from backprobe.services.air_words import (
    CAUTIONS,
    headline,
    limits_words,
    moisture_words,
    next_words,
    reason_words,
)

LEAST_TOLD: Final = 0.02
_HUMIDITY_DOUBT: Final = 0.05  # of a hygrometer or the weather report
CALCULATION_ONLY: Final = "calculated only"


@dataclass(frozen=True, slots=True)
class AirRow:
    """One point: what the sensor showed, and what the engine can take.

    Flows in g/s, pressure in kPa, temperature in °C, speed in 1/min, efficiency and load as shares;
    NaN where the sensor wasn't read.
    """

    name: str
    speed: float
    pressure: float
    temperature: float
    flow: float
    calculated: float
    low: float
    high: float
    efficiency: float
    load: float
    fuel_air: float

    @property
    def side(self) -> str:
        """Where the sensor's air lies: "below", "inside" or "above" the 90 % band."""
        if math.isnan(self.flow):
            return ""
        return "below" if self.flow < self.low else "above" if self.flow > self.high else "inside"


@dataclass(frozen=True, slots=True)
class Possible:
    """One explanation with its probability, in words."""

    name: str
    probability: float
    words: str


@dataclass(frozen=True, slots=True)
class AirAnswer:
    """What is said about an engine's air."""

    verdict: str
    headline: str
    possible: tuple[Possible, ...]
    reasons: tuple[str, ...]
    rows: tuple[AirRow, ...]
    checks: tuple[QuickCheck, ...]
    limits: tuple[str, ...]
    next: tuple[str, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def is_sound(self) -> bool:
        """Whether nothing is said against sensor or engine."""
        return self.verdict in {"in order", CALCULATION_ONLY}


def check_air(case: AirCase) -> AirAnswer:
    """Compare the sensor's air with the calculated air at all points.

    Without any flow of the sensor only the calculation is given.
    """
    engine, points = engine_of(case), points_of(case.readings)
    inputs = InputUncertainty(barometer=1e3 * case.barometer_uncertainty)
    if not math.isnan(case.humidity):
        inputs = replace(inputs, humidity=(case.humidity, _HUMIDITY_DOUBT))
        case = replace(case, remarks=(*case.remarks, moisture_words(points, case.humidity)))
    flow = np.array([each.flow for each in case.readings])
    by_fuel = np.array([_fuel_air(each, case) for each in case.readings])
    calculated = calculate_air(engine, points, inputs)
    rows = tuple(_rows(case, points, calculated, by_fuel))
    checks = quick_checks(case, engine)
    has_flow = np.isfinite(flow)
    if not has_flow.any():
        return AirAnswer(
            CALCULATION_ONLY,
            "The engine takes the air below; no sensor's flow was given to compare with it.",
            (),
            (),
            rows,
            checks,
            limits_words(calculated, has_fuel=False, case=case),
            ("Give the air mass flow that the control unit reports at the same moment.",),
            case.remarks,
        )
    kept = np.flatnonzero(has_flow)
    readings = tuple(case.readings[place] for place in kept)
    comparison = compare_sensor(
        engine,
        SensorReadings(
            points_of(readings), 1e-3 * flow[kept], 1e-3 * by_fuel[kept], _doubt(readings)
        ),
        inputs,
    )
    return _answer(case, comparison, rows, checks, by_fuel[kept])


def _answer(
    case: AirCase,
    comparison: Comparison,
    rows: tuple[AirRow, ...],
    checks: tuple[QuickCheck, ...],
    by_fuel: Array,
) -> AirAnswer:
    has_fuel = bool(np.isfinite(by_fuel).any())
    possible = tuple(
        Possible(each.name, each.probability, reason_words(each))
        for each in comparison.explanations
        if each.probability >= LEAST_TOLD
    )
    return AirAnswer(
        comparison.verdict,
        headline(comparison),
        possible,
        tuple(_reasons(rows)),
        rows,
        checks,
        limits_words(comparison.calculated, has_fuel=has_fuel, case=case),
        next_words(comparison, case, has_fuel=has_fuel),
        case.remarks,
    )


def _reasons(rows: tuple[AirRow, ...]) -> list[str]:
    said = []
    for row in rows:
        if math.isnan(row.flow):
            continue
        apart = 100.0 * (row.flow / row.calculated - 1.0)
        words = f"{abs(apart):.0f} % {'more' if apart > 0 else 'less'} than calculated"
        words = "as calculated" if abs(apart) < 0.5 else words
        band = f"{row.low:.3g} to {row.high:.3g} g/s"
        line = (
            f"At {row.speed:.0f} rpm and {row.pressure:.0f} kPa the sensor shows"
            f" {row.flow:.3g} g/s, {words}; it is {row.side} the band of {band} that nine engines"
            " in ten would take."
        )
        if not math.isnan(row.fuel_air):
            line += f" The fuel speaks for {row.fuel_air:.3g} g/s."
        said.append(line)
    return said


def engine_of(case: AirCase) -> AirEngine:
    """The engine as the calculation takes it."""
    known = case.engine
    return AirEngine(
        1e-3 * (known.displacement_l or math.nan),
        known.cycle or "four-stroke",
        is_diesel=known.fuel == "diesel",
        is_forced=known.induction == "forced",
        recirculates=not case.recirculation_shut,
    )


def points_of(readings: tuple[AirReading, ...]) -> AirPoints:
    """The points as the calculation takes them, in SI."""
    table = [[r.speed, 1e3 * r.pressure, r.temperature, 1e3 * r.barometer] for r in readings]
    speed, pressure, celsius, barometer = np.array(table).T
    return air_points(speed, pressure, celsius + ZERO_CELSIUS, barometer)


def _rows(
    case: AirCase, points: AirPoints, calculated: CalculatedAir, by_fuel: Array
) -> list[AirRow]:
    low, high = calculated.interval()
    engine = engine_of(case)
    found = []
    for i, each in enumerate(case.readings):
        efficiency = load = math.nan
        if not math.isnan(each.flow):
            efficiency = 1e-3 * each.flow / float(calculated.swept[i])
            load = float(
                absolute_load(
                    1e-3 * each.flow, points.speed_rpm[i], engine.displacement, engine.cycle
                )
            )
        median = 1e3 * float(calculated.median[i])
        found.append(
            AirRow(
                each.name,
                each.speed,
                each.pressure,
                each.temperature,
                each.flow,
                median,
                1e3 * float(low[i]),
                1e3 * float(high[i]),
                efficiency,
                load,
                float(by_fuel[i]),
            )
        )
    return found


def _fuel_air(each: AirReading, case: AirCase) -> float:
    """Air by the fuel, g/s: from fuel rate and lambda, else from the trims; NaN without."""
    if not math.isnan(each.fuel_rate) and not math.isnan(each.lambda_value) and each.fuel_rate > 0:
        fuel = FUELS[case.engine.fuel or "petrol"]
        volume = 1e-3 * each.fuel_rate / 3600.0
        return 1e3 * float(air_from_fuel(volume, fuel.density, fuel.ratio, each.lambda_value))
    # Trims say what the oxygen sensor had to add to the fuel that the sensor's air asked for.
    if case.engine.fuel == "diesel" or math.isnan(each.trim):
        return math.nan
    return each.flow * (1.0 + each.trim / 100.0)


def _doubt(readings: tuple[AirReading, ...]) -> Array:
    """Standard uncertainty of each flow's reading, kg/s: its digit and its wander."""
    return 1e-3 * np.array([math.hypot(r.digit / 12.0**0.5, r.wander) for r in readings])
