"""Transitions between the states: durations, slew, aberrations, settling, runts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.account import MOST_KEPT, Account, Summary
from backprobe.core.waveform.blocks import SampleSource, blocks_of
from backprobe.core.waveform.crossings import Crossings, crossing_instants, require_row
from backprobe.core.waveform.instant_uncertainty import instant_uncertainty
from backprobe.core.waveform.levels import StateLevels

Array = NDArray[np.float64]
Samples = NDArray[np.floating]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

SETTLED_SHARE = 0.05  # of the amplitude: half width of the band that counts as settled
_BAND_SHARE = 0.8  # of the distance from a state to its reference level: most hysteresis there


@dataclass(frozen=True, eq=False)
class Transitions:
    """Transitions of one piece of samples, one entry a mid-reference crossing.

    Parameters
    ----------
    instants : ndarray, shape (n,)
        Mid-reference instants, s.
    is_rising : ndarray of bool, shape (n,)
        Direction.
    transition_duration : ndarray, shape (n,)
        Between the reference levels, s; NaN where the waveform doesn't pass both of them between
        its neighbouring crossings.
    slew : ndarray, shape (n,)
        Difference of the reference levels over that, unit/s, negative for falls.
    duration_uncertainty : ndarray, shape (n,)
        Standard uncertainty of the transition duration, s.
    overshoot, undershoot, preshoot : ndarray, shape (n,)
        Aberrations in percent of the amplitude: beyond the state that the transition goes to, short
        of it, and, before the transition, beyond the state it comes from. Each is the extreme of
        the samples from the transition halfway to the neighbouring crossing, noise included.
    settling_duration : ndarray, shape (n,)
        From the mid-reference instant until the samples stay within a twentieth of the amplitude
        (or four standard deviations of the noise) of the state, halfway to the next crossing; in
        whole samples. NaN where they don't.
    runt_instants, runt_durations : ndarray, shape (n_runt,)
        Runts: pulses that leave a state past its reference level and come back without reaching
        the other one; when, and how long, s.
    """

    instants: Array
    is_rising: Bools
    transition_duration: Array
    slew: Array
    duration_uncertainty: Array
    overshoot: Array
    undershoot: Array
    preshoot: Array
    settling_duration: Array
    runt_instants: Array
    runt_durations: Array


def transitions_of(
    samples: Samples,
    levels: StateLevels,
    *,
    interval: float,
    start: float = 0.0,
    lower: float = 10.0,
    upper: float = 90.0,
) -> Transitions:
    """Transitions of samples that are at hand as one array.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        NaN = gap; aberrations across gaps are of the samples that are there.
    levels : StateLevels
        Two different levels.
    interval, start : float
        Time from sample to sample and instant of the first one, s.
    lower, upper : float
        Reference levels in percent of the amplitude: 10 and 90, or 20 and 80.

    Returns
    -------
    Transitions
        Empty without two levels.

    Raises
    ------
    ValueOutOfRange
        Samples are not a row of numbers, or interval or start is unusable.

    Notes
    -----
    [ieee181], 5.3: transition duration between reference level instants; aberrations are in percent
    of the amplitude. The reference level instants are those nearest to the mid-reference instant.
    """
    x = require_row(samples)
    amplitude = levels.amplitude
    if not amplitude > 0.0 or x.size < 2:
        x, amplitude = np.zeros(2), 1.0
    noise = 4.0 * levels.noise

    def crossings(percent: float) -> Crossings:
        room = _BAND_SHARE * min(percent, 100.0 - percent) / 100.0 * amplitude
        return crossing_instants(
            x,
            levels.reference_level(percent) if levels.amplitude > 0.0 else 1.0,
            hysteresis=float(np.clip(noise, 0.02 * amplitude, room)),
            start=start,
            interval=interval,
        )

    low, middle, high = crossings(lower), crossings(50.0), crossings(upper)
    mid, rises = middle.instants, middle.is_rising
    end_of_record = start + (x.size - 1) * interval
    before = np.concatenate([[start - interval], mid[:-1]])[: mid.size]
    after = np.concatenate([mid[1:], [end_of_record + interval]])[: mid.size]
    begin = np.where(
        rises, _nearest(low, True, mid, -1, before), _nearest(high, False, mid, -1, before)
    )
    end = np.where(rises, _nearest(high, True, mid, 1, after), _nearest(low, False, mid, 1, after))
    duration = end - begin
    gap = (upper - lower) / 100.0 * amplitude
    with np.errstate(divide="ignore"):
        slew = np.where(rises, gap, -gap) / duration
    own = instant_uncertainty(np.nan_to_num(slew), levels.noise, interval, amplitude)
    by_levels = duration * levels.amplitude_uncertainty / amplitude
    # Halfway to the neighbours; all the way to the ends of the record.
    left = np.where(before < start, start, 0.5 * (before + mid))
    right = np.where(after > end_of_record, end_of_record, 0.5 * (mid + after))
    post = _sample_range(end, right, start, interval, x.size)
    pre = _sample_range(left, begin, start, interval, x.size)
    post_top, post_bottom = _extremes(x, *post)
    pre_top, pre_bottom = _extremes(x, *pre)
    a, b = levels.state_level_low, levels.state_level_high
    percent = 100.0 / amplitude
    runts = _runts(low, high)
    return Transitions(
        mid,
        rises,
        duration,
        slew,
        np.where(np.isnan(duration), np.nan, np.hypot(np.sqrt(2.0) * own, by_levels)),
        percent * np.where(rises, post_top - b, a - post_bottom),
        percent * np.where(rises, b - post_bottom, post_top - a),
        percent * np.where(rises, a - pre_bottom, pre_top - b),
        _settling(x, levels, middle, right, start, interval),
        *runts,
    )


def _nearest(c: Crossings, is_rising: bool, mid: Array, side: int, limit: Array) -> Array:
    """Crossing of one direction nearest to each mid-reference instant on one side of it."""
    own = c.instants[c.is_rising == is_rising]
    if not own.size:
        return np.full(mid.size, np.nan)
    if side < 0:
        place = np.searchsorted(own, mid, side="right") - 1
        found = own[np.maximum(place, 0)]
        return np.where((place >= 0) & (found > limit), found, np.nan)
    place = np.searchsorted(own, mid, side="left")
    found = own[np.minimum(place, own.size - 1)]
    return np.where((place < own.size) & (found < limit), found, np.nan)


def _sample_range(
    first: Array, last: Array, start: float, interval: float, n: int
) -> tuple[IntArray, IntArray]:
    """Samples within spans of time, as first and one past the last; none where a bound is NaN."""
    is_there = ~(np.isnan(first) | np.isnan(last))
    a = np.ceil((np.where(is_there, first, start) - start) / interval - 1e-9)
    b = np.floor((np.where(is_there, last, start - interval) - start) / interval + 1e-9) + 1.0
    return np.clip(a, 0, n - 1).astype(np.int64), np.clip(b, 0, n).astype(np.int64)


def _extremes(x: Samples, a: IntArray, b: IntArray) -> tuple[Array, Array]:
    """Highest and lowest of the samples a to b; NaN where there are none."""
    if not a.size:
        return np.zeros(0), np.zeros(0)
    padded = np.append(x, x.dtype.type(np.nan))  # so that a span may end with the record
    bounds = np.stack([a, np.maximum(b, a + 1)], axis=1).ravel()
    is_empty = b <= a
    top = np.fmax.reduceat(padded, bounds)[::2].astype(np.float64)
    bottom = np.fmin.reduceat(padded, bounds)[::2].astype(np.float64)
    return np.where(is_empty, np.nan, top), np.where(is_empty, np.nan, bottom)


def _settling(
    x: Samples, levels: StateLevels, middle: Crossings, right: Array, start: float, interval: float
) -> Array:
    if not len(middle):
        return np.zeros(0)
    band = max(SETTLED_SHARE * levels.amplitude, 4.0 * levels.noise)
    last = np.clip(np.floor((right - start) / interval + 1e-9), 0, x.size - 1).astype(np.int64)
    found = np.empty(len(middle))
    for up, level in ((True, levels.state_level_high), (False, levels.state_level_low)):
        mine = middle.is_rising == up
        # NaN is not within the band either: a gap may hide what happened.
        outside = np.flatnonzero(~(np.abs(x - x.dtype.type(level)) <= band))
        place = np.searchsorted(outside, last[mine], side="right") - 1
        off = outside[np.maximum(place, 0)] if outside.size else np.zeros(place.size, np.int64)
        since = start + (off + 1) * interval - middle.instants[mine]
        found[mine] = np.where(off < last[mine], np.maximum(since, 0.0), np.nan)
    return found


def _runts(low: Crossings, high: Crossings) -> tuple[Array, Array]:
    """Runts from either state: away past one reference level and back, the other not reached."""
    instants, durations = [], []
    for near, far, leaves in ((low, high, True), (high, low, False)):
        is_pair = (near.is_rising[:-1] == leaves) & (near.stretch[:-1] == near.stretch[1:])
        away, back = near.instants[:-1][is_pair], near.instants[1:][is_pair]
        reached = far.instants[far.is_rising == leaves]
        n_reached = np.searchsorted(reached, back) - np.searchsorted(reached, away)
        instants.append(away[n_reached == 0])
        durations.append((back - away)[n_reached == 0])
    when = np.concatenate(instants)
    order = np.argsort(when, kind="stable")
    return when[order], np.concatenate(durations)[order]


@dataclass(frozen=True, eq=False)
class TransitionMeasurement:
    """Transitions of a record, rises and falls apart; names as in `Transitions`.

    Each field is a pair: of the rising and of the falling transitions.
    """

    transition_duration: tuple[Summary, Summary]
    slew: tuple[Summary, Summary]
    overshoot: tuple[Summary, Summary]
    undershoot: tuple[Summary, Summary]
    preshoot: tuple[Summary, Summary]
    settling_duration: tuple[Summary, Summary]
    duration_uncertainty: tuple[Summary, Summary]
    runts: Summary


_EACH = (
    "transition_duration",
    "slew",
    "overshoot",
    "undershoot",
    "preshoot",
    "settling_duration",
    "duration_uncertainty",
)


def measure_transitions(
    source: SampleSource | Iterable[Samples],
    levels: StateLevels,
    *,
    interval: float,
    start: float = 0.0,
    lower: float = 10.0,
    upper: float = 90.0,
    most_kept: int = MOST_KEPT,
) -> TransitionMeasurement:
    """Transitions of a record in constant room.

    Parameters
    ----------
    source : SampleSource or iterable of ndarray
        An array or what slices like one, or blocks of any sizes in order.
    levels, interval, start, lower, upper
        As for `transitions_of`.
    most_kept : int
        Values kept of each quantity; statistics are of all.

    Returns
    -------
    TransitionMeasurement
        From pieces of 524,288 samples, each by itself: a transition that a piece's end cuts is not
        measured, and the aberrations of one beside it are of the samples up to there.

    Raises
    ------
    ValueOutOfRange
        Samples are not rows of numbers, or interval or start is unusable.
    """
    counter = TransitionCounter(
        levels, interval=interval, start=start, lower=lower, upper=upper, most_kept=most_kept
    )
    for block in blocks_of(source):
        counter.add(block)
    return counter.result()


class TransitionCounter:
    """Gathers transitions from successive blocks, each measured by itself.

    Parameters
    ----------
    levels, interval, start, lower, upper, most_kept
        As for `measure_transitions`.
    """

    def __init__(
        self,
        levels: StateLevels,
        *,
        interval: float,
        start: float = 0.0,
        lower: float = 10.0,
        upper: float = 90.0,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self._levels, self._interval, self._start = levels, interval, start
        self._lower, self._upper = lower, upper
        self._accounts = {(name, up): Account(most_kept) for name in _EACH for up in (True, False)}
        self._runts = Account(most_kept)
        self._n_before = 0

    def add(self, block: Samples) -> None:
        """Add the samples that follow those of the last call."""
        found = transitions_of(
            block,
            self._levels,
            interval=self._interval,
            start=self._start + self._n_before * self._interval,
            lower=self._lower,
            upper=self._upper,
        )
        self._n_before += block.size
        for (name, up), account in self._accounts.items():
            mine = found.is_rising == up
            account.add(found.instants[mine], getattr(found, name)[mine])
        self._runts.add(found.runt_instants, found.runt_durations)

    def result(self) -> TransitionMeasurement:
        """What has been gathered."""
        done = {key: account.result() for key, account in self._accounts.items()}
        each = {name: (done[name, True], done[name, False]) for name in _EACH}
        return TransitionMeasurement(runts=self._runts.result(), **each)
