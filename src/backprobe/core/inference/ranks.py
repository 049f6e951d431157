"""Ranks of the truth among posterior draws: simulation-based calibration.

Where values are drawn from the prior and data simulated from them, the rank of each value among
draws from its posterior is evenly distributed if the posterior is right.

Not in the bibliography, from memory: K. Pearson, Philosophical Magazine 50 (1900) 157-175
(chi-square).
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrik, chdtrc

from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.intp]


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


def _binomial_quantile(q: float, n: int, p: float) -> int:
    """Smallest count whose distribution function reaches ``q``."""
    count = max(0, int(np.floor(bdtrik(q, n, p))) - 1)
    while bdtr(count, n, p) < q:
        count += 1
    return count
