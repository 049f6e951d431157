"""How good stated probabilities and intervals were, once the truth is known.

A program that says "90 %" should be right nine times out of ten. The measures here are the usual
ones for that: the Brier score, the calibration error with its reliability curve, and the coverage
of intervals. Shares come with Wilson intervals, so that a study shows how much its size allows it
to say.

Not in the bibliography, all from memory: E. B. Wilson, Journal of the American Statistical
Association 22 (1927) 209-212 (interval); A. H. Murphy, R. L. Winkler, Applied Statistics 26 (1977)
41-47 (reliability curve); M. P. Naeini, G. F. Cooper, M. Hauskrecht, AAAI 2015, 2901-2907, and
C. Guo, G. Pleiss, Y. Sun, K. Q. Weinberger, ICML 2017, 1321-1330 (calibration error).
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Share:
    """A share counted in a study, with the interval of the true shares that agree with it.

    Attributes
    ----------
    count, total : int
        Cases counted and cases in all.
    share : float
        ``count / total``; NaN where there was no case.
    low, high : float
        Limits of the Wilson interval; 0 and 1 where there was no case.
    confidence : float
        Its confidence level, 0 to 1.
    """

    count: int
    total: int
    share: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Predictions of about the same probability, and how often they came true.

    Attributes
    ----------
    low, high : float
        Limits of the bin; the lower belongs to it, of the last bin the upper one too.
    mean_probability : float
        Mean of the stated probabilities in the bin; NaN where it is empty.
    observed : Share
        How many came true.
    """

    low: float
    high: float
    mean_probability: float
    observed: Share

    @property
    def gap(self) -> float:
        """Share that came true minus the mean stated probability: above 0 = too modest."""
        return self.observed.share - self.mean_probability


@dataclass(frozen=True, slots=True)
class CalibrationError:
    """Distance of a reliability curve from the diagonal.

    Attributes
    ----------
    l1 : float
        Mean of the absolute gaps, each bin weighted with its cases ("expected calibration error").
    l2 : float
        Root of the mean of the squared gaps, weighted alike.
    largest : float
        Largest absolute gap of a bin that is not empty.
    """

    l1: float
    l2: float
    largest: float


def wilson_share(count: int, total: int, confidence: float = 0.95) -> Share:
    """Give a share its Wilson interval.

    Parameters
    ----------
    count, total : int
        Cases counted, 0 to ``total``; cases in all, >= 0.
    confidence : float
        Confidence level, above 0 and below 1.

    Returns
    -------
    Share
        The share and its limits.

    Raises
    ------
    ValueOutOfRange
        The counts or the level are impossible.

    Notes
    -----
    Wilson 1927: the true shares from which the observed one is no further than z standard errors,
    the standard error being that of the true share. No limit lies outside of 0 to 1.
    """
    if not 0 <= count <= total or not 0.0 < confidence < 1.0:
        raise ValueOutOfRange(
            f"{count} cases of {total} at a confidence of {confidence} is impossible.",
            where="share",
            remedy="Count no more cases than there are; give the level as 0.95, not as 95.",
        )
    if total == 0:
        return Share(0, 0, float("nan"), 0.0, 1.0, confidence)
    z2 = float(ndtri(0.5 + confidence / 2.0)) ** 2
    p = count / total
    centre = (p + z2 / (2.0 * total)) / (1.0 + z2 / total)
    half = np.sqrt(z2 * (p * (1.0 - p) / total + z2 / (4.0 * total**2))) / (1.0 + z2 / total)
    low = 0.0 if count == 0 else float(centre - half)
    high = 1.0 if count == total else float(centre + half)
    return Share(count, total, p, low, high, confidence)


def brier_score(outcomes: Array, probabilities: Array) -> float:
    """Mean squared distance of stated probabilities from what came true.

    Parameters
    ----------
    outcomes : ndarray, shape (n,)
        1 (or True) where the predicted thing came true, 0 where not.
    probabilities : ndarray, shape (n,)
        Stated probabilities, 0 to 1.

    Returns
    -------
    float
        0 for certainty that was right, 0.25 for saying one half always, 1 for certainty that was
        wrong.

    Raises
    ------
    ValueOutOfRange
        No case, different lengths, an outcome that is not 0 or 1, or a probability outside 0 to 1.

    Notes
    -----
    [brier1950], in the form for one event (half of his sum over two classes).
    """
    y, p = _require_predictions(outcomes, probabilities)
    return float(np.mean((p - y) ** 2))


def reliability_curve(
    outcomes: Array, probabilities: Array, n_bin: int = 10, confidence: float = 0.95
) -> tuple[ReliabilityBin, ...]:
    """Compare stated probabilities with what came true, in bins of equal width.

    Parameters
    ----------
    outcomes, probabilities : ndarray, shape (n,)
        As for `brier_score`.
    n_bin : int
        Bins from 0 to 1, 1 or more.
    confidence : float
        Level of the Wilson intervals.

    Returns
    -------
    tuple of ReliabilityBin
        All bins in rising order, empty ones included.

    Raises
    ------
    ValueOutOfRange
        As for `brier_score`, or no bin.

    Notes
    -----
    Murphy and Winkler 1977; the intervals Wilson 1927.
    """
    y, p = _require_predictions(outcomes, probabilities)
    index = _bin_of(p, n_bin)
    total = np.bincount(index, minlength=n_bin)
    came_true = np.bincount(index[y == 1.0], minlength=n_bin)
    stated = np.bincount(index, weights=p, minlength=n_bin)
    return tuple(
        ReliabilityBin(
            low=k / n_bin,
            high=(k + 1) / n_bin,
            mean_probability=float(stated[k] / total[k]) if total[k] else float("nan"),
            observed=wilson_share(int(came_true[k]), int(total[k]), confidence),
        )
        for k in range(n_bin)
    )


def calibration_error(outcomes: Array, probabilities: Array, n_bin: int = 10) -> CalibrationError:
    """Distance between stated probabilities and observed shares, over bins of equal width.

    Parameters
    ----------
    outcomes, probabilities : ndarray, shape (n,)
        As for `brier_score`.
    n_bin : int
        Bins from 0 to 1, 1 or more.

    Returns
    -------
    CalibrationError
        Mean, root-mean-square and largest gap.

    Raises
    ------
    ValueOutOfRange
        As for `reliability_curve`.

    Notes
    -----
    Naeini et al. 2015, eq. (3) and (4); Guo et al. 2017, eq. (3) and (5). With few cases a bin
    even a calibrated forecast shows an error of the order of 1 / sqrt(cases in the bin).
    """
    curve = reliability_curve(outcomes, probabilities, n_bin)
    filled = [part for part in curve if part.observed.total]
    gaps: Array = np.array([abs(part.gap) for part in filled])
    weights: Array = np.array([float(part.observed.total) for part in filled])
    weights /= weights.sum()
    return CalibrationError(
        l1=float(weights @ gaps),
        l2=float(np.sqrt(weights @ gaps**2)),
        largest=float(gaps.max()),
    )


def interval_coverage(truth: Array, low: Array, high: Array, confidence: float = 0.95) -> Share:
    """Count how often the truth lay within the stated interval.

    Parameters
    ----------
    truth, low, high : ndarray, shape (n,)
        True values and limits, one unit; ``low <= high``.
    confidence : float
        Level of the Wilson interval of the share.

    Returns
    -------
    Share
        Share of intervals that contain the truth, limits included.

    Raises
    ------
    ValueOutOfRange
        Different lengths, NaN, or limits the wrong way round.
    """
    value, below, above = (np.asarray(a, dtype=np.float64) for a in (truth, low, high))
    if value.ndim != 1 or value.shape != below.shape or value.shape != above.shape:
        raise ValueOutOfRange(
            f"values {value.shape}, lower {below.shape} and upper limits {above.shape} differ.",
            where="intervals",
            remedy="Give one value and two limits a case.",
        )
    if np.isnan(value).any() or not np.all(below <= above):
        raise ValueOutOfRange(
            "a value or limit is NaN, or a lower limit is above its upper one.",
            where="intervals",
            remedy="Leave out cases without an interval; give the lower limit first.",
        )
    inside = (below <= value) & (value <= above)
    return wilson_share(int(inside.sum()), value.size, confidence)


def _bin_of(p: Array, n_bin: int) -> IntArray:
    if n_bin < 1:
        raise ValueOutOfRange(
            f"{n_bin} bins hold nothing.", where="calibration", remedy="Take 1 bin or more."
        )
    # Compared with the edges as they are shown, so that 0.3 stands in the bin that begins at 0.3.
    edges: Array = np.arange(1, n_bin) / n_bin
    return np.asarray(np.searchsorted(edges, p, side="right"), dtype=np.intp)


def _require_predictions(outcomes: Array, probabilities: Array) -> tuple[Array, Array]:
    y: Array = np.asarray(outcomes, dtype=np.float64)
    p: Array = np.asarray(probabilities, dtype=np.float64)
    if y.ndim != 1 or y.shape != p.shape or not y.size:
        raise ValueOutOfRange(
            f"outcomes {y.shape} and probabilities {p.shape} are not two lists of one length.",
            where="predictions",
            remedy="Give one outcome and one probability a case, and one case at least.",
        )
    if not np.all((y == 0.0) | (y == 1.0)) or not np.all((p >= 0.0) & (p <= 1.0)):
        raise ValueOutOfRange(
            "an outcome is not 0 or 1, or a probability is not from 0 to 1.",
            where="predictions",
            remedy="Give probabilities as 0.9, not as 90, and leave out cases without an outcome.",
        )
    return y, p
