"""The law between the two tracks of a throttle or pedal sensor, and where they disagree."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.position_sweep import MIN_SPAN, SweepVerdict, TrackSweep
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Half-width about the slopes 1, -1 and 1/2: tracks of a pair agree within some percent.
SLOPE_TOLERANCE: Final = 0.06
# A second track counts as following the first if a straight line leaves less than this share of
# its span, as a standard deviation.
_RELATED_SHARE: Final = 0.1
# Common practice, no source: pairs that disagree by more than 4 % of the span are noticed.
DISAGREEMENT_SHARE: Final = 0.04
_NOISE_FACTOR: Final = 6.0
_SHORTEST: Final = 5e-3


class TrackLaw(Enum):
    """How the second track follows the first."""

    OPPOSED = "opposed: their sum is constant"
    HALF_SLOPE = "one moves half as much as the other"
    PARALLEL = "parallel: their difference is constant"
    SAME = "both alike"
    OTHER_SLOPE = "straight, with another slope"
    UNRELATED = "no straight law"
    CANT_TELL = "can't tell"


@dataclass(frozen=True)
class TrackDisagreement:
    """A stretch in which the tracks depart from their law.

    Parameters
    ----------
    start, duration : float
        s.
    travel : float
        Where on the first track's travel, 0 to 1.
    deviation : float
        Largest departure of the second track, V.
    """

    start: float
    duration: float
    travel: float
    deviation: float


@dataclass(frozen=True)
class TrackPair:
    """Law of two tracks: second = intercept + slope times first.

    Parameters
    ----------
    law : TrackLaw
        Which law.
    slope, slope_uncertainty : float
        Slope and its standard uncertainty.
    intercept : float
        V; the constant sum of opposed tracks, the constant difference of parallel ones.
    residual : float
        Standard deviation about the straight line, V.
    largest_deviation : float
        Largest departure from the line, share of the second track's span.
    disagreements : tuple of TrackDisagreement
        Stretches beyond the limit.
    """

    law: TrackLaw
    slope: float
    slope_uncertainty: float
    intercept: float
    residual: float
    largest_deviation: float
    disagreements: tuple[TrackDisagreement, ...]


def track_pair(
    first: TrackSweep, second: TrackSweep, interval: float, start: float = 0.0
) -> TrackPair:
    """Find the law of two tracks of one sweep.

    Parameters
    ----------
    first, second : TrackSweep
        The two tracks, recorded together.
    interval, start : float
        Time from sample to sample and instant of the first, s.

    Returns
    -------
    TrackPair
        Law, residual and disagreements; can't tell where the first track doesn't move.

    Raises
    ------
    ValueOutOfRange
        The tracks differ in length.

    Notes
    -----
    Least squares, a second time without what departs most, so that a fault of one stretch doesn't
    bend the law. Dead spots are bridged in both already.
    """
    x, y = first.movement, second.movement
    if x.size != y.size:
        raise ValueOutOfRange(
            f"the tracks have {x.size} and {y.size} samples.",
            where="two tracks",
            remedy="Take both from one record.",
        )
    nan = float("nan")
    usable = (SweepVerdict.SMOOTH, SweepVerdict.DEAD_SPOTS, SweepVerdict.HURRIED)
    if first.verdict not in usable or second.verdict is SweepVerdict.NOT_A_SWEEP:
        return TrackPair(TrackLaw.CANT_TELL, nan, nan, nan, nan, nan, ())
    slope, intercept, inside = _straight_line(x, y)
    left = y - intercept - slope * x
    residual = float(left[inside].std())
    spread = float(np.std(x[inside]))
    # Neighbouring samples of a slow movement are not independent: what counts is stretches of
    # the shortest disagreement.
    n_free = max(2.0, inside.sum() * interval / _SHORTEST)
    doubt = residual / (spread * float(np.sqrt(n_free)))
    span = float(np.ptp(y))
    # Where the second track hardly moves, the departure is told against what the first would do.
    scale = max(span, MIN_SPAN)
    law = _law(slope, intercept, residual, span, float(np.ptp(x)))
    found: tuple[TrackDisagreement, ...] = ()
    if law is not TrackLaw.UNRELATED:
        noise = first.noise * abs(slope) + second.noise
        limit = max(DISAGREEMENT_SHARE * scale, _NOISE_FACTOR * noise)
        travel = (x - first.rest) / (first.far - first.rest)
        found = _disagreements(left, travel, limit, interval, start)
    largest = float(np.max(np.abs(left))) / scale
    return TrackPair(law, slope, doubt, intercept, residual, largest, found)


def _straight_line(x: Array, y: Array) -> tuple[float, float, NDArray[np.bool_]]:
    inside = np.ones(x.size, dtype=np.bool_)
    slope, intercept = 0.0, 0.0
    for _ in range(4):
        mean_x, mean_y = float(x[inside].mean()), float(y[inside].mean())
        off = x[inside] - mean_x
        slope = float(off @ (y[inside] - mean_y) / (off @ off))
        intercept = mean_y - slope * mean_x
        left = np.abs(y - intercept - slope * x)
        inside = left <= max(4.0 * 1.4826 * float(np.median(left)), 1e-9)
    return slope, intercept, inside


def _law(slope: float, intercept: float, residual: float, span: float, span_x: float) -> TrackLaw:
    if span < MIN_SPAN * 0.5 or residual > _RELATED_SHARE * span:
        return TrackLaw.UNRELATED
    if abs(slope + 1.0) <= SLOPE_TOLERANCE:
        return TrackLaw.OPPOSED
    if abs(slope - 1.0) <= SLOPE_TOLERANCE:
        same = abs(intercept) <= DISAGREEMENT_SHARE * span_x
        return TrackLaw.SAME if same else TrackLaw.PARALLEL
    if min(abs(slope - 0.5), abs(1.0 / slope - 0.5) if slope else 1.0) <= 0.5 * SLOPE_TOLERANCE:
        return TrackLaw.HALF_SLOPE
    return TrackLaw.OTHER_SLOPE


def _disagreements(
    left: Array, travel: Array, limit: float, interval: float, start: float
) -> tuple[TrackDisagreement, ...]:
    beyond = np.abs(left) > limit
    change = np.diff(beyond.astype(np.int8), prepend=0, append=0)
    rows = zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True)
    return tuple(
        TrackDisagreement(
            start + float(first) * interval,
            float(stop - first) * interval,
            float(np.clip(travel[first:stop].mean(), 0.0, 1.0)),
            float(left[first:stop][np.argmax(np.abs(left[first:stop]))]),
        )
        for first, stop in rows
        if (stop - first) * interval >= _SHORTEST
    )
