"""Pulses from the mid-reference instants: durations, periods, duty, jitter, odd ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.account import MOST_KEPT, Account, Summary
from backprobe.core.waveform.crossings import Crossings, joined

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

RUNNING = 8  # periods or pulses before one that it is compared with
GLITCH_SHARE = 0.25  # shorter than this share of the running pulse duration: a glitch
DROPOUT_SHARE = 1.6  # longer than this many running periods: a pulse is missing
MOST_LISTED = 1000  # odd ones listed; all are counted


@dataclass(frozen=True, eq=False)
class Odd:
    """Odd pulses or cycles.

    Parameters
    ----------
    count : int
        How many there are.
    instants, values : ndarray, shape (n_listed,)
        When (s) the first thousand of them begin, and their measure: duration of a glitch, s;
        number of pulses missing in a dropout.
    """

    count: int
    instants: Array
    values: Array


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses of a switching signal; every quantity starts at the instants it is given with.

    Parameters
    ----------
    pulse_duration : Summary
        High time between mid-reference instants, s, by its rising instant.
    pulse_separation : Summary
        Low time after a pulse, s, by its falling instant.
    period : Summary
        From one rising instant to the next, s.
    duty : Summary
        Pulse duration over period, 0 to 1.
    frequency : Summary
        1 / period, Hz, cycle by cycle.
    period_change : Summary
        Period less the one before, s: its deviation is the cycle-to-cycle jitter.
    dropouts, glitches : Odd
        Cycles longer than 1.6 times the median of the eight before, and pulses or separations
        shorter than a quarter of the median of the eight of their kind before.
    """

    pulse_duration: Summary
    pulse_separation: Summary
    period: Summary
    duty: Summary
    frequency: Summary
    period_change: Summary
    dropouts: Odd
    glitches: Odd

    @property
    def period_jitter(self) -> float:
        """Standard deviation of the periods, s."""
        return self.period.deviation

    @property
    def cycle_to_cycle_jitter(self) -> float:
        """Standard deviation of the change from one period to the next, s."""
        return self.period_change.deviation

    @property
    def mean_frequency(self) -> float:
        """Cycles per second over all complete cycles, Hz: one over the mean period."""
        return 1.0 / self.period.mean


class _OddOnes:
    def __init__(self) -> None:
        self.count = 0
        self._instants: list[Array] = []
        self._values: list[Array] = []

    def add(self, instants: Array, values: Array) -> None:
        room = max(MOST_LISTED - self.count, 0)
        self.count += instants.size
        self._instants.append(instants[:room])
        self._values.append(values[:room])

    def result(self) -> Odd:
        no = [np.zeros(0)]
        return Odd(
            self.count,
            np.concatenate(no + self._instants)[:MOST_LISTED],
            np.concatenate(no + self._values)[:MOST_LISTED],
        )


class _Running:
    """Compares values with the median of those before each one, across blocks."""

    def __init__(self) -> None:
        self._before = np.full(RUNNING, np.nan)

    def shorter(self, values: Array, share: float) -> tuple[IntArray, Array]:
        """Which values are below a share of the median before them, and that median."""
        row = np.concatenate([self._before, values])
        # Nothing can be short where even the shortest is no less than the share of the longest.
        if not values.size or values.min() >= share * np.fmax.reduce(row):
            self._before = row[-RUNNING:]
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        median = self._medians(row)
        which = np.flatnonzero(values < share * median)
        return which, median[which]

    def longer(self, values: Array, share: float) -> tuple[IntArray, Array]:
        """Which values are above a multiple of the median before them, and that median."""
        row = np.concatenate([self._before, values])
        if not values.size or values.max() <= share * np.fmin.reduce(row):
            self._before = row[-RUNNING:]
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        median = self._medians(row)
        which = np.flatnonzero(values > share * median)
        return which, median[which]

    def _medians(self, row: Array) -> Array:
        self._before = row[-RUNNING:]
        windows = np.lib.stride_tricks.sliding_window_view(row[:-1], RUNNING)
        ordered = np.sort(windows, axis=1)  # NaN, at the very start only, goes last
        n_there = RUNNING - np.isnan(ordered).sum(axis=1)
        place = np.arange(n_there.size)
        upper = ordered[place, np.minimum(n_there // 2, RUNNING - 1)]
        lower = ordered[place, np.maximum((n_there - 1) // 2, 0)]
        return np.asarray(0.5 * (lower + upper))


def _every_other(rises: Bools, is_whole: Bools, up: bool) -> Bools | slice:
    """Those that go one way and span no gap: every other one, where there is no gap."""
    if rises.size and is_whole.all():
        return slice(int(bool(rises[0]) != up), None, 2)
    return np.asarray(is_whole & (rises == up))


class PulseCounter:
    """Gathers pulses from mid-reference crossings that come in blocks.

    Parameters
    ----------
    most_kept : int
        Values kept of each quantity; beyond it every second, fourth... one is kept.
    """

    def __init__(self, most_kept: int = MOST_KEPT) -> None:
        names = ("duration", "separation", "period", "duty", "frequency", "change")
        self._accounts = {name: Account(most_kept) for name in names}
        self._carried: list[Crossings] = []
        self._n_carried = 0
        self._last_period = np.nan
        self._last_stretch = -1
        self._running = {name: _Running() for name in ("period", "duration", "separation")}
        self._dropouts, self._glitches = _OddOnes(), _OddOnes()

    def add(self, crossings: Crossings) -> None:
        """Add the crossings that follow those of the last call."""
        if not len(crossings):
            return
        c = joined([*self._carried, crossings])
        self._halves(c)
        self._cycles(c)
        self._carried = [c.chosen(slice(-2, None))]
        self._n_carried = len(self._carried[0])

    def _halves(self, c: Crossings) -> None:
        """Pulses and separations: from one crossing to the next."""
        a = max(self._n_carried - 1, 0)
        first, second = slice(a, -1), slice(a + 1, None)
        span, start, rises = c.elapsed(first, second), c.instants[first], c.is_rising[first]
        is_whole = c.stretch[first] == c.stretch[second]
        for name, up in (("duration", True), ("separation", False)):
            mine = _every_other(rises, is_whole, up)
            values, instants = span[mine], start[mine]
            self._accounts[name].add(instants, values)
            short, _ = self._running[name].shorter(values, GLITCH_SHARE)
            self._glitches.add(instants[short], values[short])

    def _cycles(self, c: Crossings) -> None:
        """Cycles: from a rising crossing over the next to the one after that."""
        first, middle, last = slice(0, -2), slice(1, -1), slice(2, None)
        mine = _every_other(c.is_rising[first], c.stretch[first] == c.stretch[last], True)
        period = c.elapsed(first, last)[mine]
        start, stretch = c.instants[first][mine], c.stretch[first][mine]
        if not period.size:
            return
        self._accounts["period"].add(start, period)
        self._accounts["duty"].add(start, c.elapsed(first, middle)[mine] / period)
        self._accounts["frequency"].add(start, 1.0 / period)
        long, running = self._running["period"].longer(period, DROPOUT_SHARE)
        self._dropouts.add(start[long], np.rint(period[long] / running) - 1.0)
        change = period - np.concatenate([[self._last_period], period[:-1]])
        is_next = np.concatenate([[self._last_stretch], stretch[:-1]]) == stretch
        self._accounts["change"].add(start, np.where(is_next, change, np.nan))
        self._last_period, self._last_stretch = float(period[-1]), int(stretch[-1])

    def result(self) -> Pulses:
        """What has been gathered."""
        found = {name: account.result() for name, account in self._accounts.items()}
        return Pulses(
            pulse_duration=found["duration"],
            pulse_separation=found["separation"],
            period=found["period"],
            duty=found["duty"],
            frequency=found["frequency"],
            period_change=found["change"],
            dropouts=self._dropouts.result(),
            glitches=self._glitches.result(),
        )


def pulses_of(crossings: Crossings, *, most_kept: int = MOST_KEPT) -> Pulses:
    """Pulses of a row of mid-reference crossings.

    Parameters
    ----------
    crossings : Crossings
        From `crossing_instants` at the middle of the state levels.
    most_kept : int
        Values kept of each quantity.

    Returns
    -------
    Pulses
        Durations, separations, periods, duty, jitter, odd ones. No quantity spans a gap.

    Notes
    -----
    [ieee181], 5.4 to 5.6: pulse duration, separation, period and duty factor are differences of
    mid-reference level instants.
    """
    counter = PulseCounter(most_kept)
    counter.add(crossings)
    return counter.result()
