"""Curve and pull-up from known points."""

import pytest

from backprobe.errors import UsageError
from backprobe.services.curve_fitting import FitAnswer, fit_points
from backprobe.services.curve_points import parse_points


def fitted(*lines: str) -> FitAnswer:
    return fit_points(parse_points(lines))


# Volts of a published sensor (2.5 kohm at 20 degC) below 2.2 kohm, by hand.
def test_volts_leave_several_curves_and_say_why() -> None:
    answer = fitted("0 degC=3.64 V", "40 degC=1.74 V", "90 degC=0.50 V")
    first = answer.candidates[0]
    assert first.curve == "ntc-2k5-at-20"
    assert first.pull_up is not None
    assert first.pull_up.low < 2200.0 < first.pull_up.high
    assert sum(not line.is_excluded for line in answer.candidates) > 1
    assert any("Volts alone tell the sensor's resistance over the" in x for x in answer.cannot_tell)
    assert "times the pull-up" in answer.own
    assert not answer.nothing_fits


def test_a_known_resistor_settles_it() -> None:
    answer = fitted("2.2 kohm=2.50 V", "0 degC=3.64 V", "90 degC=0.50 V")
    assert [line.curve for line in answer.candidates if not line.is_excluded] == ["ntc-2k5-at-20"]
    assert answer.pull_up is not None
    assert answer.pull_up.value == pytest.approx(2200.0, rel=0.02)
    assert answer.ohm_25 is not None
    assert answer.ohm_25.low < 2057.0 < answer.ohm_25.high  # the published curve at 25 degC
    assert answer.pull_up_said.startswith("The pull-up is 2.2 kohm")


def test_ohms_settle_it_too() -> None:
    answer = fitted("20 degC=2450 ohm", "80 degC=325 ohm")
    assert [line.curve for line in answer.candidates if not line.is_excluded] == ["ntc-2k5-at-20"]
    assert answer.beta is not None
    assert answer.beta.low < 3530.0 < answer.beta.high  # by hand: ln(2500/323) over 1/T


def test_a_second_pull_up_is_seen() -> None:
    """4.7 kohm cold and 324 ohm hot: the voltage jumps up while the sensor warms."""
    answer = fitted(
        "4.7 kohm=2.50 V", "0 degC=2.78 V", "20 degC=1.74 V", "80 degC=2.50 V", "100 degC=1.83 V"
    )
    first = answer.candidates[0]
    assert first.curve == "ntc-2k5-at-20"
    assert first.second is not None
    assert "a second one is switched in" in first.said


def test_points_that_nothing_makes() -> None:
    answer = fitted("0 degC=3.64 V", "20 degC=3.9 V", "90 degC=0.50 V", "30 degC=1.0 V")
    assert answer.nothing_fits
    assert answer.verdict.startswith("No curve kept here gives these points")


def test_a_resistor_alone_tells_the_pull_up() -> None:
    answer = fitted("1 kohm = 0.88 V")
    assert answer.verdict.startswith("The pull-up is 4.6")
    assert answer.candidates == ()


def test_rising_resistance_is_platinum() -> None:
    """IEC 60751: 200.00 ohm at 0, 277.01 at 100 degC."""
    answer = fitted("0 degC = 200 ohm", "100 degC = 277 ohm")
    assert answer.candidates[0].curve == "pt200"
    assert "no thermistor of this kind" in answer.own


def test_one_point_is_too_few() -> None:
    with pytest.raises(UsageError, match="One point tells neither curve nor pull-up"):
        fitted("20 degC = 2.66 V")


def test_close_temperatures_are_said_to_tell_little() -> None:
    answer = fitted("20 degC = 2.66 V", "30 degC = 2.17 V")
    assert any("within 40 degrees" in line for line in answer.cannot_tell)
    assert any("second pull-up" in line for line in answer.cannot_tell)
