"""What a meter shows of known circuits and signals."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.instrument.indication import (
    alternating_of_levels,
    held_extremes,
    loaded,
    mean_of_levels,
    ohmmeter_limit,
    shown_ohms,
    thevenin_from_loaded_readings,
)
from backprobe.errors import NoUniqueAnswer, ValueOutOfRange

R_UPPER, R_LOWER = 2200.0, 4700.0
OPEN_CIRCUIT = 5.0 * R_LOWER / (R_UPPER + R_LOWER)
SOURCE = R_UPPER * R_LOWER / (R_UPPER + R_LOWER)


# ------------------------------------------------------------------ loading


def test_divider_with_a_meter_on_it() -> None:
    # 5 V, 2.2 kohm over 4.7 kohm, 10 Mohm meter: computed with a circuit simulator (ngspice 39.3).
    shown = loaded(OPEN_CIRCUIT, SOURCE, 10e6)
    assert shown == pytest.approx(3.4052868019, abs=1e-9)
    assert (5.0 - shown) / R_UPPER == pytest.approx(0.7248696e-3, abs=1e-9)


def test_weak_divider_is_pulled_down_by_the_meter() -> None:
    # 100 kohm over 100 kohm on 5 V: true 2.5 V; Kirchhoff's law by hand.
    np.testing.assert_allclose(
        loaded(2.5, 50e3, np.array([10e6, 1e6, np.inf])), [2.487562, 2.380952, 2.5], atol=1e-6
    )


def test_ten_megohm_meter_on_weak_sources() -> None:
    # Arithmetic of the trade, in percent of the true value.
    shares = loaded(100.0, np.array([100e3, 470e3, 1e6, 5e6]), 10e6)
    np.testing.assert_allclose(shares, [99.0, 95.5, 91.0, 67.0], atol=0.35)


def test_known_resistor_tells_a_pull_up() -> None:
    # Table of the trade for 5.00 V and 1 kohm to ground: 2.50 V = 1 k, 1.56 = 2.2 k, 0.88 = 4.7 k.
    pull_up = np.array([1000.0, 2200.0, 4700.0, 10000.0])
    shown = loaded(5.0, pull_up, 1000.0)
    np.testing.assert_allclose(shown, [2.50, 1.56, 0.88, 0.45], atol=0.006)
    np.testing.assert_allclose(1000.0 * (5.0 / shown - 1.0), pull_up, rtol=1e-12)


def test_resistor_to_another_end_pulls_there() -> None:
    assert loaded(0.0, 1000.0, 1000.0, other_end=5.0) == pytest.approx(2.5)


def test_floating_wire_follows_the_load_or_has_no_voltage() -> None:
    assert loaded(np.nan, np.inf, 10e6) == 0.0
    assert loaded(3.0, np.inf, 1000.0, other_end=12.0) == 12.0
    assert np.isnan(loaded(3.0, np.inf, np.inf))


def test_source_behind_a_divider_from_two_loaded_readings() -> None:
    # 3.405797 V behind 2.2 kohm parallel 4.7 kohm = 1498.551 ohm.
    first, second = loaded(OPEN_CIRCUIT, SOURCE, 10e6), loaded(OPEN_CIRCUIT, SOURCE, 1000.0)
    volts, ohm = thevenin_from_loaded_readings(first, 10e6, second, 1000.0)
    assert volts == pytest.approx(3.405797, abs=5e-7)
    assert volts == pytest.approx(5.0 * 4.7 / 6.9, rel=1e-9)
    assert ohm == pytest.approx(1498.551, abs=5e-4)
    assert ohm == pytest.approx(2200.0 * 4700.0 / 6900.0, rel=1e-9)


@given(st.floats(0.1, 15.0), st.floats(1.0, 1e5), st.floats(50.0, 1e5), st.floats(1.2, 1e3))
def test_source_is_found_again(volts: float, source: float, load: float, ratio: float) -> None:
    first, second = loaded(volts, source, load), loaded(volts, source, load * ratio)
    found_volts, found_ohm = thevenin_from_loaded_readings(first, load, second, load * ratio)
    # Two near readings of a stiff source leave few digits of their difference.
    assert found_volts == pytest.approx(volts, rel=1e-9)
    assert found_ohm == pytest.approx(source, rel=1e-7, abs=1e-7 * load)


def test_open_reading_counts_as_a_load_that_draws_nothing() -> None:
    volts, ohm = thevenin_from_loaded_readings(5.0, np.inf, 2.5, 1000.0)
    assert volts == 5.0
    assert ohm == 1000.0


# ------------------------------------------------------------------ averaging


def test_dc_shows_the_mean_of_a_switching_signal() -> None:
    np.testing.assert_allclose(
        mean_of_levels(0.0, 5.0, np.array([0.0, 0.25, 0.5, 1.0])), [0.0, 1.25, 2.5, 5.0]
    )
    assert mean_of_levels(0.4, 12.2, 0.3) == pytest.approx(0.4 + 0.3 * 11.8)


def test_ac_of_an_even_square_wave() -> None:
    # 0 to 5 V is 2.5 V about its mean: rms 2.5 V; an average-responding meter shows 11 % more
    # (form factor of the sine, pi / (2 sqrt 2) = 1.1107, any handbook of measurement).
    assert alternating_of_levels(0.0, 5.0, 0.5) == pytest.approx(2.5)
    assert alternating_of_levels(0.0, 5.0, 0.5, true_rms=False) == pytest.approx(
        2.5 * 1.1107, rel=1e-4
    )


@given(st.floats(-5.0, 5.0), st.floats(0.1, 15.0), st.integers(0, 200))
@settings(max_examples=50)
def test_mean_and_rms_agree_with_a_sampled_signal(low: float, swing: float, high: int) -> None:
    signal = np.full(200, low)
    signal[:high] += swing
    share = high / 200
    assert mean_of_levels(low, low + swing, share) == pytest.approx(signal.mean(), abs=1e-12)
    assert alternating_of_levels(low, low + swing, share) == pytest.approx(signal.std(), abs=1e-9)
    rectified = np.abs(signal - signal.mean()).mean()
    shown = alternating_of_levels(low, low + swing, share, true_rms=False)
    assert shown == pytest.approx(rectified * np.pi / np.sqrt(8.0), abs=1e-9)


def test_hold_shows_the_levels_of_a_slow_signal_and_the_mean_of_a_fast_one() -> None:
    lowest, highest = held_extremes(0.2, 4.8, 0.4, np.array([0.0, 1.0, 85.0, 4000.0]))
    np.testing.assert_allclose(highest[:2], 4.8)
    np.testing.assert_allclose(lowest[:2], 0.2)
    mean = 0.2 + 0.4 * 4.6
    np.testing.assert_allclose([lowest[2], highest[2]], mean, atol=0.15)
    np.testing.assert_allclose([lowest[3], highest[3]], mean, atol=1e-9)


@given(st.floats(0.05, 0.95), st.floats(0.5, 60.0))
@settings(max_examples=40, deadline=None)
def test_hold_agrees_with_a_sampled_moving_average(share: float, hertz: float) -> None:
    per_second = 4000
    time = np.arange(int(per_second * (0.2 + 2.0 / hertz))) / per_second
    signal = np.where((time * hertz) % 1.0 < share, 5.0, 0.0)
    total = np.concatenate([[0.0], np.cumsum(signal)])
    window = per_second // 10
    averages = (total[window:] - total[:-window]) / window
    lowest, highest = held_extremes(0.0, 5.0, share, hertz)
    # A sample more or less at each of the two edges a period within the window.
    tolerance = 5.0 * (2.0 + 2.0 * hertz * 0.1) / window
    assert averages.max() == pytest.approx(float(highest), abs=tolerance)
    assert averages.min() == pytest.approx(float(lowest), abs=tolerance)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1e5))
def test_hold_lies_between_levels_and_around_the_mean(share: float, hertz: float) -> None:
    lowest, highest = held_extremes(1.0, 4.0, share, hertz)
    mean = mean_of_levels(1.0, 4.0, share)
    assert 1.0 - 1e-9 <= lowest <= mean + 1e-9
    assert mean - 1e-9 <= highest <= 4.0 + 1e-9


# ------------------------------------------------------------------ ohmmeter


def test_ohmmeter_shows_over_range_above_its_largest_range() -> None:
    # 4000 counts: 40.00 Mohm (common practice).
    assert ohmmeter_limit(4000) == pytest.approx(40e6)
    shown = shown_ohms(np.array([0.0, 2210.0, 39e6, 41e6, np.inf]), 4000, lead_ohm=0.3)
    np.testing.assert_allclose(shown, [0.3, 2210.3, 39e6 + 0.3, np.inf, np.inf])


# ------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: mean_of_levels(0.0, 5.0, 40.0), "as 0.4"),
        (lambda: held_extremes(0.0, 5.0, 0.5, -1.0), "frequency is negative"),
        (lambda: held_extremes(0.0, 5.0, 0.5, 1.0, averaging=0.0), "averaging time"),
        (lambda: loaded(5.0, -1.0, 10e6), "below zero"),
        (lambda: loaded(5.0, 1.0, 0.0), "not above zero"),
        (lambda: shown_ohms(-1.0, 4000), "key off"),
        (lambda: thevenin_from_loaded_readings(5.0, 1e3, 4.0, 1e3), "two loads are equal"),
        (lambda: thevenin_from_loaded_readings(5.0, 0.0, 4.0, 1e3), "not above zero"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()


def test_dead_wire_has_no_source_to_speak_of() -> None:
    with pytest.raises(NoUniqueAnswer, match="same current"):
        thevenin_from_loaded_readings(0.0, np.inf, 0.0, 1000.0)
