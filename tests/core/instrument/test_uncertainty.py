"""Uncertainty against the worked examples of the Guide (JCGM 100) and two others.

Where the text of an example was not at hand its numbers are from memory, said beside it.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from backprobe.core.instrument.ranges import digit_size, full_scale
from backprobe.core.instrument.uncertainty import (
    combined,
    coverage_factor,
    effective_degrees_of_freedom,
    half_width,
    rectangular_coverage_factor,
    standard_uncertainty,
)
from backprobe.errors import ValueOutOfRange
from backprobe.quantities.accuracy import AccuracyStatement, parse_accuracy


def test_voltmeter_of_the_guide() -> None:
    # JCGM 100, 4.3.7 example 2 and 5.1.5: 14e-6 of reading + 2e-6 of range, 1 V range, mean
    # 0.928571 V, type A 12 uV. The half-width, its standard uncertainty and the combined one.
    statement = parse_accuracy("14 ppm of reading + 2 ppm of range")
    limit = half_width(statement, 0.928571, full_scale=1.0)
    assert limit == pytest.approx(15e-6, abs=0.1e-6)
    u = standard_uncertainty(statement, 0.928571, full_scale=1.0)
    assert u == pytest.approx(8.7e-6, abs=0.1e-6)
    # The Guide rounds to 15 uV: 14.81 uV.
    assert combined(np.array([float(u), 12e-6])) == pytest.approx(14.8e-6, abs=0.1e-6)
    # The same by way of `wander`, the standard deviation of the mean being one.
    assert standard_uncertainty(statement, 0.928571, full_scale=1.0, wander=12e-6) == pytest.approx(
        14.8e-6, abs=0.1e-6
    )


def test_bench_meter_of_a_manual() -> None:
    # "Error example" of a maker's 6 1/2-digit meter manual: 5 V on the 10 V range, within 150 uV.
    statement = parse_accuracy("0.0020 % of reading + 0.0005 % of range")
    assert half_width(statement, 5.0, full_scale=10.0) == pytest.approx(150e-6, rel=1e-12)


def test_hand_held_meter_in_digits() -> None:
    # JCGM 100, 4.3.7: a = 0.5 % of 5.00 V + 2 digits of 0.01 V = 45 mV, u = a / sqrt 3.
    statement = parse_accuracy("0.5 % + 2 digits")
    assert half_width(statement, 5.0, 0.01) == pytest.approx(0.045, abs=1e-12)
    assert standard_uncertainty(statement, 5.0, 0.01) == pytest.approx(0.0260, abs=1e-4)


# Arithmetic of the trade: 0.5 % + 2 digits on a meter of 6000 counts.
@pytest.mark.parametrize(
    ("value", "digit", "limit"),
    [(5.0, 0.001, 27e-3), (12.6, 0.01, 83e-3), (0.1, 0.01, 20.5e-3), (0.1, 0.0001, 0.7e-3)],
)
def test_limits_by_range(value: float, digit: float, limit: float) -> None:
    statement = parse_accuracy("0.5 % + 2 digits")
    assert half_width(statement, value, digit) == pytest.approx(limit, rel=1e-9)
    if value > 1.0 or digit < 0.001:  # the range that the meter takes by itself
        assert digit_size(np.array([value]), 6000)[0] == pytest.approx(digit)


def test_gauge_block_of_the_guide() -> None:
    # JCGM 100, H.1 (components from memory; the result also from a general uncertainty library,
    # GTC 1.5.1): of 50 000 838 nm, u_c = 32 nm, 16 degrees of freedom, k = 2.92 for 99 %, U = 93
    # nm.
    difference = combined([5.8, 3.9, 6.7])
    difference_freedom = effective_degrees_of_freedom([5.8, 3.9, 6.7], [24, 5, 8])
    expansion = 50e6 * 0.1 * 0.58e-6  # length * temperature * u(difference of coefficients)
    temperature = 50e6 * 11.5e-6 * 0.0289  # length * coefficient * u(difference of temperatures)
    components = [25.0, float(difference), expansion, temperature]
    u = combined(components)
    assert u == pytest.approx(31.66, abs=0.1)
    freedom = effective_degrees_of_freedom(components, [18, difference_freedom, 50, 2])
    assert freedom == pytest.approx(16.75, abs=0.2)
    factor = coverage_factor(0.99, np.floor(freedom))
    assert factor == pytest.approx(2.92, abs=0.005)
    assert np.round(u) * factor == pytest.approx(93.0, abs=1.0)


def test_relative_components_of_the_guide() -> None:
    # JCGM 100, G.4.1: 0.25 %, 0.57 %, 0.82 % from 10, 5 and 15 observations.
    components = [0.25, 0.57, 0.82]
    assert combined(components) == pytest.approx(1.03, abs=0.005)
    freedom = effective_degrees_of_freedom(components, [9, 4, 14])
    assert freedom == pytest.approx(19.0, abs=0.05)
    factor = coverage_factor(0.95, 19)
    assert factor == pytest.approx(2.09, abs=0.005)
    assert factor * combined(components) == pytest.approx(2.2, abs=0.05)


# JCGM 100, table G.2, 95 %.
@pytest.mark.parametrize(
    ("degrees", "factor"),
    [
        (1, 12.71),
        (2, 4.30),
        (3, 3.18),
        (5, 2.57),
        (10, 2.23),
        (20, 2.09),
        (50, 2.01),
        (np.inf, 1.96),
    ],
)
def test_coverage_factors_of_the_guide(degrees: float, factor: float) -> None:
    assert coverage_factor(0.95, degrees) == pytest.approx(factor, abs=0.005)


def test_hand_held_meter_dominated_by_one_rectangle() -> None:
    # EA-4/02 M, example S9 (from memory): calibration at 100 V. Display resolves 0.1 V, the
    # calibrator adds 0.001 V (normal) and limits of 0.011 V: u = 0.030 V, k = 1.65, U = 0.05 V.
    calibrator = AccuracyStatement(absolute=0.011)
    u = standard_uncertainty(calibrator, 100.0, 0.1, wander=0.001)
    assert u == pytest.approx(0.030, abs=0.0005)
    assert rectangular_coverage_factor(0.95) == pytest.approx(1.65, abs=0.005)
    # The example multiplies the rounded numbers.
    expanded = np.round(rectangular_coverage_factor(0.95), 2) * np.round(u, 3)
    assert expanded == pytest.approx(0.05, abs=0.001)


def test_rounding_is_counted_once() -> None:
    in_digits = parse_accuracy("0.5 % + 2 digits")
    # Shown as 12.3 mV and written so, or nothing known of the writing: covered by the 2 digits.
    plain = standard_uncertainty(in_digits, 0.0123, 1e-4)
    assert standard_uncertainty(in_digits, 0.0123, 1e-4, written_digit=1e-4) == plain
    # Written as 0.01 V: half a digit of 10 mV to either side on top, JCGM 100, F.2.2.1.
    coarse = standard_uncertainty(in_digits, 0.0123, 1e-4, written_digit=0.01)
    assert coarse == pytest.approx(np.hypot(plain, 0.01 / np.sqrt(12)), rel=1e-12)
    # A fixed limit says nothing of digits: the display's own rounding comes on top.
    fixed = AccuracyStatement(absolute=0.01)
    expected = np.hypot(0.01 / np.sqrt(3), 0.01 / np.sqrt(12))
    assert standard_uncertainty(fixed, 5.0, 0.01) == pytest.approx(expected, rel=1e-12)


def test_rectangles_agree_with_a_statistics_library() -> None:
    statement = AccuracyStatement(absolute=0.3)
    assert standard_uncertainty(statement, 1.0) == pytest.approx(stats.uniform(-0.3, 0.6).std())
    factor = coverage_factor(0.99, 7)
    assert factor == pytest.approx(stats.t(7).ppf(0.995), rel=1e-12)


@given(st.floats(0.001, 900.0), st.sampled_from([2000, 4000, 6000, 50000]))
def test_a_reading_taken_with_its_own_range_equals_one_by_one(value: float, counts: int) -> None:
    statement = parse_accuracy("0.5 % + 2 digits + 0.1 % of range")
    values = np.array([value, -value, 2 * value])
    batch = standard_uncertainty(
        statement, values, digit_size(values, counts), full_scale=full_scale(values, counts)
    )
    assert batch.shape == (3,)
    assert batch[0] == batch[1]
    one = standard_uncertainty(
        statement,
        value,
        float(digit_size(np.array([value]), counts)[0]),
        full_scale=float(full_scale(np.array([value]), counts)[0]),
    )
    assert batch[0] == pytest.approx(float(one), rel=1e-12)


@given(st.lists(st.floats(0.01, 10.0), min_size=1, max_size=5), st.floats(1.0, 100.0))
def test_effective_degrees_lie_between_smallest_and_sum(components: list[float], nu: float) -> None:
    # JCGM 100, G.4.1 note: never above the sum, never below the smallest.
    degrees = [nu] * len(components)
    found = effective_degrees_of_freedom(components, degrees)
    assert nu * (1 - 1e-9) <= found <= nu * len(components) * (1 + 1e-9)


def test_certain_limits_have_infinite_degrees_of_freedom() -> None:
    assert effective_degrees_of_freedom([1.0, 2.0], [np.inf, np.inf]) == np.inf


def test_missing_sizes_and_impossible_levels_are_refused() -> None:
    in_digits = parse_accuracy("0.5 % + 2 digits")
    of_range = parse_accuracy("0.5 % of range")
    with pytest.raises(ValueOutOfRange, match="size is not given"):
        half_width(in_digits, 5.0)
    with pytest.raises(ValueOutOfRange, match="size is not given"):
        half_width(of_range, 5.0, 0.01)
    with pytest.raises(ValueOutOfRange, match="is negative"):
        half_width(in_digits, 5.0, -0.01)
    with pytest.raises(ValueOutOfRange, match="do not fit together"):
        effective_degrees_of_freedom([1.0], [2, 3])
    with pytest.raises(ValueOutOfRange, match=r"as 0\.95, not as 95"):
        coverage_factor(95.0)
    with pytest.raises(ValueOutOfRange, match=r"as 0\.95, not as 95"):
        rectangular_coverage_factor(95.0)
