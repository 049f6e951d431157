"""A snap of the throttle as air-mass or manifold pressure show it: rise, peak, dip, second hump.

When the throttle is thrown open, air fills the manifold at once and makes a clean peak; the flow
falls back while the engine speeds up, rises again with its speed, and ends below the idle value
while the engine slows down. Common practice, no source.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import noise_deviation, require_record, thinned
from backprobe.core.waveform.turning_points import turning_points

Array: TypeAlias = NDArray[np.float64]

# Intake pulses and noise below this are smoothed away; a rise lasts tenths of a second.
SMOOTHING: Final = 5e-3
# A rise has to stand out from the unrest before it by this factor.
_UNREST_FACTOR: Final = 6.0
# Back from peak, dip and hump by this share of the height counts as a turn.
_TURN_SHARE: Final = 0.05
_SLOW_SMOOTHING: Final = 0.02  # s, dip and hump last tenths of a second
# Slower than this from a tenth to nine tenths is no snap, s.
SLOWEST: Final = 0.8
# Faster than this is switched or struck, s: air needs longer, and so does a throttle.
FASTEST: Final = 0.02
_MAX_SNAPS: Final = 4
# What is smoothed away is small beside a snap; a signal that switches is mostly that.
_FAST_SHARE: Final = 0.3
# A round top spends 0.32 of its time above nine tenths within the last hundredth; a flat one all.
_FLAT_SHARE: Final = 0.6
_FLAT_TOP: Final = 0.01
_FILTERED: Final = 1e-3  # s, over which noise may be filtered


class SnapVerdict(Enum):
    """What the record shows."""

    SNAP = "a snap"
    CLIPPED = "a snap with a cut-off top"
    SLOW = "rises too slowly for a snap"
    STEP = "jumps faster than air can flow"
    CUT_OFF = "the record leaves out the beginning of the rise"
    NO_SNAP = "no rise that stands out"
    NOT_A_SNAP = "rises too often, or is too restless: another kind of signal"


@dataclass(frozen=True)
class SnapPoint:
    """A value and its instant.

    Parameters
    ----------
    instant : float
        s.
    value : float
        Unit of the samples.
    """

    instant: float
    value: float


@dataclass(frozen=True)
class SnapReading:
    """What a snap shows.

    Parameters
    ----------
    verdict : SnapVerdict
        Snap or not.
    rest, rest_unrest : float
        Level before the rise, and the standard deviation about it, unit of the samples.
    peak : SnapPoint or None
        The highest point of the smoothed signal.
    rise_begin : float
        Instant at a tenth of the height, s; NaN without a rise.
    rise_duration : float
        From a tenth to nine tenths of the height, s; NaN without a rise.
    dip, hump : SnapPoint or None
        First low after the peak and the high that follows; None where it just falls.
    recovery : float
        Instant from which it stays within a tenth of the height above rest, s; NaN if it doesn't.
    lowest_after : SnapPoint or None
        The lowest point after the peak.
    is_clipped : bool
        Whether the top is flat: a supply, an input or the range of the instrument cut it off.
    n_snap : int
        Rises through half of the height.
    """

    verdict: SnapVerdict
    rest: float
    rest_unrest: float
    peak: SnapPoint | None = None
    rise_begin: float = float("nan")
    rise_duration: float = float("nan")
    dip: SnapPoint | None = None
    hump: SnapPoint | None = None
    recovery: float = float("nan")
    lowest_after: SnapPoint | None = None
    is_clipped: bool = False
    n_snap: int = 0


def snap_throttle(
    samples: Samples, interval: float, start: float = 0.0, *, least_rise: float = 0.5
) -> SnapReading:
    """Measure a snap of the throttle; of several, the highest.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Air mass or manifold pressure, V, Hz, g/s or Pa.
    interval, start : float
        Time from sample to sample and instant of the first, s.
    least_rise : float
        Smallest rise that counts, unit of the samples.

    Returns
    -------
    SnapReading
        Levels and instants, or why there are none.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the interval isn't above zero.
    """
    record = thinned(require_record(samples, interval, "snap"), interval, start, SMOOTHING / 10.0)
    values, interval, start = record.samples, record.interval, record.start
    smooth = np.asarray(gaussian_filter1d(values, SMOOTHING / interval, mode="nearest"))
    top = int(np.argmax(smooth))
    rest, unrest = _rest(smooth, top)
    height = float(smooth[top]) - rest
    if height < max(least_rise, _UNREST_FACTOR * unrest) or top < 3:
        verdict = SnapVerdict.CUT_OFF if top < 3 and height >= least_rise else SnapVerdict.NO_SNAP
        return SnapReading(verdict, rest, unrest)
    n_snap = _rises(smooth, rest + 0.5 * height, 0.1 * height)
    fast = float(np.hypot(record.fast, np.std(values - smooth)))
    if n_snap > _MAX_SNAPS or fast > _FAST_SHARE * height:
        return SnapReading(SnapVerdict.NOT_A_SNAP, rest, unrest, n_snap=n_snap)
    begin = _last_below(smooth, top, rest + 0.1 * height)
    if begin is None:
        return SnapReading(SnapVerdict.CUT_OFF, rest, unrest, n_snap=n_snap)
    end = _last_below(smooth, top, rest + 0.9 * height)
    duration = ((begin if end is None else end) - begin) * interval
    clipped = _is_flat(values, smooth, top, rest + 0.9 * height, height, interval)
    verdict = SnapVerdict.CLIPPED if clipped else SnapVerdict.SNAP
    if not FASTEST <= duration <= SLOWEST:
        verdict = SnapVerdict.SLOW if duration > SLOWEST else SnapVerdict.STEP
    dip, hump = _after_peak(smooth, top, height, interval, start)
    lowest = top + int(np.argmin(smooth[top:]))
    return SnapReading(
        verdict,
        rest,
        unrest,
        SnapPoint(start + top * interval, float(smooth[top])),
        start + begin * interval,
        duration,
        dip,
        hump,
        start + _recovery(smooth, top, rest + 0.1 * height) * interval,
        SnapPoint(start + lowest * interval, float(smooth[lowest])),
        clipped,
        n_snap,
    )


def _rest(smooth: Array, top: int) -> tuple[float, float]:
    """Level and unrest of what lies in the lower quarter before the peak."""
    before = smooth[: max(top, 1)]
    low = float(before.min())
    quiet = before[before <= low + 0.25 * (float(smooth[top]) - low)]
    return float(np.median(quiet)), float(quiet.std())


def _rises(smooth: Array, level: float, band: float) -> int:
    """Count rises through a level that begin and end clear of it."""
    state = np.where(smooth > level + band, 1, np.where(smooth < level - band, -1, 0))
    state = state[state != 0]
    return int(np.sum((state[1:] == 1) & (state[:-1] == -1)))


def _last_below(smooth: Array, top: int, level: float) -> float | None:
    """Place, in samples, of the last rise through a level before the peak."""
    below = np.flatnonzero(smooth[:top] < level)
    if not below.size:
        return None
    at = int(below[-1])
    step = float(smooth[at + 1] - smooth[at])
    return at + (level - float(smooth[at])) / step if step > 0.0 else float(at)


def _is_flat(
    values: Array, smooth: Array, top: int, level: float, height: float, interval: float
) -> bool:
    noise = noise_deviation(values, max(1, round(_FILTERED / interval)))
    near = max(_FLAT_TOP * height, 3.0 * noise)
    if near > 3.0 * _FLAT_TOP * height:
        return False  # too noisy to tell flat from round
    low = np.flatnonzero(smooth < level)
    first = int(low[low < top][-1]) + 1 if np.any(low < top) else 0
    stop = int(low[low > top][0]) if np.any(low > top) else smooth.size
    above = values[first:stop]
    # A round top spends the root of a tenth of its time there, more where noise widens the band.
    return bool(np.mean(above >= np.median(np.sort(above)[-9:]) - near) > _FLAT_SHARE)


def _after_peak(
    smooth: Array, top: int, height: float, interval: float, start: float
) -> tuple[SnapPoint | None, SnapPoint | None]:
    # Intake pulses of some ten a second would make humps of their own.
    slow = gaussian_filter1d(smooth, _SLOW_SMOOTHING / interval, mode="nearest")
    turns = [top + place for place in turning_points(slow[top:], _TURN_SHARE * height)]
    turns = [place for place in turns if place > top]
    points = [SnapPoint(start + place * interval, float(slow[place])) for place in turns[:2]]
    if not points or points[0].value >= float(smooth[top]):
        return None, None
    # A low at the end of the fall, with nothing after it that counts, is rest and no dip.
    return points[0], points[1] if len(points) > 1 else None


def _recovery(smooth: Array, top: int, level: float) -> float:
    above = np.flatnonzero(smooth[top:] > level)
    last = top + int(above[-1])
    return float(last + 1) if last + 1 < smooth.size else float("nan")
