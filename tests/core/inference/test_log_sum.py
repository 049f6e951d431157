"""Logarithms of sums: small cases by hand, and numbers beyond what exponentials hold."""

import numpy as np
import pytest
from scipy.special import logsumexp

from backprobe.core.inference.log_sum import log_sum_exp


def test_a_sum_by_hand() -> None:
    found = log_sum_exp(np.log([[1.0, 2.0], [3.0, 5.0]]))
    assert found == pytest.approx(np.log([3.0, 8.0]), rel=1e-15)


@pytest.mark.parametrize("axis", [0, 1, -1])
@pytest.mark.parametrize("shift", [0.0, 900.0, -900.0])
def test_scipys_function_says_the_same(axis: int, shift: float) -> None:
    log_value = np.random.default_rng(1).normal(0.0, 30.0, (7, 5)) + shift
    assert log_sum_exp(log_value, axis) == pytest.approx(logsumexp(log_value, axis), rel=1e-14)


def test_nothing_at_all_is_minus_infinity() -> None:
    log_value = np.array([[-np.inf, -np.inf], [-np.inf, 1.0]])
    assert log_sum_exp(log_value).tolist() == [-np.inf, 1.0]
