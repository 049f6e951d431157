"""Standard uncertainty of noted readings, worked by hand from a meter's statement."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.job import Indication, Meter
from backprobe.services.accuracy import (
    DUTY_PERCENT,
    OWN_PART,
    WANDER_SHARE,
    WANDER_VOLT,
    common_offset,
    common_share,
    standard_uncertainty,
)

METER = Meter()  # 4000 counts, DC volts 0.5 % + 2 digits, ohms 0.8 % + 3 digits, hertz 0.1 % + 1
# A limit is taken as the half-width of a rectangular law: GUM (JCGM 100:2008), 4.3.7.
ROOT_3 = math.sqrt(3.0)


def test_gain_that_all_readings_share_is_the_statements_percentage() -> None:
    assert common_share(METER) == pytest.approx(0.005 / ROOT_3)


@pytest.mark.parametrize(
    ("volts", "number", "digit"),
    [(0.25, 0, 0.0001), (2.5, 1, 0.001), (12.6, 2, 0.01), (-12.6, 2, 0.01)],
)
def test_offset_of_a_range_is_its_digits(volts: float, number: int, digit: float) -> None:
    # A 4000-count meter resolves 0.1 mV to 0.4 V, 1 mV to 4 V, 10 mV to 40 V; two digits of each.
    found, offset = common_offset(METER, Indication(volts))
    assert found == number
    assert offset == pytest.approx(2 * digit / ROOT_3)


def test_what_belongs_to_one_reading_of_dc_volts_by_hand() -> None:
    # 12.60 V: own part 0.4 x (0.5 % + 2 digits) = 0.0252 + 0.008 V as a rectangular limit, and the
    # wandering of 0.15 % and 1 mV; the rounding of the display is within the digits.
    limit = OWN_PART * (0.005 * 12.6 + 2 * 0.01)
    wander = math.hypot(WANDER_SHARE * 12.6, WANDER_VOLT)
    expected = math.hypot(limit / ROOT_3, wander)
    found = standard_uncertainty(METER, "volts", Indication(12.6))
    assert found == pytest.approx(expected, rel=0.05)


def test_ohms_keep_their_whole_statement() -> None:
    # 2210 ohm in the 4 kohm range (1 ohm a digit): 0.8 % of 2210 + 3 = 20.7 ohm as a limit.
    found = standard_uncertainty(METER, "sensor_ohms", Indication(2210.0))
    limit = 0.008 * 2210.0 + 3 * 1.0
    assert found == pytest.approx(math.hypot(limit / ROOT_3, WANDER_SHARE * 2210.0), rel=0.05)


def test_duty_is_told_in_points_of_per_cent() -> None:
    assert standard_uncertainty(METER, "duty_percent", Indication(42.0)) == DUTY_PERCENT


@pytest.mark.parametrize("key", ["volts", "sensor_ohms", "hertz", "volts_ac"])
def test_over_range_is_no_number(key: str) -> None:
    over = Indication(math.inf, True, "OL")
    assert standard_uncertainty(METER, key, over) == 1.0
    assert common_offset(METER, over) == (0, 0.0)


def test_a_reading_written_coarsely_is_known_coarsely() -> None:
    fine = standard_uncertainty(METER, "volts", Indication(5.0, False, "5.000 V"))
    coarse = standard_uncertainty(METER, "volts", Indication(5.0, False, "5 V"))
    # Written to the volt, it was rounded by up to half a volt: at least 0.5 / sqrt 3 = 0.29 V.
    assert coarse >= 0.5 / ROOT_3
    assert fine < 0.02


@given(value=st.floats(1e-3, 40.0), better=st.floats(0.05, 1.0), worse=st.floats(1.0, 5.0))
def test_a_worse_meter_is_never_trusted_more(value: float, better: float, worse: float) -> None:
    good, bad = Meter(dc_volts=f"{better} % + 1 digit"), Meter(dc_volts=f"{worse} % + 3 digits")
    reading = Indication(value)
    assert standard_uncertainty(good, "volts", reading) < standard_uncertainty(
        bad, "volts", reading
    )
    assert common_share(good) <= common_share(bad)
    assert common_offset(good, reading)[1] <= common_offset(bad, reading)[1]


@given(value=st.floats(1e-3, 39.0))
def test_shared_and_own_parts_cover_the_statement(value: float) -> None:
    # Together they are no smaller than the statement's limit read as a rectangular law.
    reading = Indication(value)
    own = standard_uncertainty(METER, "volts", reading)
    number, offset = common_offset(METER, reading)
    digit = (0.0001, 0.001, 0.01)[number]
    whole = math.hypot(own, common_share(METER) * value, offset)
    assert whole >= math.hypot(0.005 * value, 2 * digit) / ROOT_3 - 1e-12


@pytest.mark.parametrize(
    ("key", "indication", "limits"),
    [
        ("volts", Indication(2.41, written="2.41 V ± 70 mV"), 0.07),
        ("level_high", Indication(5.0, written="5.00 V +/- 3 %"), 0.15),
        ("hertz", Indication(100.0, written="100 Hz ± 2"), 2.0),
        ("duty_percent", Indication(42.0, written="42 % ± 0.2"), 0.2),
    ],
)
def test_limits_written_beside_a_reading_stand_for_the_data_sheet(
    key: str, indication: Indication, limits: float
) -> None:
    found = standard_uncertainty(METER, key, indication)
    assert found == pytest.approx(limits / ROOT_3, rel=1e-12)


@given(st.floats(0.1, 20.0), st.integers(1, 500))
def test_narrower_limits_are_never_a_larger_uncertainty(volts: float, millivolts: int) -> None:
    def told(limits: int) -> float:
        written = f"{volts:.3f} V ± {limits} mV"
        return standard_uncertainty(METER, "volts", Indication(volts, written=written))

    assert told(millivolts) < told(millivolts + 1)
