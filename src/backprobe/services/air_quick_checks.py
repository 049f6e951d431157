"""Quick checks of an air case in words: idle, full load, snap."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from backprobe.core.engine.humid_air import ZERO_CELSIUS
from backprobe.core.engine.operating_point import AirEngine
from backprobe.core.engine.plausibility import (
    DOUBTFUL,
    USUAL,
    Plausibility,
    full_load_air,
    idle_air,
    snap_air,
)
from backprobe.services.air_input import AirCase, AirReading

_IDLE_SPEEDS: Final = (450.0, 1100.0)  # rpm
_IDLE_MOST: Final = 0.55  # of the barometer: more is idle under load
_FULL_FROM: Final = 0.93  # of the barometer
_SAID: Final[dict[str, str]] = {USUAL: "as usual", DOUBTFUL: "in the grey zone"}


@dataclass(frozen=True, slots=True)
class QuickCheck:
    """One check: what was judged, how it came out, and why."""

    title: str
    verdict: str
    words: str


def quick_checks(case: AirCase, engine: AirEngine) -> tuple[QuickCheck, ...]:
    """Every check that the points allow."""
    return tuple(_checks(case, engine))


def _checks(case: AirCase, engine: AirEngine) -> Iterator[QuickCheck]:
    for each in case.readings:
        if math.isnan(each.flow):
            continue
        if _is_idle(each) and not engine.is_diesel:
            yield _idle(each, engine)
        if each.pressure >= _FULL_FROM * each.barometer and not (
            engine.is_forced or engine.is_diesel
        ):
            yield _full_load(each, engine)
    if case.snap is not None and not (engine.is_forced or engine.is_diesel):
        yield _snap(case.snap, engine)


def _is_idle(each: AirReading) -> bool:
    is_slow = _IDLE_SPEEDS[0] <= each.speed <= _IDLE_SPEEDS[1]
    return is_slow and each.pressure <= _IDLE_MOST * each.barometer


def _idle(each: AirReading, engine: AirEngine) -> QuickCheck:
    found = idle_air(1e-3 * each.flow, engine.displacement)
    return QuickCheck(
        "Idle",
        found.verdict,
        f"{found.value:.2f} g/s a litre, {_said(found)}: a warm engine without load takes about"
        f" {found.low:g} to {found.high:g} (common practice, no source).",
    )


def _full_load(each: AirReading, engine: AirEngine) -> QuickCheck:
    found = full_load_air(
        1e-3 * each.flow, engine, each.speed, each.temperature + ZERO_CELSIUS, 1e3 * each.barometer
    )
    litres = 1e3 * engine.displacement
    return QuickCheck(
        f"Full load at {each.speed:.0f} rpm",
        found.verdict,
        f"{each.flow / litres:.1f} g/s a litre, {_said(found)}: nine engines in ten take"
        f" {1e3 * found.low / litres:.0f} to {1e3 * found.high / litres:.0f} here.",
    )


def _snap(each: AirReading, engine: AirEngine) -> QuickCheck:
    found = snap_air(1e-3 * each.flow, engine, each.speed, each.temperature + ZERO_CELSIUS)
    return QuickCheck(
        "Snap of the throttle",
        found.verdict,
        f"A peak of {each.flow:.0f} g/s, the speed reaching {each.speed:.0f} rpm, {_said(found)}:"
        f" {1e3 * found.low:.0f} g/s or more is. A log of few answers a second misses the very"
        " peak.",
    )


def _said(found: Plausibility) -> str:
    return _SAID.get(found.verdict, "too far off")
