"""Ranges and digits of hand-held meters: what a display of N counts can show."""

from typing import TypeAlias

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.instrument.ranges import (
    Measured,
    digit_size,
    full_scale,
    full_scale_limits,
    reading_digit,
)
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]


# The job format's own example: 400.0 mV, 4.000 V, 40.00 V at 4000 counts.
@pytest.mark.parametrize(
    ("value", "counts", "digit"),
    [
        (0.012, 4000, 0.0001),
        (0.3999, 4000, 0.0001),
        (0.4, 4000, 0.001),
        (2.41, 4000, 0.001),
        (-2.41, 4000, 0.001),
        (5.01, 4000, 0.01),
        (12.58, 4000, 0.01),
        (41.0, 4000, 0.1),
        (0.0, 4000, 0.0001),
        (0.55, 6000, 0.0001),
        (5.01, 6000, 0.001),
        (12.58, 6000, 0.01),
        (0.15, 2000, 0.0001),
        (1.5, 2000, 0.001),
        (5.01, 2000, 0.01),
        (12.58, 2000, 0.01),
        (0.4, 50000, 0.00001),
        (4.9, 50000, 0.0001),
        (12.58, 50000, 0.001),
    ],
)
def test_digit_of_a_voltage(value: float, counts: int, digit: float) -> None:
    assert digit_size(np.array([value]), counts)[0] == pytest.approx(digit, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "digit"),
    [(3.9994, 0.001), (3.9996, 0.01), (0.39994, 0.0001), (0.39996, 0.001), (39.996, 0.1)],
)
def test_a_range_ends_half_a_digit_before_its_counts(value: float, digit: float) -> None:
    assert digit_size(np.array([value]), 4000)[0] == pytest.approx(digit, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "digit"),
    [(0.3, 0.1), (350.0, 0.1), (2210.0, 1.0), (12e3, 10.0), (1e6, 1e3), (38e6, 1e4), (np.inf, 1e4)],
)
def test_digit_of_a_resistance(value: float, digit: float) -> None:
    found = digit_size(np.array([value]), 4000, Measured.OHMS)[0]
    assert found == pytest.approx(digit, rel=1e-12)


def test_digits_of_frequency_and_duty() -> None:
    np.testing.assert_allclose(
        digit_size(np.array([5.0, 85.0, 1810.0]), 4000, Measured.HERTZ), [0.01, 0.1, 1.0]
    )
    for counts in (2000, 4000, 6000):
        np.testing.assert_allclose(
            digit_size(np.array([3.0, 99.0]), counts, Measured.PERCENT), [0.1, 0.1]
        )


def test_full_scales_are_the_usual_ones() -> None:
    volts = np.array([0.1, 0.5, 5.0, 12.6])
    np.testing.assert_allclose(full_scale(volts, 6000), [0.6, 0.6, 6.0, 60.0])
    np.testing.assert_allclose(full_scale(volts, 4000), [0.4, 4.0, 40.0, 40.0])
    np.testing.assert_allclose(full_scale(volts, 2000), [0.2, 2.0, 20.0, 20.0])
    np.testing.assert_allclose(full_scale(volts, 50000), [0.5, 5.0, 50.0, 50.0])
    assert full_scale_limits(4000, Measured.OHMS) == pytest.approx((400.0, 40e6))
    np.testing.assert_array_equal(full_scale(np.array([7.0]), 4000, Measured.PERCENT), [100.0])


def test_written_digit_counts_where_it_is_coarser() -> None:
    value = np.array([0.012, 0.02, 5.0, 5.01, 5.01])
    written = np.array([0.001, 0.01, 1.0, np.nan, 0.001])
    np.testing.assert_allclose(
        reading_digit(value, 4000, written), [0.001, 0.01, 1.0, 0.01, 0.01], rtol=1e-12
    )


def test_a_reading_that_was_not_taken_has_no_digit() -> None:
    assert np.isnan(digit_size(np.array([np.nan]), 4000))[0]
    assert np.isnan(full_scale(np.array([np.nan]), 4000))[0]


@given(st.floats(1e-6, 900.0), st.sampled_from([2000, 4000, 6000, 20000, 50000]))
def test_a_display_is_never_exceeded_and_never_wasted(value: float, counts: int) -> None:
    digit = digit_size(np.array([value]), counts)[0]
    shown = np.round(value / digit)
    assert shown < counts
    smallest = full_scale_limits(counts)[0] / counts
    if digit > smallest * 1.01:  # in the next smaller range it would not have fitted
        assert np.round(value / (digit / 10)) >= counts


def test_impossible_displays_and_digits_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="display of 10 counts does not exist"):
        digit_size(np.array([1.0]), 10)
    with pytest.raises(ValueOutOfRange, match="zero or less"):
        reading_digit(np.array([1.0]), 4000, np.array([0.0]))
