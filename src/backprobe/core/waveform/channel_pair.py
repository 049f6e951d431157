"""Two channels against each other: the same signal, later, smaller, upside down, or unrelated.

The delay is where the correlation is largest, refined by least squares on the samples themselves:
b(t) = offset + gain a(t - delay).
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.interpolate import CubicSpline

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import require_record
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Correlation above which one channel follows the other, and below which it doesn't.
FOLLOWS: Final = 0.9
UNRELATED: Final = 0.5
# Alike: gain within 2 %, offset within 2 % of the swing (two inputs of one oscilloscope).
_ALIKE: Final = 0.02
# A second delay that fits nearly as well makes the delay ambiguous: the signal repeats.
_SECOND: Final = 0.97
_LOWER: Final = 0.9
_MAX_PEAKS: Final = 200
_NO_DELAY: Final = 2  # samples
_ROUNDS: Final = 4
# Share of the record that both must cover after shifting.
_OVERLAP: Final = 0.5


class PairVerdict(Enum):
    """How two channels are related."""

    ALIKE = "alike"
    SCALED = "the same, with another size or offset"
    INVERTED = "the same upside down"
    PARTLY = "alike in part"
    UNRELATED = "unrelated"
    FLAT = "one of them doesn't change"


@dataclass(frozen=True)
class ChannelPair:
    """How channel b follows channel a.

    Parameters
    ----------
    verdict : PairVerdict
        In a word.
    correlation : float
        At the best delay, -1 to 1.
    delay, delay_uncertainty : float
        s; above 0 b comes later. NaN where unrelated. The uncertainty takes what is left for
        independent noise.
    repeats_after : float
        Other delays differ from this one by multiples of this time and fit as well, s; NaN where
        the delay is the only one.
    could_be_inverted : bool
        Whether another delay fits as well with the opposite sign, as for an even square wave.
    gain, gain_uncertainty : float
        Unit of b over that of a.
    offset, offset_uncertainty : float
        b where a is zero, unit of b.
    residual : float
        Standard deviation of what is left, unit of b.
    """

    verdict: PairVerdict
    correlation: float = float("nan")
    delay: float = float("nan")
    delay_uncertainty: float = float("nan")
    repeats_after: float = float("nan")
    could_be_inverted: bool = False
    gain: float = float("nan")
    gain_uncertainty: float = float("nan")
    offset: float = float("nan")
    offset_uncertainty: float = float("nan")
    residual: float = float("nan")


def channel_pair(
    first: Samples, second: Samples, interval: float, *, largest_delay: float | None = None
) -> ChannelPair:
    """Relate two channels of one record.

    Parameters
    ----------
    first, second : ndarray, shape (n_samp,)
        Channels a and b, recorded together.
    interval : float
        Time from sample to sample, s.
    largest_delay : float or None
        Delays to look at, s, either way; half of the record where None.

    Returns
    -------
    ChannelPair
        Relation, delay, gain and offset.

    Raises
    ------
    ValueOutOfRange
        The channels differ in length or are no rows of numbers.

    Notes
    -----
    Standard uncertainties from the normal equations of the linearised fit [jcgm100, 5.2 and H.3].
    """
    a = require_record(first, interval, "channel a")
    b = require_record(second, interval, "channel b")
    if a.size != b.size:
        raise ValueOutOfRange(
            f"the channels have {a.size} and {b.size} samples.",
            where="two channels",
            remedy="Take both from one record.",
        )
    if a.size < 16 or not np.ptp(a) > 0.0 or not np.ptp(b) > 0.0:
        return ChannelPair(PairVerdict.FLAT)
    longest = int(a.size * (1.0 - _OVERLAP))
    if largest_delay is not None:
        longest = min(longest, max(1, round(largest_delay / interval)))
    lags, similar = _correlations(a, b, longest)
    best, repeats, both_ways = _best_delay(lags, similar)
    correlation = float(similar[best])
    if abs(correlation) < UNRELATED:
        return ChannelPair(PairVerdict.UNRELATED, correlation)
    fit = _fitted(a, b, float(lags[best]) + _shift(np.abs(similar), best))
    verdict = _verdict(correlation, fit, float(np.ptp(b)))
    return ChannelPair(
        verdict,
        correlation,
        fit.delay * interval,
        fit.uncertainty[2] * interval,
        repeats * interval,
        both_ways,
        fit.gain,
        fit.uncertainty[1],
        fit.offset,
        fit.uncertainty[0],
        fit.residual,
    )


@dataclass(frozen=True)
class _Fit:
    offset: float
    gain: float
    delay: float  # samples
    uncertainty: tuple[float, float, float]
    residual: float


def _correlations(a: Array, b: Array, longest: int) -> tuple[NDArray[np.int64], Array]:
    """Correlation coefficient of what overlaps, for each whole delay, b later than a."""
    n = a.size
    size = next_fast_len(2 * n, real=True)
    x, y = a - a.mean(), b - b.mean()
    product = irfft(np.conj(rfft(x, size)) * rfft(y, size), size)
    lags = np.arange(-longest, longest + 1)
    cross = product[lags]  # sum over t of x[t] y[t + lag]
    x_first, x_last = np.maximum(-lags, 0), n - np.maximum(lags, 0)
    y_first, y_last = np.maximum(lags, 0), n - np.maximum(-lags, 0)
    count = (n - np.abs(lags)).astype(np.float64)
    sum_x, square_x = _partial_sums(x, x_first, x_last)
    sum_y, square_y = _partial_sums(y, y_first, y_last)
    covariance = cross - sum_x * sum_y / count
    spread = (square_x - sum_x**2 / count) * (square_y - sum_y**2 / count)
    least = 1e-12 * float((x @ x) * (y @ y))
    return lags, np.where(spread > least, covariance / np.sqrt(np.maximum(spread, least)), 0.0)


def _partial_sums(
    x: Array, first: NDArray[np.int64], last: NDArray[np.int64]
) -> tuple[Array, Array]:
    total = np.concatenate([[0.0], np.cumsum(x)])
    squares = np.concatenate([[0.0], np.cumsum(x**2)])
    return total[last] - total[first], squares[last] - squares[first]


def _shift(similar: Array, best: int) -> float:
    """Top of the parabola through three values, in samples from the middle one."""
    if not 0 < best < similar.size - 1:
        return 0.0
    before, here, after = similar[best - 1 : best + 2]
    bend = float(before - 2.0 * here + after)
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0


def _best_delay(lags: NDArray[np.int64], similar: Array) -> tuple[int, float, bool]:
    """Place of the best delay, samples to the next as good, whether the other sign fits as well.

    Of equally good ones the shortest is taken; upside down only where that needs no delay, or
    where nothing else fits.
    """
    top = float(np.abs(similar).max())
    upright, inverted = _peaks(similar, top), _peaks(-similar, top)

    def shortest(places: list[int]) -> int:
        return min(places, key=lambda place: abs(int(lags[place])))

    chosen = upright or inverted
    if upright and inverted:
        least = abs(int(lags[shortest(inverted)]))
        if least <= _NO_DELAY and least < abs(int(lags[shortest(upright)])):
            chosen = inverted
    best = shortest(chosen)
    others = [abs(place - best) for place in chosen if place != best]
    return best, float(min(others, default=np.nan)), bool(upright and inverted)


def _peaks(similar: Array, top: float) -> list[int]:
    """Places of peaks nearly as high as the top, with lower ground between any two of them."""
    padded = np.concatenate([[-np.inf], similar, [-np.inf]])
    inner = padded[1:-1]
    places = np.flatnonzero(
        (inner >= padded[:-2]) & (inner > padded[2:]) & (inner >= _SECOND * top)
    )
    kept: list[int] = []
    for place in places[np.argsort(-similar[places])][:_MAX_PEAKS].tolist():
        if all(
            similar[min(place, other) : max(place, other)].min() < _LOWER * top for other in kept
        ):
            kept.append(place)
    return kept


def _fitted(a: Array, b: Array, delay: float) -> _Fit:
    """Gauss-Newton on offset, gain and delay; the spline stands for a between its samples."""
    spline = CubicSpline(np.arange(a.size), a)
    slope_of = spline.derivative()
    normal: Array = np.eye(3)
    solution: Array = np.zeros(3)
    left: Array = np.zeros(1)
    for _ in range(_ROUNDS):
        first = max(0, int(np.ceil(delay)))
        last = min(a.size, a.size + int(np.floor(delay)))
        at = np.arange(first, last) - delay
        shifted = np.asarray(spline(at), dtype=np.float64)
        two = np.stack([np.ones(at.size), shifted], axis=1)
        gain = float(np.linalg.lstsq(two, b[first:last], rcond=None)[0][1])
        design = np.column_stack([two, -gain * np.asarray(slope_of(at), dtype=np.float64)])
        solution = np.linalg.lstsq(design, b[first:last], rcond=None)[0]
        left = b[first:last] - design @ solution
        normal = design.T @ design
        # The third unknown is how much to add to the delay; half a sample a round at most.
        delay += float(np.clip(solution[2], -0.5, 0.5))
    residual = float(np.sqrt(left @ left / max(1, left.size - 3)))
    doubt = residual * np.sqrt(np.diag(np.linalg.pinv(normal)))
    return _Fit(
        float(solution[0]),
        float(solution[1]),
        delay,
        (float(doubt[0]), float(doubt[1]), float(doubt[2])),
        residual,
    )


def _verdict(correlation: float, fit: _Fit, swing: float) -> PairVerdict:
    if abs(correlation) < FOLLOWS:
        return PairVerdict.PARTLY
    if correlation < 0.0:
        return PairVerdict.INVERTED
    same_size = abs(fit.gain - 1.0) <= max(_ALIKE, 3.0 * fit.uncertainty[1])
    same_place = abs(fit.offset) <= max(_ALIKE * swing, 3.0 * fit.uncertainty[0])
    return PairVerdict.ALIKE if same_size and same_place else PairVerdict.SCALED
