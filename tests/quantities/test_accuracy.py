"""Accuracy statements as data sheets print them (wordings are common practice, no single
source)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import BackprobeError, QuantityError, ValueOutOfRange
from backprobe.quantities import AccuracyStatement, parse_accuracy


@pytest.mark.parametrize(
    ("written", "share", "digits"),
    [
        ("0.5 % + 2 digits", 0.005, 2),
        ("0,8% + 3", 0.008, 3),
        ("±(0.5% + 2 digits)", 0.005, 2),
        ("+/-(1.0 % rdg + 5 dgt)", 0.01, 5),
        ("1 % of reading + 5 counts", 0.01, 5),
        ("0.5%+2", 0.005, 2),
        ("2 counts + 0.5 %", 0.005, 2),
        ("0.1 % + 1 digit", 0.001, 1),
        ("1 %", 0.01, 0),
        ("3 digits", 0.0, 3),
        ("1.2 % of the reading + 1 lsd", 0.012, 1),
        ("0.05\u202f% + 10\u00a0digits", 0.0005, 10),
        ("50 ppm + 2 digits", 50e-6, 2),
    ],
)
def test_share_and_digits(written: str, share: float, digits: float) -> None:
    found = parse_accuracy(written)
    assert found.share == pytest.approx(share, rel=1e-12)
    assert found.digits == digits
    assert (found.absolute, found.share_of_range) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("written", "share", "share_of_range"),
    [
        ("0.002 % + 0.0005 % of range", 2e-5, 5e-6),
        ("0.0005 % of range + 0.002 % of reading", 2e-5, 5e-6),
        ("14 ppm of reading + 2 ppm of range", 14e-6, 2e-6),
        ("0.1 % rdg + 0.05 % full scale", 1e-3, 5e-4),
        ("0.1 % + 0.05 % F.S.", 1e-3, 5e-4),
        ("0.5 % fs", 0.0, 5e-3),
    ],
)
def test_share_of_range(written: str, share: float, share_of_range: float) -> None:
    found = parse_accuracy(written)
    assert found.share == pytest.approx(share, rel=1e-12)
    assert found.share_of_range == pytest.approx(share_of_range, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "unit", "absolute"),
    [
        ("27 mV", "volt", 0.027),
        ("0.5 % + 1 mV", "volt", 0.001),
        ("0.8 % + 0.2 ohm", "ohm", 0.2),
        ("1 % + 1 kΩ", "ohm", 1000.0),
        ("0,1 % + 0,01 Hz", "hertz", 0.01),
    ],
)
def test_fixed_amounts(written: str, unit: str, absolute: float) -> None:
    assert parse_accuracy(written, unit).absolute == pytest.approx(absolute, rel=1e-12)


@given(
    st.integers(1, 4999),
    st.integers(0, 99),
    st.sampled_from(["digits", "counts", "dgt", "lsd", "d"]),
)
def test_whatever_is_written_plainly_is_read_back(percent: int, digits: int, word: str) -> None:
    found = parse_accuracy(f"{percent / 100} % + {digits} {word}")
    assert found.share == pytest.approx(percent / 1e4, rel=1e-12)
    assert found.digits == digits


@pytest.mark.parametrize(
    ("written", "unit", "text"),
    [
        ("", "volt", "empty for an accuracy statement"),
        ("x" * 80, "volt", "too long"),
        ("good", "volt", 'accuracy statement: "good" isn\'t an accuracy statement.*such as'),
        ("0.5 % +", "volt", "isn't an accuracy statement"),
        ("0.5", "volt", 'bare number 0.5.*"0.5 %"'),
        ("2 + 0.5 %", "volt", "bare number 2"),
        ("0.5 % + 1 %", "volt", "states its share twice"),
        ("0.5 % + 2 digits + 3 digits", "volt", "states its digits twice"),
        ("0.5 % + 1 mV + 2 mV", "volt", "states its absolute twice"),
        ("0.5 % + 2 ohm", "volt", "isn't a unit of voltage"),
        ("0.5 % / 2 digits", "volt", "isn't an accuracy statement"),
        ("0.5 % of a reading + 2 digits", "volt", "isn't an accuracy statement"),
        ("0.5.1 % + 2 digits", "volt", "isn't an accuracy statement"),
        (".5 digits", "volt", "isn't an accuracy statement"),
    ],
)
def test_unreadable_statements_say_how_to_mend_them(written: str, unit: str, text: str) -> None:
    with pytest.raises(QuantityError, match=text) as caught:
        parse_accuracy(written, unit)
    assert caught.value.where == "accuracy statement"
    assert caught.value.remedy


@pytest.mark.parametrize("written", ["0 %", "80 %", "0.5 % + 2000 digits", "90 % of range"])
def test_limits_that_no_meter_has_are_refused(written: str) -> None:
    with pytest.raises(ValueOutOfRange, match="data sheet"):
        parse_accuracy(written)


def test_a_statement_without_limits_is_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="are none"):
        AccuracyStatement()
    with pytest.raises(ValueOutOfRange, match="are none"):
        AccuracyStatement(share=-0.01)
    with pytest.raises(ValueOutOfRange, match="are none"):
        AccuracyStatement(share=float("nan"))


@given(st.text(alphabet="0123456789.,%+-± ()VmkdigtsofrangeΩ\u00b2\u0663\x00", max_size=30))
def test_any_text_is_read_or_refused_with_a_remedy(written: str) -> None:
    limits, remedy = 0.0, ""
    try:
        found = parse_accuracy(written)
        limits = max(found.share, found.digits, found.absolute, found.share_of_range)
    except BackprobeError as error:
        remedy = error.remedy
    assert limits > 0.0 or remedy
