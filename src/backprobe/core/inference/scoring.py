"""How good stated probabilities, intervals and orders were, once the truth is known.

A program that says "90 %" should be right nine times out of ten. The measures here are the usual
ones for that: the Brier score, the calibration error with its reliability curve, the coverage of
intervals, the ranks of simulation-based calibration, and how far up the truth stood in a list.
Shares come with Wilson intervals, so that a study shows how much its size allows it to say.

Not in the bibliography, all from memory: E. B. Wilson, Journal of the American Statistical
Association 22 (1927) 209-212 (interval); A. H. Murphy, R. L. Winkler, Applied Statistics 26 (1977)
41-47 (reliability curve); M. P. Naeini, G. F. Cooper, M. Hauskrecht, AAAI 2015, 2901-2907, and
C. Guo, G. Pleiss, Y. Sun, K. Q. Weinberger, ICML 2017, 1321-1330 (calibration error); K. Pearson,
Philosophical Magazine 50 (1900) 157-175 (chi-square); E. M. Voorhees, TREC-8 (1999) 77-82
(reciprocal rank).
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrik, chdtrc, ndtri

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


@dataclass(frozen=True, slots=True)
class RankHistogram:
    """Ranks of the truth among posterior draws, counted in bins of equal width.

    Attributes
    ----------
    counts : ndarray of int, shape (n_bin,)
        Cases in each bin.
    low, high : int
        Counts between which a single bin of a calibrated posterior lies with the given confidence.
    chi_square, p_value : float
        Pearson's statistic against equal counts, and the probability of one as large by chance.
    """

    counts: IntArray
    low: int
    high: int
    chi_square: float
    p_value: float


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


def ranks_of_truth(truth: Array, draws: Array, generator: np.random.Generator) -> IntArray:
    """Rank of each true value among draws from its posterior.

    Parameters
    ----------
    truth : ndarray, shape (n,)
        Values from which the data were simulated.
    draws : ndarray, shape (n, n_draw)
        Independent draws from the posterior given each simulated data set.
    generator : numpy.random.Generator
        Breaks ties: a rank among equal values is drawn evenly.

    Returns
    -------
    ndarray of int, shape (n,)
        Number of draws below the truth, 0 to n_draw. Evenly distributed if the posterior is right.

    Raises
    ------
    ValueOutOfRange
        Shapes do not fit, or NaN.

    Notes
    -----
    [talts2018, theorem 1 and algorithm 1].
    """
    value: Array = np.asarray(truth, dtype=np.float64)
    drawn: Array = np.asarray(draws, dtype=np.float64)
    if value.ndim != 1 or drawn.ndim != 2 or drawn.shape[0] != value.size:
        raise ValueOutOfRange(
            f"true values {value.shape} and draws {drawn.shape} do not fit together.",
            where="ranks",
            remedy="Give one row of draws a true value.",
        )
    if np.isnan(value).any() or np.isnan(drawn).any():
        raise ValueOutOfRange(
            "a true value or a draw is NaN.",
            where="ranks",
            remedy="Leave out the cases in which the quantity does not exist.",
        )
    below = (drawn < value[:, None]).sum(axis=1)
    ties = (drawn == value[:, None]).sum(axis=1)
    return np.asarray(below + generator.integers(0, ties, endpoint=True), dtype=np.intp)


def rank_histogram(
    ranks: IntArray, n_draw: int, n_bin: int = 20, confidence: float = 0.99
) -> RankHistogram:
    """Check that ranks are evenly distributed, as simulation-based calibration asks.

    Parameters
    ----------
    ranks : ndarray of int, shape (n,)
        Ranks from `ranks_of_truth`.
    n_draw : int
        Draws among which they were taken; ``n_draw + 1`` has to be a multiple of ``n_bin``, so that
        every bin holds as many ranks.
    n_bin : int
        Bins, 2 or more.
    confidence : float
        Level of the band in which a single bin's count should lie.

    Returns
    -------
    RankHistogram
        Counts, the band from the binomial distribution, chi-square and its p-value.

    Raises
    ------
    ValueOutOfRange
        No rank, a rank outside 0 to n_draw, bins that do not divide the ranks, or an impossible
        level.

    Notes
    -----
    [talts2018, section 4.1] (band); Pearson 1900 (chi-square, ``n_bin - 1`` degrees of
    freedom). A shape like a U says that the posterior is too narrow, a hump that it is too wide,
    a slope that it is shifted.
    """
    values: IntArray = np.asarray(ranks, dtype=np.intp)
    if values.ndim != 1 or not values.size or values.min() < 0 or values.max() > n_draw:
        raise ValueOutOfRange(
            f"ranks among {n_draw} draws have to be a list of whole numbers from 0 to {n_draw}.",
            where="rank histogram",
            remedy="Take them from ranks_of_truth with the same number of draws.",
        )
    if n_bin < 2 or (n_draw + 1) % n_bin or not 0.0 < confidence < 1.0:
        raise ValueOutOfRange(
            f"{n_draw + 1} possible ranks do not fill {n_bin} bins evenly, "
            f"or {confidence} is no level.",
            where="rank histogram",
            remedy="Take 99 draws with 20 bins: draws + 1 has to be a multiple of the bins.",
        )
    counts = np.bincount(values * n_bin // (n_draw + 1), minlength=n_bin)
    expected = values.size / n_bin
    chi_square = float(((counts - expected) ** 2).sum() / expected)
    tail = 0.5 * (1.0 - confidence)
    return RankHistogram(
        counts=np.asarray(counts, dtype=np.intp),
        low=_binomial_quantile(tail, values.size, 1.0 / n_bin),
        high=_binomial_quantile(1.0 - tail, values.size, 1.0 / n_bin),
        chi_square=chi_square,
        p_value=float(chdtrc(n_bin - 1, chi_square)),
    )


def mean_reciprocal_rank(positions: IntArray) -> float:
    """Mean of one over the place at which the truth stood in each list.

    Parameters
    ----------
    positions : ndarray of int, shape (n,)
        Place of the truth in each list, from 1; 0 = not in the list, which counts as 0.

    Returns
    -------
    float
        1 where the truth always stood first.

    Raises
    ------
    ValueOutOfRange
        No list, or a negative place.

    Notes
    -----
    Voorhees 1999, section 3.
    """
    place = _require_positions(positions)
    return float(np.mean(np.divide(1.0, place, out=np.zeros(place.size), where=place > 0)))


def top_share(positions: IntArray, k: int, confidence: float = 0.95) -> Share:
    """Share of lists with the truth among their first ``k`` entries.

    Parameters
    ----------
    positions : ndarray of int, shape (n,)
        As for `mean_reciprocal_rank`.
    k : int
        Entries looked at, 1 or more.
    confidence : float
        Level of the Wilson interval.

    Returns
    -------
    Share
        The share and its limits.

    Raises
    ------
    ValueOutOfRange
        No list, a negative place, or ``k`` below 1.
    """
    place = _require_positions(positions)
    if k < 1:
        raise ValueOutOfRange(
            f"the first {k} entries hold nothing.",
            where="places in a list",
            remedy="Look at one entry or more.",
        )
    return wilson_share(int(((place > 0) & (place <= k)).sum()), place.size, confidence)


def _bin_of(p: Array, n_bin: int) -> IntArray:
    if n_bin < 1:
        raise ValueOutOfRange(
            f"{n_bin} bins hold nothing.", where="calibration", remedy="Take 1 bin or more."
        )
    # Compared with the edges as they are shown, so that 0.3 stands in the bin that begins at 0.3.
    edges: Array = np.arange(1, n_bin) / n_bin
    return np.asarray(np.searchsorted(edges, p, side="right"), dtype=np.intp)


def _binomial_quantile(q: float, n: int, p: float) -> int:
    """Smallest count whose distribution function reaches ``q``."""
    count = max(0, int(np.floor(bdtrik(q, n, p))) - 1)
    while bdtr(count, n, p) < q:
        count += 1
    return count


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


def _require_positions(positions: IntArray) -> IntArray:
    place: IntArray = np.asarray(positions, dtype=np.intp)
    if place.ndim != 1 or not place.size or place.min() < 0:
        raise ValueOutOfRange(
            "places have to be a list of whole numbers from 0 on, with one entry at least.",
            where="places in a list",
            remedy="Count from 1 and give 0 where the truth was not in the list.",
        )
    return place
