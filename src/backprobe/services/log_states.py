"""When a log's engine stayed in one state, by simple stated rules.

A state holds while its rule holds on the common clock of the series that it needs, for at least as
long as it names. All limits are common practice of petrol and diesel engines without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.recordings.log import Log, LogSeries

Values = Mapping[str, NDArray[np.float64]]

SPEED: Final = "engine speed"
ROAD: Final = "vehicle speed"
THROTTLE: Final = "throttle position"
PEDAL: Final = "pedal position"
PRESSURE: Final = "manifold pressure"
LOAD: Final = "calculated load"
_STEADY_SPAN: Final = 1.0  # s on either side, within which a steady speed may not wander


@dataclass(frozen=True, slots=True)
class StateRule:
    """When a state holds.

    Parameters
    ----------
    name : str
        The state.
    words : str
        Its rule in words, with all limits.
    least : float
        Shortest duration that counts, s.
    holds : callable
        From the values on a common clock (n_time each) and that clock to where the rule holds;
        None where the log lacks what it needs.
    """

    name: str
    words: str
    least: float
    holds: Callable[[Values, NDArray[np.float64]], NDArray[np.bool_] | None]


@dataclass(frozen=True, slots=True)
class HeldState:
    """A span in which a state held, s."""

    state: str
    start: float
    end: float


def _standing(values: Values) -> NDArray[np.bool_] | bool:
    return values[ROAD] < 1.0 if ROAD in values else True


def _wander(speed: NDArray[np.float64], times: NDArray[np.float64]) -> NDArray[np.float64]:
    """Difference of highest and lowest speed within a span around each instant, 1/min."""
    first = np.searchsorted(times, times - _STEADY_SPAN)
    last = np.searchsorted(times, times + _STEADY_SPAN, side="right")
    found = np.empty(times.size)
    for i in range(times.size):
        part = speed[first[i] : last[i]]
        found[i] = part.max() - part.min()
    return found


def _key_on(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    del times
    return values[SPEED] < 1.0 if SPEED in values else None


def _cranking(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    del times
    if SPEED not in values:
        return None
    return np.asarray((values[SPEED] >= 50.0) & (values[SPEED] < 450.0))


def _idle(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    if SPEED not in values:
        return None
    speed = values[SPEED]
    held = (speed >= 450.0) & (speed <= 1200.0) & (_wander(speed, times) < 150.0)
    return np.asarray(held & _standing(values))


def _steady_2500(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    if SPEED not in values:
        return None
    speed = values[SPEED]
    held = (np.abs(speed - 2500.0) <= 250.0) & (_wander(speed, times) < 250.0)
    return np.asarray(held & _standing(values))


def _snap(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    """Around the instants at which the throttle opens fast while the vehicle stands."""
    driver = next((name for name in (THROTTLE, PEDAL) if name in values), None)
    if driver is None or times.size < 3:
        return None
    before = np.interp(times - 1.0, times, values[driver])
    opens = (values[driver] - before > 30.0) & _standing(values)
    if SPEED in values:
        opens &= values[SPEED] >= 450.0
    around = np.zeros(times.size, dtype=np.bool_)
    for instant in times[opens]:
        around |= np.abs(times - instant) <= 1.0
    return around


def _full_load(values: Values, times: NDArray[np.float64]) -> NDArray[np.bool_] | None:
    del times
    if SPEED not in values or not ({THROTTLE, PEDAL, LOAD} & set(values)):
        return None
    held = values[SPEED] >= 1500.0
    if ROAD in values:
        held = held & (values[ROAD] > 5.0)
    pressed = np.zeros(held.size, dtype=np.bool_)
    for name, least in ((THROTTLE, 80.0), (PEDAL, 90.0), (LOAD, 90.0)):
        if name in values:
            pressed |= values[name] >= least
    return np.asarray(held & pressed)


RULES: Final = (
    StateRule("key on, engine off", "engine speed below 1 rpm for 2 s", 2.0, _key_on),
    StateRule("cranking", "engine speed from 50 to 450 rpm for 0.2 s", 0.2, _cranking),
    StateRule(
        "idle",
        "engine speed from 450 to 1200 rpm, within 150 rpm over 2 s, standing, for 3 s",
        3.0,
        _idle,
    ),
    StateRule(
        "steady 2500",
        "engine speed within 250 of 2500 rpm, within 250 rpm over 2 s, standing, for 3 s",
        3.0,
        _steady_2500,
    ),
    StateRule(
        "snap throttle",
        "throttle or pedal opens by more than 30 % within 1 s, standing; 1 s around it",
        0.0,
        _snap,
    ),
    StateRule(
        "full load",
        "throttle above 80 %, pedal or load above 90 %, above 1500 rpm, driving, for 1 s",
        1.0,
        _full_load,
    ),
)
_NEEDED: Final = (SPEED, ROAD, THROTTLE, PEDAL, LOAD)
_MOST_INSTANTS: Final = 200_000
_GAP_FROM, _LEAST_GAP = 5.0, 1.0  # usual intervals, and s


def held_states(log: Log) -> tuple[HeldState, ...]:
    """Find when states held, in order of time.

    Parameters
    ----------
    log : Log
        With its quantities named; without an engine speed only a snap can be found.
    """
    found = {one.quantity: one for one in log.series if one.quantity in _NEEDED}
    if not found:
        return ()
    clock = _clock_of(found)
    values = {name: _held_values(one, clock) for name, one in found.items()}
    states = []
    for rule in RULES:
        held = rule.holds(values, clock)
        if held is not None:
            states += [
                HeldState(rule.name, start, end)
                for start, end in _spans(held, clock)
                if end - start >= rule.least
            ]
    return tuple(sorted(states, key=lambda one: (one.start, one.state)))


def _clock_of(found: Mapping[str, LogSeries]) -> NDArray[np.float64]:
    """Instants of the engine speed, or of the densest series; thinned where there are many."""
    chosen = found.get(SPEED) or max(found.values(), key=lambda one: one.times.size)
    times = np.unique(chosen.times)
    step = -(-times.size // _MOST_INSTANTS)
    return times[::step]


def _held_values(series: LogSeries, clock: NDArray[np.float64]) -> NDArray[np.float64]:
    """The last value at or before each instant: what the log showed at that time."""
    at = np.clip(np.searchsorted(series.times, clock, side="right") - 1, 0, None)
    return np.asarray(series.values[at])


def _spans(held: NDArray[np.bool_], clock: NDArray[np.float64]) -> list[tuple[float, float]]:
    """First and last instant of each run; a gap in the log ends a run: nothing is known there."""
    steps = np.diff(clock)
    if steps.size:
        gaps = np.flatnonzero(steps > max(_GAP_FROM * float(np.median(steps)), _LEAST_GAP))
        return [
            span
            for part in np.split(np.arange(clock.size), gaps + 1)
            for span in _runs(held[part], clock[part])
        ]
    return _runs(held, clock)


def _runs(held: NDArray[np.bool_], clock: NDArray[np.float64]) -> list[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], held.astype(np.int8), [0]))))
    return [
        (float(clock[start]), float(clock[stop - 1]))
        for start, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
