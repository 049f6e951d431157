"""Scores against published examples, a general statistics library and populations of known
quality."""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from backprobe.core.inference.scoring import (
    brier_score,
    calibration_error,
    interval_coverage,
    reliability_curve,
    wilson_share,
)
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]


# ------------------------------------------------------------------ Brier score


def test_brier_score_of_a_published_example() -> None:
    # Example of a general machine-learning library's documentation (scikit-learn,
    # brier_score_loss).
    score = brier_score(np.array([0.0, 1, 1, 0]), np.array([0.1, 0.9, 0.8, 0.3]))
    assert score == pytest.approx(0.0375, abs=1e-12)


def test_brier_score_of_one_half_is_a_quarter() -> None:
    # Brier 1950: whatever happens.
    assert brier_score(np.array([0.0, 1, 1]), np.full(3, 0.5)) == 0.25


# ------------------------------------------------------------------ calibration

# Example of the documentation of a general metrics library (torchmetrics, binary calibration
# error), which follows Naeini et al. 2015 and Guo et al. 2017.
STATED = np.array([0.25, 0.25, 0.55, 0.75, 0.75])
CAME_TRUE = np.array([0.0, 0.0, 1.0, 1.0, 1.0])


def test_calibration_errors_of_a_published_example() -> None:
    error = calibration_error(CAME_TRUE, STATED, n_bin=2)
    assert error.l1 == pytest.approx(0.2900, abs=1e-4)
    assert error.l2 == pytest.approx(0.2918, abs=1e-4)
    assert error.largest == pytest.approx(0.3167, abs=1e-4)


def test_reliability_curve_of_a_published_example() -> None:
    low, high = reliability_curve(CAME_TRUE, STATED, n_bin=2)
    assert (low.low, low.high, low.observed.total, low.observed.count) == (0.0, 0.5, 2, 0)
    assert (high.low, high.high, high.observed.total, high.observed.count) == (0.5, 1.0, 3, 3)
    assert low.gap == pytest.approx(-0.25)
    assert high.mean_probability == pytest.approx(2.05 / 3)


def test_probabilities_on_an_edge_belong_to_the_bin_above_it() -> None:
    # 0.3, 0.6 and 0.7 are the classic traps: 0.3 * 10 = 3.0000000000000004, 0.7 * 10 =
    # 7.000000000000001.
    p = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
    totals = [part.observed.total for part in reliability_curve(np.ones(11), p, n_bin=10)]
    assert totals == [1, 1, 1, 1, 1, 1, 1, 1, 1, 2]


def test_empty_bins_stay_in_the_curve_and_out_of_the_error() -> None:
    curve = reliability_curve(np.array([1.0]), np.array([0.95]), n_bin=4)
    assert [part.observed.total for part in curve] == [0, 0, 0, 1]
    assert np.isnan(curve[0].mean_probability)
    assert (curve[0].observed.low, curve[0].observed.high) == (0.0, 1.0)
    assert calibration_error(np.array([1.0]), np.array([0.95]), n_bin=4).l1 == pytest.approx(0.05)


def test_calibrated_and_overconfident_forecasts_are_told_apart() -> None:
    rng = np.random.default_rng(1)
    p = rng.uniform(size=40_000)
    y = (rng.uniform(size=p.size) < p).astype(np.float64)
    # 4000 cases a bin: a standard error of at most 0.008, a mean absolute gap of about 0.006.
    assert calibration_error(y, p).l1 < 0.012
    sure = np.where(p > 0.5, 0.5 + 0.5 * p, 0.5 * p)
    assert calibration_error(y, sure).l1 > 0.1
    inside = [
        part.observed.low <= part.mean_probability <= part.observed.high
        for part in reliability_curve(y, p, confidence=0.999)
    ]
    assert all(inside)


# ------------------------------------------------------------------ shares


@pytest.mark.parametrize(
    ("count", "total"), [(0, 10), (1, 10), (10, 10), (45, 50), (900, 1000), (1, 1)]
)
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_wilson_interval_agrees_with_a_statistics_library(
    count: int, total: int, confidence: float
) -> None:
    share = wilson_share(count, total, confidence)
    reference = stats.binomtest(count, total).proportion_ci(confidence, method="wilson")
    assert share.low == pytest.approx(reference.low, abs=1e-12)
    assert share.high == pytest.approx(reference.high, abs=1e-12)


def test_a_share_of_nothing_may_be_anything() -> None:
    share = wilson_share(0, 0)
    assert np.isnan(share.share)
    assert (share.low, share.high) == (0.0, 1.0)


@given(st.integers(0, 60), st.integers(1, 60))
@settings(max_examples=60, deadline=None)
def test_wilson_interval_holds_the_share_and_stays_in_range(count: int, total: int) -> None:
    count = min(count, total)
    share = wilson_share(count, total)
    assert 0.0 <= share.low <= share.share <= share.high <= 1.0
    mirrored = wilson_share(total - count, total)
    assert mirrored.low == pytest.approx(1.0 - share.high, abs=1e-12)


def test_coverage_of_normal_intervals() -> None:
    # 1.96 standard deviations hold 95 % of a normal population.
    rng = np.random.default_rng(2)
    truth = rng.normal(size=20_000)
    coverage = interval_coverage(
        truth, np.full(truth.size, -1.96), np.full(truth.size, 1.96), 0.999
    )
    assert coverage.low <= 0.95 <= coverage.high
    assert coverage.total == 20_000


def test_limits_belong_to_an_interval() -> None:
    coverage = interval_coverage(
        np.array([1.0, 2.0, 2.1]), np.array([1.0, 1.0, 1.0]), np.array([2.0, 2.0, 2.0])
    )
    assert (coverage.count, coverage.total) == (2, 3)


# ------------------------------------------------------------------ refusals

HALF, ONE = np.full(2, 0.5), np.ones(2)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: brier_score(np.ones(3), HALF), "not two lists of one length"),
        (lambda: brier_score(np.ones(0), np.ones(0)), "one case at least"),
        (lambda: brier_score(HALF, HALF), "outcome is not 0 or 1"),
        (lambda: brier_score(ONE, np.array([0.5, 90.0])), "as 0.9, not as 90"),
        (lambda: brier_score(ONE, np.array([0.5, np.nan])), "not from 0 to 1"),
        (lambda: calibration_error(ONE, HALF, n_bin=0), "0 bins"),
        (lambda: wilson_share(3, 2), "3 cases of 2"),
        (lambda: wilson_share(1, 2, 95.0), "as 0.95, not as 95"),
        (lambda: interval_coverage(ONE, ONE, np.ones(3)), "differ"),
        (lambda: interval_coverage(ONE, ONE * 2, ONE), "above its upper one"),
        (lambda: interval_coverage(ONE * np.nan, ONE, ONE), "NaN"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()
