"""Ranks against posteriors of known quality and a general statistics library."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from backprobe.core.inference.ranks import rank_histogram, ranks_of_truth
from backprobe.errors import ValueOutOfRange


def normal_ranks(width: float, shift: float, seed: int) -> NDArray[np.intp]:
    """Ranks for the conjugate normal model, the posterior being widened and shifted.

    theta ~ N(0, 1), one datum y ~ N(theta, 1): the posterior is N(y / 2, 1 / 2).
    """
    rng = np.random.default_rng(seed)
    theta = rng.normal(size=1000)
    y = theta + rng.normal(size=1000)
    spread = width * np.sqrt(0.5)
    draws = y[:, None] / 2 + shift + spread * rng.normal(size=(1000, 99))
    return ranks_of_truth(theta, draws, rng)


def test_exact_posterior_passes() -> None:
    histogram = rank_histogram(normal_ranks(1.0, 0.0, 3), 99)
    assert histogram.counts.sum() == 1000
    assert histogram.p_value > 0.001
    # 1000 cases, 20 bins: 33 to 69 at 99 % (Talts et al. 2018 take this band; checked with scipy).
    assert (histogram.low, histogram.high) == (33, 69)
    outside = (histogram.counts < histogram.low) | (histogram.counts > histogram.high)
    assert outside.sum() <= 2


@pytest.mark.parametrize(("width", "shift"), [(0.7, 0.0), (1.4, 0.0), (1.0, 0.25)])
def test_wrong_posterior_fails(width: float, shift: float) -> None:
    histogram = rank_histogram(normal_ranks(width, shift, 4), 99)
    assert histogram.p_value < 1e-6
    edges, middle = histogram.counts[[0, -1]].sum(), histogram.counts[8:12].sum() / 2
    if width < 1.0:  # too narrow: a U
        assert edges > middle
    if width > 1.0:  # too wide: a hump
        assert edges < middle
    if shift > 0.0:  # posterior too high: the truth ranks low
        assert histogram.counts[:5].sum() > histogram.counts[-5:].sum()


def test_chi_square_agrees_with_a_statistics_library() -> None:
    histogram = rank_histogram(normal_ranks(1.0, 0.0, 5), 99)
    reference = stats.chisquare(histogram.counts)
    assert histogram.chi_square == pytest.approx(reference.statistic, rel=1e-12)
    assert histogram.p_value == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize(("n", "n_bin"), [(10, 2), (200, 10), (1000, 20), (5000, 25)])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99])
def test_band_of_counts_agrees_with_a_statistics_library(
    n: int, n_bin: int, confidence: float
) -> None:
    ranks = np.arange(n, dtype=np.intp) % (4 * n_bin)
    histogram = rank_histogram(ranks, 4 * n_bin - 1, n_bin, confidence)
    low, high = stats.binom.interval(confidence, n, 1 / n_bin)
    assert (histogram.low, histogram.high) == (low, high)


def test_ties_are_broken_evenly() -> None:
    # A quantity that is the same in every draw and in truth says nothing, and must not look wrong.
    rng = np.random.default_rng(6)
    ranks = ranks_of_truth(np.ones(4000), np.ones((4000, 99)), rng)
    assert ranks.min() == 0
    assert ranks.max() == 99
    assert rank_histogram(ranks, 99).p_value > 0.001


ONE = np.ones(2)
RNG = np.random.default_rng(0)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: ranks_of_truth(ONE, np.ones((3, 9)), RNG), "do not fit together"),
        (lambda: ranks_of_truth(ONE, np.full((2, 9), np.nan), RNG), "draw is NaN"),
        (lambda: rank_histogram(np.array([0, 100]), 99), "from 0 to 99"),
        (lambda: rank_histogram(np.array([0, 7]), 100), "101 possible ranks"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()
