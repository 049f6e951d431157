"""Write invented captures and logs, computed from stated physics, into a folder.

An air-mass sensor on a 1.6 litre engine whose throttle is snapped open: once sound, once with
fluff on its element. A pedal swept twice whose first track has a worn spot. Fuel trims of an
engine that draws air behind its air-mass sensor, and of the same engine mended. Nothing in them
was measured on a vehicle.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.throttle_flow import mass_flux

Array = NDArray[np.float64]

GAS: Final = 287.05  # J/(kg K), dry air
AMBIENT_PA: Final = 98_500.0
AMBIENT_K: Final = 293.0
MANIFOLD_K: Final = 313.0
DISPLACEMENT: Final = 1.6e-3  # m3
MANIFOLD: Final = 3.2e-3  # m3, plenum and runners
INERTIA: Final = 0.16  # kg m2, engine without load
BITS: Final = 8  # of the oscilloscope
CAPTURE_INTERVAL: Final = 1e-3  # s


@dataclass(frozen=True)
class Element:
    """A heated element of an air-mass sensor.

    King's law: the square of the bridge voltage is ``base + slope * flow**0.5``. What lies on the
    element insulates it (less slope), catches heat at rest (more base), and makes it slower.
    """

    base: float = 0.9  # V2
    slope: float = 1.4  # V2/(g/s)^0.5
    lag: float = 0.012  # s

    def volts(self, flow: Array, interval: float) -> Array:
        """Voltage for a flow in g/s."""
        wanted = np.sqrt(self.base + self.slope * np.sqrt(np.maximum(flow, 0.0)))
        out = np.empty_like(wanted)
        value, part = wanted[0], 1.0 - np.exp(-interval / self.lag)
        for i, target in enumerate(wanted):
            value += part * (target - value)
            out[i] = value
        return out


SOUND: Final = Element()
FOULED: Final = Element(base=1.6, slope=1.05, lag=0.085)


def snap(interval: float = CAPTURE_INTERVAL, duration: float = 3.0) -> tuple[Array, Array, Array]:
    """Throttle area, air flow (g/s) and speed (rpm) of a snap: a manifold fills and empties.

    dp/dt = (R T / V)(flow in - flow out); flow in by the compressible throttle equation, out by
    speed and density; the surplus of torque turns the engine up.
    """
    n = round(duration / interval)
    times = np.arange(n, dtype=np.float64) * interval
    idle_area, open_area = 1.55e-5, 9.0e-4  # m2
    opening: Array = np.interp(times, [0.0, 0.8, 0.88, 1.25, 1.33, duration], [0, 0, 1, 1, 0, 0])
    area = idle_area + (open_area - idle_area) * opening**2
    flow, speed = np.zeros(n), np.zeros(n)
    pressure, omega = 34_000.0, 800.0 * np.pi / 30.0
    inflow = 0.0
    for i in range(n):
        steps = 10  # the manifold is quicker than a sample
        for _ in range(steps):
            ratio = min(pressure, AMBIENT_PA)
            inflow = float(area[i] * mass_flux(AMBIENT_PA, ratio, AMBIENT_K)) * 0.8
            swept = DISPLACEMENT * omega / (4.0 * np.pi)
            outflow = 0.78 * pressure / (GAS * MANIFOLD_K) * swept
            pressure += GAS * MANIFOLD_K / MANIFOLD * (inflow - outflow) * interval / steps
            # Brake torque of 1.6 l: 125 N m at 95 kPa, 26 N m lost at any load.
            torque = 125.0 * (pressure - 16_000.0) / 79_000.0 - 26.0 - 0.018 * omega
            omega = max(omega + torque / INERTIA * interval / steps, 70.0)
            if opening[i] == 0.0:  # the idle control holds it up
                omega = max(omega, 800.0 * np.pi / 30.0)
        flow[i], speed[i] = inflow * 1000.0, omega * 30.0 / np.pi
    return np.asarray(area), flow, speed


def pedal(interval: float = 2e-3, duration: float = 9.0) -> tuple[Array, Array, Array]:
    """Times and both tracks of a pedal swept slowly twice; 0.73 to 0.76 of the travel is worn."""
    times = np.arange(round(duration / interval), dtype=np.float64) * interval
    travel = np.interp(times, [0, 0.8, 3.9, 4.6, 7.6, duration], [0, 0, 1, 1, 0, 0])
    travel = np.clip(travel + 0.004 * np.sin(2 * np.pi * 7.0 * times) * (travel > 0.02), 0, 1)
    first = 5.0 * (0.16 + 0.66 * travel)
    second = 5.0 * (0.08 + 0.33 * travel)
    worn = (travel > 0.73) & (travel < 0.76)
    return np.asarray(times), np.where(worn, 0.35 * first, first), second


def seen(volts: Array, full: float, noise: float, rng: np.random.Generator) -> Array:
    """What an oscilloscope of eight bits keeps of a voltage."""
    step = full / 2**BITS
    return np.round((volts + rng.normal(0.0, noise, volts.shape)) / step) * step


def write_columns(file: Path, columns: Mapping[str, Array], digits: int = 4) -> None:
    """Columns with a heading, comma between them."""
    rows = zip(*columns.values(), strict=True)
    lines = [",".join(columns), *(",".join(f"{x:.{digits}f}" for x in row) for row in rows)]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_all(folder: Path) -> tuple[Path, ...]:
    """Write the demo recordings; returns their names."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(7)
    _, flow, _ = snap()
    times = np.arange(flow.size, dtype=np.float64) * CAPTURE_INTERVAL
    for name, element in (("air-mass-snap-sound", SOUND), ("air-mass-snap-fouled", FOULED)):
        volts = seen(element.volts(flow, CAPTURE_INTERVAL), 5.12, 0.012, rng)
        write_columns(folder / f"{name}.csv", {"time (s)": times, "air mass signal (V)": volts})
    at, first, second = pedal()
    write_columns(
        folder / "pedal-worn-track.csv",
        {
            "time (s)": at,
            "track 1 (V)": seen(first, 5.12, 0.008, rng),
            "track 2 (V)": seen(second, 5.12, 0.008, rng),
        },
    )
    for name, leak in (("trims-unmetered-air", 2.6e-6), ("trims-after-repair", 0.0)):
        write_columns(folder / f"{name}.csv", trims(leak, rng), digits=2)
    return tuple(sorted(folder.glob("*.csv")))


def trims(leak_area: float, rng: np.random.Generator) -> dict[str, Array]:
    """A log of a drive on the spot: idle, 1500, 2500, 3500 rpm, idle again; leak area in m2.

    The leak lets air in behind the sensor by the throttle equation; the control unit adds the fuel
    that the sensor's flow leaves out, slowly by its long trim and the rest by its short one.
    """
    times = np.arange(0.0, 180.0, 0.5)
    speed = np.interp(
        times,
        [0, 50, 54, 80, 84, 110, 114, 140, 146, 180],
        [790, 790, 1500, 1500, 2500, 2500, 3500, 3500, 800, 800],
    )
    pressure = 33_000.0 + 1_000.0 * np.sin(times / 7.0) - 1.2 * (speed - 800.0)
    taken = 0.72 * pressure / (GAS * MANIFOLD_K) * DISPLACEMENT * speed / 120.0 * 1000.0
    leak = leak_area * 0.7 * mass_flux(AMBIENT_PA, pressure, AMBIENT_K) * 1000.0
    metered = np.maximum(taken - leak, 0.1)
    needed = 100.0 * (taken / metered - 1.0)
    long = np.empty_like(needed)
    value = 0.5 * needed[0]
    for i, each in enumerate(needed):
        value += 0.01 * (0.8 * each - value)
        long[i] = min(value, 25.0)
    short = np.clip(needed - long + 1.6 * np.sign(np.sin(2 * np.pi * 0.7 * times)), -25, 25)
    return {
        "time (s)": times,
        "engine speed (rpm)": speed + rng.normal(0, 6, times.size),
        "air mass flow (g/s)": metered * (1.0 + rng.normal(0, 0.01, times.size)),
        # Pulsation moves it by some hundred pascal; it is told in whole kilopascal.
        "manifold pressure (kPa)": np.round((pressure + rng.normal(0, 600, times.size)) / 1000.0),
        "intake air temperature (degC)": np.full(times.size, 24.0),
        "coolant temperature (degC)": np.full(times.size, 89.0),
        "short fuel trim bank 1 (%)": np.round(short / 0.78125) * 0.78125,
        "long fuel trim bank 1 (%)": np.round(long / 0.78125) * 0.78125,
    }


if __name__ == "__main__":
    for written in write_all(Path(sys.argv[1])):
        sys.stdout.write(f"{written}\n")
