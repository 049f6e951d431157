"""Instants at which samples cross a level, between samples by linear interpolation.

With a hysteresis band a crossing counts once the samples have gone from beyond one side of the
band to beyond the other. Where noise crosses the level several times on the way, the instant is
halfway between the first and the last of them: the first alone would come early, the last late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.quick_crossings import quick_crossings
from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]
Samples = NDArray[np.floating]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

_UNKNOWN, _LOW, _HIGH = 0, 1, 2


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings of one level, in order of time.

    Parameters
    ----------
    instants : ndarray, shape (n,)
        Instants, s.
    is_rising : ndarray of bool, shape (n,)
        Whether the samples went up. Neighbours differ, unless a gap lies between them.
    sample : ndarray of int, shape (n,)
        Number of the sample before the (first) crossing.
    fraction : ndarray, shape (n,)
        What is left from that sample to the crossing, in samples; 0 to 1, more where noise made
        several crossings of one. Only of use with evenly spaced samples.
    stretch : ndarray of int, shape (n,)
        Number of gaps before it: what lies between crossings of different stretches is unknown.
    interval : float or None
        Time from sample to sample, s; None where samples are not evenly spaced.
    """

    instants: Array
    is_rising: Bools
    sample: IntArray
    fraction: Array
    stretch: IntArray
    interval: float | None = None

    def __len__(self) -> int:
        return int(self.instants.size)

    def elapsed(self, first: IntArray | slice, second: IntArray | slice) -> Array:
        """Time from one crossing to another, s, by their places in the arrays.

        Keeps the digits that the difference of two late instants would lose: whole samples are
        subtracted as whole numbers.
        """
        if self.interval is None:
            return np.asarray(self.instants[second] - self.instants[first])
        whole = self.sample[second] - self.sample[first]
        return np.asarray((whole + (self.fraction[second] - self.fraction[first])) * self.interval)

    def chosen(self, which: Bools | IntArray | slice) -> Crossings:
        """Some of the crossings."""
        return Crossings(
            self.instants[which],
            self.is_rising[which],
            self.sample[which],
            self.fraction[which],
            self.stretch[which],
            self.interval,
        )


def joined(parts: list[Crossings], interval: float | None = None) -> Crossings:
    """Crossings of successive blocks as one; ``interval`` is that of no blocks at all."""
    if not parts:
        no = np.zeros(0)
        none = no.astype(np.int64)
        return Crossings(no, no.astype(bool), none, no, none, interval)
    return Crossings(
        np.concatenate([p.instants for p in parts]),
        np.concatenate([p.is_rising for p in parts]),
        np.concatenate([p.sample for p in parts]),
        np.concatenate([p.fraction for p in parts]),
        np.concatenate([p.stretch for p in parts]),
        parts[0].interval,
    )


def crossing_instants(
    samples: Samples,
    level: float,
    *,
    hysteresis: float = 0.0,
    start: float = 0.0,
    interval: float = 1.0,
    times: Array | None = None,
) -> Crossings:
    """Instants at which samples cross a level.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        NaN = gap: no crossing spans it, and the first level reached after it makes none.
    level : float
        Level, in the samples' unit. A sample on it counts as above.
    hysteresis : float
        Half the width of the band about the level that noise may fill, >= 0.
    start, interval : float
        Instant of the first sample and time from sample to sample, s.
    times : ndarray, shape (n_samp,), optional
        Instants, s, rising, where samples are not evenly spaced.

    Returns
    -------
    Crossings
        Instants, directions and places between samples.

    Raises
    ------
    ValueOutOfRange
        A number is unusable, samples are not a row, or times don't rise.

    Notes
    -----
    [ieee181], 5.3: a reference level instant is interpolated linearly between two samples.
    """
    finder = CrossingFinder(level, hysteresis=hysteresis, start=start, interval=interval)
    return finder.feed(samples, times)


@dataclass(frozen=True, slots=True)
class _Places:
    """Crossings as sample before, rest, instant; ``pair`` counts samples within the block."""

    pair: IntArray
    sample: IntArray
    fraction: Array
    instant: Array

    def chosen(self, which: IntArray) -> _Places:
        return _Places(
            self.pair[which], self.sample[which], self.fraction[which], self.instant[which]
        )

    def followed_by(self, later: _Places) -> _Places:
        return _Places(
            np.concatenate([self.pair, later.pair]),
            np.concatenate([self.sample, later.sample]),
            np.concatenate([self.fraction, later.fraction]),
            np.concatenate([self.instant, later.instant]),
        )


_NOWHERE = _Places(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0))


class CrossingFinder:
    """Finds the crossings of a level in samples that come in blocks.

    Parameters
    ----------
    level, hysteresis, start, interval : float
        As for `crossing_instants`.

    Raises
    ------
    ValueOutOfRange
        One of them is not a usable number.
    """

    def __init__(
        self, level: float, *, hysteresis: float = 0.0, start: float = 0.0, interval: float = 1.0
    ) -> None:
        _require_numbers(level, hysteresis, start, interval)
        self.level, self.hysteresis = float(level), float(hysteresis)
        self.start, self.interval = float(start), float(interval)
        self._n_seen = 0
        self._last_sample: Samples | None = None  # shape (1,)
        self._last_time: Array | None = None  # shape (1,)
        self._state = _UNKNOWN
        self._n_gap = 0
        # First and last crossing since the samples came into the band, while they stay in it.
        self._carried = _NOWHERE
        self._work = np.empty((2, 0), dtype=np.bool_)

    def feed(self, samples: Samples, times: Array | None = None) -> Crossings:
        """Crossings that the next block completes, whatever the size of the blocks.

        Parameters
        ----------
        samples : ndarray, shape (n_samp,)
            The samples that follow those of the last call.
        times : ndarray, shape (n_samp,), optional
            Their instants, s, rising; for all blocks or for none.

        Returns
        -------
        Crossings
            One that began in an earlier block and is completed in this one belongs to this one.

        Raises
        ------
        ValueOutOfRange
            Samples are not a row of numbers, or times don't rise.
        """
        x = require_row(samples)
        t = None if times is None else np.asarray(times, dtype=np.float64)
        if t is not None and t.shape != x.shape:
            raise ValueOutOfRange("Each sample needs one instant.", "times")
        if x.size == 0:
            return joined([], None if t is not None else self.interval)
        if self._last_sample is not None:
            x = np.concatenate([self._last_sample, x])
            if t is not None and self._last_time is not None:
                t = np.concatenate([self._last_time, t])
        if t is not None and not np.all(t[1:] > t[:-1]):
            raise ValueOutOfRange("Instants of samples must rise.", "times")
        return self.scan(x, t)

    @property
    def offset(self) -> int:
        """Number, in the record, of the sample that the next block given to `scan` begins with."""
        return max(self._n_seen - 1, 0)

    def scan(self, x: Samples, t: Array | None = None, *, is_gapless: bool = False) -> Crossings:
        """As `feed`, for a block that begins with the last sample of the one before.

        Saves the copy that `feed` makes; what is given is not checked. The very first block has
        no sample before it. ``is_gapless`` promises that no sample is NaN, which is faster.
        """
        # The samples' own type on both sides: nothing is converted, nothing rounds differently.
        kind = x.dtype.type
        high, low = kind(self.level + self.hysteresis), kind(self.level - self.hysteresis)
        offset = self.offset
        quick = None
        if is_gapless:
            if self._work.shape[1] < x.size:
                self._work = np.empty((2, x.size), dtype=np.bool_)
            sides = (float(low), float(kind(self.level)), float(high))
            quick = quick_crossings(x, *sides, self._work)
        if quick is None:
            is_rising, found, stretch = self._by_all_sides(x, t, offset, x >= high, x < low)
        else:
            is_rising, found = quick.is_rising, self._places(x, t, offset, quick.first)
            stretch = np.full(is_rising.size, self._n_gap)
            slow = np.flatnonzero(quick.last > quick.first)
            if slow.size:
                first = found.chosen(slow)
                last = self._places(x, t, offset, quick.last[slow])
                self._put_halfway(found, slow, first, last, is_even=t is None)
            self._state, self._carried = _HIGH if x[-1] >= high else _LOW, _NOWHERE
        self._n_seen = offset + x.size
        self._last_sample, self._last_time = x[-1:].copy(), None if t is None else t[-1:].copy()
        interval = self.interval if t is None else None
        return Crossings(found.instant, is_rising, found.sample, found.fraction, stretch, interval)

    def _by_all_sides(
        self, x: Samples, t: Array | None, offset: int, is_high: Bools, is_low: Bools
    ) -> tuple[Bools, _Places, IntArray]:
        """Directions, places and stretches of the crossings, both sides compared throughout."""
        if self._n_seen == 0:
            self._state = _HIGH if is_high[0] else _LOW if is_low[0] else _UNKNOWN
        at, kind = _changes(x, is_high, is_low)
        before = np.concatenate([np.array([self._state], dtype=np.int8), kind[:-1]])[: kind.size]
        is_crossing = (kind != before) & (kind != _UNKNOWN) & (before != _UNKNOWN)
        end, is_rising = at[is_crossing], kind[is_crossing] == _HIGH
        found = self._places(x, t, offset, end - 1)
        if self.hysteresis > 0.0:
            slow = np.flatnonzero(~np.where(is_rising, is_low[end - 1], is_high[end - 1]))
            is_inside = not (is_high[-1] or is_low[-1] or np.isnan(x[-1]))
            if slow.size or is_inside:
                self._walk_through(x, t, offset, is_high | is_low, end[slow], slow, found)
            if not is_inside:
                self._carried = _NOWHERE
        n_gap = self._n_gap + np.cumsum(kind == _UNKNOWN)
        if kind.size:
            self._state, self._n_gap = int(kind[-1]), int(n_gap[-1])
        return is_rising, found, n_gap[is_crossing]

    def _places(self, x: Samples, t: Array | None, offset: int, pair: IntArray) -> _Places:
        """Where the straight lines from samples ``pair`` to the next ones cross the level."""
        a, b = x[pair].astype(np.float64), x[pair + 1].astype(np.float64)
        with np.errstate(invalid="ignore"):  # a sample may be infinite
            fraction = (float(x.dtype.type(self.level)) - a) / (b - a)
        fraction = np.clip(np.where(np.isnan(fraction), 0.5, fraction), 0.0, 1.0)
        number = pair + offset
        if t is None:
            instant = self.start + (number + fraction) * self.interval
        else:
            instant = t[pair] + fraction * (t[pair + 1] - t[pair])
        return _Places(pair, number, fraction, np.asarray(instant))

    def _walk_through(
        self,
        x: Samples,
        t: Array | None,
        offset: int,
        is_beyond: Bools,
        end: IntArray,
        slow: IntArray,
        found: _Places,
    ) -> None:
        """Put crossings that took several samples halfway between first and last passage.

        Changes ``found`` at the places ``slow``, and what is carried to the next block.
        """
        level = x.dtype.type(self.level)
        above, below = x >= level, x < level
        # NaN is neither above nor below, so that no passage touches a gap.
        pairs = np.flatnonzero((below[:-1] & above[1:]) | (above[:-1] & below[1:]))
        passages = self._carried.followed_by(self._places(x, t, offset, pairs))
        is_settled = is_beyond | np.isnan(x)
        # Last settled sample before each stay in the band; -1: the stay began in an earlier block.
        left = np.concatenate([[-1], np.flatnonzero(is_settled[:-1] > is_settled[1:])])
        if slow.size:
            begin = left[np.searchsorted(left, end, side="left") - 1]
            first = passages.chosen(np.searchsorted(passages.pair, begin, side="left"))
            last = passages.chosen(np.searchsorted(passages.pair, end, side="left") - 1)
            self._put_halfway(found, slow, first, last, is_even=t is None)
        since = np.flatnonzero(passages.pair >= left[-1])
        kept = passages.chosen(since[[0, -1]] if since.size else since)
        self._carried = _Places(
            np.full_like(kept.pair, -1), kept.sample, kept.fraction, kept.instant
        )

    def _put_halfway(
        self, found: _Places, slow: IntArray, first: _Places, last: _Places, *, is_even: bool
    ) -> None:
        half = 0.5 * ((last.sample - first.sample) + (last.fraction - first.fraction))
        found.sample[slow] = first.sample
        found.fraction[slow] = first.fraction + half
        if is_even:
            even = self.start + (first.sample + (first.fraction + half)) * self.interval
            found.instant[slow] = even
        else:
            found.instant[slow] = 0.5 * (first.instant + last.instant)


def _changes(x: Samples, is_high: Bools, is_low: Bools) -> tuple[IntArray, NDArray[np.int8]]:
    """Samples at which the state is another than at the sample before, as far as it is told."""
    # A bool is greater than another where it is true and the other is not.
    up = np.flatnonzero(is_high[1:] > is_high[:-1]) + 1
    down = np.flatnonzero(is_low[1:] > is_low[:-1]) + 1
    gap = np.zeros(0, dtype=np.int64)
    if np.count_nonzero(is_high) + np.count_nonzero(is_low) < x.size:
        is_gap = np.isnan(x)
        gap = np.flatnonzero(is_gap[1:] > is_gap[:-1]) + 1
    at = np.concatenate([up, down, gap])
    kind = np.repeat(
        np.array([_HIGH, _LOW, _UNKNOWN], dtype=np.int8), [up.size, down.size, gap.size]
    )
    order = np.argsort(at, kind="stable")
    return at[order], kind[order]


def require_row(samples: Samples) -> Samples:
    """Samples as an array of float32 or float64 with one axis.

    Raises
    ------
    ValueOutOfRange
        They have more axes, or are not real numbers.
    """
    x = np.asarray(samples)
    if x.ndim != 1:
        raise ValueOutOfRange(f"Samples must be one row, not {x.ndim} axes.", "samples")
    if x.dtype in {np.dtype(np.float32), np.dtype(np.float64)}:
        return x
    if x.dtype.kind not in "iuf":
        raise ValueOutOfRange(f"Samples must be numbers, not {x.dtype}.", "samples")
    return x.astype(np.float64)


def _require_numbers(level: float, hysteresis: float, start: float, interval: float) -> None:
    if not np.isfinite(level):
        raise ValueOutOfRange(f"A level of {level} can't be crossed.", "level")
    if not (np.isfinite(hysteresis) and hysteresis >= 0.0):
        raise ValueOutOfRange(f"A band of {hysteresis} must be zero or more.", "hysteresis")
    if not (np.isfinite(interval) and interval > 0.0):
        raise ValueOutOfRange(f"An interval of {interval} s must be above zero.", "interval")
    if not np.isfinite(start):
        raise ValueOutOfRange(f"A record can't start at {start} s.", "start")
