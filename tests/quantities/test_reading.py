import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import QuantityError
from backprobe.quantities import Quantity, parse_quantity

# Expected values: the prefixes of the SI brochure (9th edition, table 7); 4k7 and 2R2 are the
# marking code of IEC 60062; 1 degF = 5/9 K from 32 degF, 1 lb = 453.59237 g, 1 bar = 100 kPa
# from NIST SP 811 (2008), from memory.
READ = [
    ("12 mV", "volt", 0.012),
    ("12mV", "volt", 0.012),
    ("-12 mV", "volt", -0.012),
    ("−12 mV", "volt", -0.012),
    ("2,41 V", "volt", 2.41),
    ("2.41", "volt", 2.41),
    (".5 V", "volt", 0.5),
    ("5. V", "volt", 5.0),
    ("0,412 V", "volt", 0.412),
    # 1234 V is beyond any hand-held meter, so the comma can only part decimals.
    ("1,234 V", "volt", 1.234),
    ("850 µV", "volt", 850e-6),
    ("4k7", "ohm", 4700.0),
    ("4K7", "ohm", 4700.0),
    ("2R2", "ohm", 2.2),
    ("1M5 ohm", "ohm", 1.5e6),
    ("2.2 kohm", "ohm", 2200.0),
    ("2.2 kΩ", "ohm", 2200.0),
    ("2.2 k\u2126", "ohm", 2200.0),
    ("2.2k", "ohm", 2200.0),
    ("10 Mohm", "ohm", 1e7),
    ("10 megohm", "ohm", 1e7),
    ("10 M", "ohm", 1e7),
    ("10 mohm", "ohm", 0.01),
    ("47 R", "ohm", 47.0),
    ("10 000 ohm", "ohm", 10000.0),
    ("1e3", "ohm", 1000.0),
    ("1.81 kHz", "hertz", 1810.0),
    ("85 hz", "Hz", 85.0),
    ("7 mA", "ampere", 0.007),
    ("40 %", "percent", 40.0),
    ("40%", "%", 40.0),
    ("19 degC", "celsius", 19.0),
    ("19 °C", "celsius", 19.0),
    ("19 C", "degC", 19.0),
    ("-40 degF", "celsius", -40.0),
    ("212 °F", "celsius", 100.0),
    ("273.15 K", "celsius", 0.0),
    ("3.2 g/s", "gram per second", 3.2),
    ("36 kg/h", "g/s", 10.0),
    ("60 lb/min", "g/s", 453.59237),
    ("33 kPa", "kilopascal", 33.0),
    ("330 mbar", "kPa", 33.0),
    ("330 hPa", "kPa", 33.0),
    ("0.33 bar", "kPa", 33.0),
    ("40 MPa", "kPa", 40000.0),
    ("14.69595 psi", "kPa", 101.325),
    ("750 rpm", "rpm", 750.0),
    ("750 1/min", "rpm", 750.0),
]


@pytest.mark.parametrize(("written", "unit", "expected"), READ)
def test_a_reading_is_read_as_people_write_it(written: str, unit: str, expected: float) -> None:
    quantity = parse_quantity(written, unit)
    # 1e-6: the conversion factors of pressure carry seven digits.
    assert quantity.value == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert not quantity.over_range


@pytest.mark.parametrize(
    ("written", "unit", "digits", "size"),
    [
        ("5.00", "volt", 2, 0.01),
        ("5", "volt", 0, 1.0),
        ("12 mV", "volt", 0, 0.001),
        ("12.4 mV", "volt", 1, 0.0001),
        ("2.21 kohm", "ohm", 2, 10.0),
        ("4k7", "ohm", 1, 100.0),
        ("36.0 kg/h", "g/s", 1, 0.1 / 3.6),
    ],
)
def test_the_last_written_digit_has_a_size(
    written: str, unit: str, digits: int, size: float
) -> None:
    quantity = parse_quantity(written, unit)
    assert quantity.digits == digits
    assert quantity.digit_size == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize("written", [5, 5.0, "5e0"])
def test_a_bare_number_says_nothing_about_digits(written: str | float) -> None:
    quantity = parse_quantity(written, "volt")
    assert (quantity.value, quantity.digits, quantity.digit_size) == (5.0, None, None)


@pytest.mark.parametrize(
    "written", ["OL", "ol", "o.l", "O.L", "O.L.", ".OL", "0L", "0.L", " OL ", "OL Mohm", "overload"]
)
def test_over_range_is_read_as_the_meter_shows_it(written: str) -> None:
    quantity = parse_quantity(written, "ohm")
    assert quantity.over_range
    assert quantity.value == math.inf
    assert quantity.digits is None


@pytest.mark.parametrize(
    ("written", "unit", "text"),
    [
        ("1.234,5", "ohm", '"1.234,5" can be read in two ways. Write it with a point'),
        ("1.234.567", "ohm", '"1.234.567" can be read in two ways.'),
        ("2,210 ohm", "ohm", '"2,210 ohm" can be read in two ways.'),
        ("1,234 mV", "volt", '"1,234 mV" can be read in two ways.'),
        (
            "5 bananas",
            "volt",
            (
                '"5 bananas" can\'t be read: "bananas" isn\'t a unit of voltage.'
                ' Write it like "12 mV" or "2.41 V".'
            ),
        ),
        ("5 ohm", "volt", '"ohm" isn\'t a unit of voltage.'),
        ("0.4 mPa", "kPa", '"mPa" isn\'t a unit of pressure.'),
        ("nan", "volt", '"nan" isn\'t a voltage. Write "OL" where the meter showed over range;'),
        ("-inf", "volt", '"-inf" isn\'t a voltage. Write "OL"'),
        (math.nan, "volt", 'nan isn\'t a voltage. Write "OL"'),
        (math.inf, "ohm", 'inf isn\'t a resistance. Write "OL"'),
        (10**400, "ohm", "a number of more than eighteen digits isn't a resistance."),
        ("1e999", "ohm", '"1e999" isn\'t a resistance.'),
        (1e9, "volt", "1e+09 is above 1000 V, which no reading at a connector can be."),
        ("12 MV", "volt", '"12 MV" is above 1000 V, which no reading at a connector can be.'),
        ("-300 degC", "celsius", '"-300 degC" is below -100 °C'),
        ("140 %", "percent", '"140 %" is above 100 %'),
        ("-5 ohm", "ohm", '"-5 ohm" can\'t be a resistance. A meter shows a resistance below zero'),
        ("", "volt", "An empty text isn't a voltage. Leave the reading out"),
        ("  ", "volt", "An empty text isn't a voltage."),
        ("about five", "volt", '"about five" isn\'t a voltage that can be read. Write it like'),
        ("9" * 100, "volt", "is too long for a voltage."),
        (True, "volt", "true isn't a voltage."),
    ],
)
def test_what_cannot_be_read_says_why_and_how_to_write_it(
    written: str | float, unit: str, text: str
) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(written, unit)
    assert text in str(caught.value)
    assert caught.value.remedy


@given(
    st.integers(min_value=-999_999, max_value=999_999),
    st.integers(min_value=0, max_value=4),
    st.sampled_from([("V", Fraction(1)), ("mV", Fraction(1, 1000)), ("uV", Fraction(1, 10**6))]),
    st.sampled_from([".", ","]),
)
def test_a_written_number_means_its_exact_value(
    count: int, decimals: int, prefix: tuple[str, Fraction], point: str
) -> None:
    """Exact fractions, computed here from the digits, are the oracle."""
    spelled, scale = prefix
    exact = Fraction(count, 10**decimals) * scale
    text = f"{'-' if count < 0 else ''}{abs(count) // 10**decimals}"
    if decimals:
        text += f"{point}{abs(count) % 10**decimals:0{decimals}d}"
    is_two_ways = point == "," and decimals == 3 and abs(count) >= 1000 and abs(exact) <= 1
    if abs(exact) > 1000:
        with pytest.raises(QuantityError, match="1000 V"):
            parse_quantity(f"{text} {spelled}", "volt")
    elif is_two_ways:
        with pytest.raises(QuantityError, match="two ways"):
            parse_quantity(f"{text} {spelled}", "volt")
    else:
        quantity = parse_quantity(f"{text} {spelled}", "volt")
        assert quantity.value == pytest.approx(float(exact), rel=1e-14)
        assert quantity.digits == decimals


def read_or_refused(text: str, unit: str) -> Quantity | QuantityError:
    try:
        return parse_quantity(text, unit)
    except QuantityError as error:
        return error


def is_sound(outcome: Quantity | QuantityError) -> bool:
    if isinstance(outcome, QuantityError):
        return bool(outcome.what and outcome.remedy) and "\n" not in str(outcome)
    return outcome.over_range or math.isfinite(outcome.value)


@given(st.text(max_size=80), st.sampled_from(["volt", "ohm", "hertz", "celsius", "kPa", "%"]))
def test_any_text_is_either_read_or_refused_in_words(text: str, unit: str) -> None:
    assert is_sound(read_or_refused(text, unit))


@given(st.from_regex(r"[-+−]? ?[0-9]{0,4}[.,kKMR]?[0-9]{0,4} ?[a-zA-ZΩ°%µ/]{0,5}", fullmatch=True))
def test_texts_that_look_like_readings_never_break_the_parser(text: str) -> None:
    for unit in ("volt", "ohm", "celsius"):
        assert is_sound(read_or_refused(text, unit))


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_any_number_is_either_possible_or_refused(number: float) -> None:
    if math.isfinite(number) and abs(number) <= 1000:
        assert parse_quantity(number, "volt").value == number
    else:
        with pytest.raises(QuantityError):
            parse_quantity(number, "volt")


@pytest.mark.parametrize(
    ("written", "unit", "value", "limits"),
    [
        ("2.41 V ± 70 mV", "volt", 2.41, 0.07),
        ("2,41 V +/- 0,07", "volt", 2.41, 0.07),
        ("410 mV ± 20", "volt", 0.41, 0.02),
        ("12.4 V ±1 %", "volt", 12.4, 0.124),
        ("4k7 ± 5 %", "ohm", 4700.0, 235.0),
        ("81 degC ± 2 degC", "celsius", 81.0, 2.0),
        ("41.5 % ± 0.5 %", "percent", 41.5, 0.5),
    ],
)
def test_how_far_a_value_may_be_off_stands_behind_plus_minus(
    written: str, unit: str, value: float, limits: float
) -> None:
    found = parse_quantity(written, unit)
    assert found.value == pytest.approx(value, rel=1e-12)
    assert found.limits == pytest.approx(limits, rel=1e-12)


@pytest.mark.parametrize("written", ["2 V ±", "2 V ± 0", "2 V ± -1", "2 V ± 3 ohm", "OL ± 1 V"])
def test_no_amount_behind_plus_minus_is_told(written: str) -> None:
    with pytest.raises(QuantityError, match="behind the plus-minus sign stands no amount"):
        parse_quantity(written, "volt")
