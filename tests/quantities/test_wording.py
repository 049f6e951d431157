import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.quantities import format_quantity, parse_quantity


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.012, "volt", "12 mV"),
        (0.0123, "volt", "12.3 mV"),
        (-0.25, "volt", "-250 mV"),
        (2.41, "volt", "2.41 V"),
        (12.584, "V", "12.58 V"),
        (0.99996, "volt", "1.00 V"),
        (0.99949, "volt", "999 mV"),
        (0.0, "volt", "0 mV"),
        (-0.0, "volt", "0 mV"),
        (120.0, "volt", "120.0 V"),
        (2210.0, "ohm", "2.21 kohm"),
        (1e7, "ohm", "10 Mohm"),
        (999.6, "ohm", "1 kohm"),
        (0.03, "ohm", "30 mohm"),
        (0.0, "ohm", "0 ohm"),
        (math.inf, "ohm", "OL"),
        (-math.inf, "volt", "-OL"),
        (math.nan, "volt", "not measured"),
        (1814.0, "hertz", "1.814 kHz"),
        (85.0, "hertz", "85 Hz"),
        (19.04, "celsius", "19 °C"),
        (-7.25, "celsius", "-7.25 °C"),
        (40.0, "percent", "40 %"),
        (3.2, "g/s", "3.2 g/s"),
        (750.0, "rpm", "750 rpm"),
        (33.0, "kPa", "33 kPa"),
        (0.007, "ampere", "7 mA"),
    ],
)
def test_a_value_is_said_as_a_technician_says_it(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


@given(st.floats(min_value=-999, max_value=999))
def test_said_volts_read_back_within_half_of_the_last_digit(value: float) -> None:
    read = parse_quantity(format_quantity(value, "volt"), "volt")
    assert read.digit_size is not None
    # "12 mV" may stand for 12.0: below 100 mV the half digit is 0.05 mV, else of what is shown.
    assert abs(read.value - value) <= read.digit_size / 2 * 1.001 + 1e-12


@given(st.floats(min_value=1e-3, max_value=9e9))
def test_said_ohms_read_back_within_three_digits(value: float) -> None:
    # Three significant digits are at worst half a unit in 100 away.
    assert parse_quantity(format_quantity(value, "ohm"), "ohm").value == pytest.approx(
        value, rel=0.0051
    )
