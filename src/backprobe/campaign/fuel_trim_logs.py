"""Logs of made-up engines: every point held for a while, trims swinging as control units swing."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.campaign.fuel_trims import LIMIT, TrueEngine
from backprobe.campaign.spreads import Random, even
from backprobe.recordings.log import LogSeries

Array: TypeAlias = NDArray[np.float64]

STEP: Final = 100.0 / 128.0  # per cent; trims are sent in one byte [j1979]


def draw_log(engine: TrueEngine, litres: float, rng: Random) -> list[LogSeries]:
    """Log an engine at each of its points in turn.

    Parameters
    ----------
    engine : TrueEngine
        What it asks for, and where.
    litres : float
        Displacement.
    rng : Random
        Where chance comes from.
    """
    rate, held = even(rng, 1.0, 5.0), rng.uniform(20.0, 70.0, len(engine.flow))
    clock = np.arange(0.0, held.sum(), 1.0 / rate)
    at = np.searchsorted(np.cumsum(held), clock, side="right").clip(0, len(held) - 1)
    speed = engine.speed_rpm[at] + rng.normal(0.0, 10.0, len(clock))
    flow = engine.flow[at] * litres * (1.0 + rng.normal(0.0, 0.015, len(clock)))
    found = [_series("engine speed", "1/min", clock + 0.02, speed)]
    if engine.has_air_mass:
        found.append(_series("air mass flow", "g/s", clock + 0.05, flow))
    else:
        load = 100.0 * flow / litres * 120.0 / (1.184 * speed)
        found.append(_series("absolute load", "%", clock + 0.05, load))
        pressure = np.minimum(load * 1.15 + 5.0, 100.0)
        found.append(_series("manifold pressure", "kPa", clock + 0.08, pressure))
    for bank, asked in enumerate(engine.asked, start=1):
        total = 100.0 * np.clip(asked, -LIMIT, LIMIT)[at]
        long = _steps(even(rng, 0.6, 1.0) * total)
        long = np.where(np.abs(asked[at]) >= LIMIT, np.sign(total) * 100.0 * LIMIT, long)
        short = _steps(total - long + _swing(rng, len(clock), rate))
        name = f"fuel trim bank {bank}"
        found.append(_series(f"short {name}", "%", clock + 0.1 * bank, short))
        found.append(_series(f"long {name}", "%", clock + 0.1 * bank + 0.03, long))
    return found


def _swing(rng: Random, n: int, rate: float) -> Array:
    """A first-order process: swings of 1 to 3 % that are forgotten in half a second to 6 s."""
    memory = np.exp(-1.0 / (rate * even(rng, 0.5, 6.0)))
    push = rng.normal(0.0, even(rng, 1.0, 3.0) * np.sqrt(1.0 - memory**2), n)
    swing = np.zeros(n)
    for row in range(1, n):
        swing[row] = memory * swing[row - 1] + push[row]
    return swing


def _steps(values: Array) -> Array:
    return np.asarray(np.round(values / STEP) * STEP)


def _series(name: str, unit: str, times: Array, values: Array) -> LogSeries:
    return LogSeries(name, name, unit, times, values)
