"""A throttle or pedal potentiometer swept by hand: dead spots, end stops, direction.

A hand moves slowly; a wiper that loses its track jumps. Flat closing of a signal fills every drop
that is shorter than a stretch of time and leaves a movement in one direction as it is, and opening
does so for spikes [serra1982]: what they change, with steep flanks, is a dead spot.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    maximum_filter1d,
    median_filter,
    minimum_filter1d,
)

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import noise_deviation, require_record
from backprobe.core.waveform.turning_points import turning_points

Array: TypeAlias = NDArray[np.float64]

# Less than this is no sweep (common practice: 0.4-1.0 V closed, 3.9-4.8 V open).
MIN_SPAN: Final = 0.5
# Longest dead spot that is looked for, s, at a sweep of some seconds.
_LONGEST: Final = 0.3
# Least depth: multiples of the noise, and share of the span.
_NOISE_FACTOR: Final = 10.0
_SPAN_SHARE: Final = 0.01
# A flank of a dead spot makes at least this share of the depth within this time, s, or two samples.
_FLANK_SHARE: Final = 0.5
_FLANK: Final = 2e-3
# Spots this near in travel are one place on the track.
SAME_PLACE: Final = 0.03
# A sweep faster than this from a tenth to nine tenths hides what it should show, s.
HURRIED: Final = 0.5
# A hand turns a few times; a signal that turns more often is something else.
_MAX_TURNS: Final = 12
_TURN_SHARE: Final = 0.1
_HOLD: Final = 0.1
_MAX_SPOTS: Final = 40
_LOST_SHARE: Final = 0.2


class SweepVerdict(Enum):
    """What the sweep shows."""

    SMOOTH = "smooth"
    DEAD_SPOTS = "dead spots"
    HURRIED = "swept too fast to tell"
    NO_SWEEP = "hardly moves"
    NOT_A_SWEEP = "no sweep: the signal turns too often or jumps between levels"


@dataclass(frozen=True)
class DeadSpot:
    """A short loss of the wiper.

    Parameters
    ----------
    start, duration : float
        s.
    travel : float
        Where on the travel, 0 = where the record begins, 1 = the far end.
    depth : float
        Largest excursion, V; below 0 towards lower volts.
    level : float
        Voltage at the deepest sample, V.
    n_pass : int
        Passes of the sweep that have a spot at this place.
    """

    start: float
    duration: float
    travel: float
    depth: float
    level: float
    n_pass: int


@dataclass(frozen=True, eq=False)
class TrackSweep:
    """One track's sweep.

    Parameters
    ----------
    verdict : SweepVerdict
        What it shows.
    rest, far : float
        Levels where the record begins and at the other end of the travel, V.
    rest_held, far_held : bool
        Whether it stands still there for a tenth of a second: otherwise the stop may not have been
        reached.
    n_pass : int
        Movements from end to end: 2 for there and back.
    is_monotonic : bool
        Whether each movement goes one way only, dead spots aside.
    sweep_duration : float
        From a tenth to nine tenths of the travel on the first pass, s; NaN without a sweep.
    noise : float
        Standard deviation from sample to sample, V.
    spots : tuple of DeadSpot
        In order of time.
    movement : ndarray, shape (n_samp,)
        The movement with the spots bridged, V.
    """

    verdict: SweepVerdict
    rest: float
    far: float
    rest_held: bool
    far_held: bool
    n_pass: int
    is_monotonic: bool
    sweep_duration: float
    noise: float
    spots: tuple[DeadSpot, ...]
    movement: Array


def track_sweep(samples: Samples, interval: float, start: float = 0.0) -> TrackSweep:
    """Judge one track of a sweep.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Signal against its own ground, V.
    interval, start : float
        Time from sample to sample and instant of the first, s.

    Returns
    -------
    TrackSweep
        Ends, direction, noise and dead spots.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the interval isn't above zero.
    """
    volts = require_record(samples, interval, "sweep")
    noise = noise_deviation(volts, max(1, round(_FLANK / interval)))
    width = max(3, round(_LONGEST / interval))
    span = float(np.ptp(_opened(_closed(volts, width), width)))
    limit = max(_NOISE_FACTOR * noise, _SPAN_SHARE * span)
    runs = _spot_runs(volts, limit, interval, width)
    bridged = _bridged(volts, runs)
    movement = median_filter(bridged, size=max(3, round(5e-3 / interval) | 1), mode="nearest")
    span = float(np.ptp(movement))
    if span < max(MIN_SPAN, 4.0 * limit):
        return _unusable(SweepVerdict.NO_SWEEP, movement, noise)
    turns = turning_points(movement, _TURN_SHARE * span)
    lost = sum(stop - first for first, stop in runs)
    if len(turns) > _MAX_TURNS or len(runs) > _MAX_SPOTS or lost > _LOST_SHARE * volts.size:
        return _unusable(SweepVerdict.NOT_A_SWEEP, movement, noise)
    rest, far = _ends(movement)
    travel = (movement - rest) / (far - rest)
    spots = _spots(volts, movement, travel, runs, turns, interval, start)
    duration = _sweep_duration(travel, interval)
    small = turning_points(movement, max(0.02 * span, limit))
    verdict = SweepVerdict.DEAD_SPOTS if spots else SweepVerdict.SMOOTH
    if duration < HURRIED and not spots:
        verdict = SweepVerdict.HURRIED
    return TrackSweep(
        verdict,
        rest,
        far,
        _is_held(movement, rest, max(0.01 * span, 4.0 * noise), interval),
        _is_held(movement, far, max(0.01 * span, 4.0 * noise), interval),
        len(turns) + 1,
        len(small) == len(turns),
        duration,
        noise,
        spots,
        movement,
    )


def _unusable(verdict: SweepVerdict, movement: Array, noise: float) -> TrackSweep:
    nan = float("nan")
    low, high = float(movement.min()), float(movement.max())
    return TrackSweep(verdict, low, high, False, False, 0, False, nan, noise, (), movement)


def _spot_runs(volts: Array, limit: float, interval: float, width: int) -> list[tuple[int, int]]:
    """Stretches, first and past-the-last sample, that a closing or an opening would bridge."""
    drop = _closed(volts, width) - volts > limit
    spike = volts - _opened(volts, width) > limit
    found = _stretches(drop, volts, interval) + _stretches(spike, volts, interval)
    return _steep(volts, sorted(found), limit, max(2, round(_FLANK / interval)))


def _closed(volts: Array, width: int) -> Array:
    """Fill drops shorter than a width."""
    raised = maximum_filter1d(volts, width, mode="nearest")
    # An even width has no middle: the second step has to go the other way.
    return np.asarray(minimum_filter1d(raised, width, mode="nearest", origin=-1 + width % 2))


def _opened(volts: Array, width: int) -> Array:
    """Cut spikes shorter than a width."""
    return -_closed(-volts, width)


def _stretches(which: NDArray[np.bool_], volts: Array, interval: float) -> list[tuple[int, int]]:
    change = np.diff(which.astype(np.int8), prepend=0, append=0)
    begin, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    merged: list[tuple[int, int]] = []
    apart = max(2, round(2.0 * _FLANK / interval))
    for first, stop in zip(begin.tolist(), end.tolist(), strict=True):
        if merged and first - merged[-1][1] <= apart:
            merged[-1] = (merged[-1][0], stop)
        else:
            merged.append((first, stop))
    # A stretch at an end of the record has one flank only: it may be where the movement begins.
    return [run for run in merged if run[0] > 0 and run[1] < volts.size]


def _steep(
    volts: Array, runs: list[tuple[int, int]], limit: float, flank: int
) -> list[tuple[int, int]]:
    """Keep stretches with a steep flank at both ends.

    Without any the hand went back; with one only, a stretch lies beside a spot.
    """
    kept: list[tuple[int, int]] = []
    for first, stop in runs:
        before, behind = max(0, first - flank), min(volts.size - 1, stop + flank - 1)
        inside = volts[first:stop]
        off = inside - np.interp(
            np.arange(first, stop), [before, behind], [volts[before], volts[behind]]
        )
        depth = float(off[np.argmax(np.abs(off))])
        if abs(depth) < limit:
            continue
        enters = (volts[first : first + flank] - volts[before]) / depth
        leaves = (volts[max(first, stop - flank) : stop] - volts[behind]) / depth
        is_steep = min(float(enters.max()), float(leaves.max())) >= _FLANK_SHARE
        if is_steep and (not kept or first >= kept[-1][1]):
            kept.append((max(first - 1, before + 1), min(stop + 1, behind)))
    return kept


def _bridged(volts: Array, runs: list[tuple[int, int]]) -> Array:
    kept = np.ones(volts.size, dtype=np.bool_)
    for first, stop in runs:
        kept[first:stop] = False
    places = np.arange(volts.size)
    return np.asarray(np.interp(places, places[kept], volts[kept]))


def _ends(movement: Array) -> tuple[float, float]:
    """Level at the beginning of the record and the one farthest from it."""
    first = float(np.median(movement[: max(3, movement.size // 100)]))
    low, high = np.percentile(movement, [0.5, 99.5])
    return (float(low), float(high)) if high - first > first - low else (float(high), float(low))


def _is_held(movement: Array, level: float, near: float, interval: float) -> bool:
    return bool(np.sum(np.abs(movement - level) < near) * interval >= _HOLD)


def _sweep_duration(travel: Array, interval: float) -> float:
    above = np.flatnonzero(travel >= 0.9)
    if not above.size:
        return float("nan")
    below = np.flatnonzero(travel[: above[0]] <= 0.1)
    begin = below[-1] if below.size else 0
    return float(above[0] - begin) * interval


def _spots(
    volts: Array,
    movement: Array,
    travel: Array,
    runs: list[tuple[int, int]],
    turns: list[int],
    interval: float,
    start: float,
) -> tuple[DeadSpot, ...]:
    places = np.array([float(travel[first:stop].mean()) for first, stop in runs])
    passes = np.searchsorted(np.array(turns), [first for first, _ in runs])
    found = []
    for number, (first, stop) in enumerate(runs):
        off = volts[first:stop] - movement[first:stop]
        deepest = int(np.argmax(np.abs(off)))
        here = np.abs(places - places[number]) < SAME_PLACE
        found.append(
            DeadSpot(
                start + first * interval,
                (stop - first) * interval,
                float(np.clip(places[number], 0.0, 1.0)),
                float(off[deepest]),
                float(volts[first + deepest]),
                len(set(passes[here].tolist())),
            )
        )
    return tuple(found)
