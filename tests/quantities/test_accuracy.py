import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import QuantityError
from backprobe.quantities import Accuracy, parse_accuracy


@pytest.mark.parametrize(
    ("written", "relative", "digits"),
    [
        # The ways in which data sheets of hand-held meters print it: common practice, no source.
        ("0.5 % + 2 digits", 0.005, 2),
        ("0.5%+2", 0.005, 2),
        ("±(0.5 % + 2 counts)", 0.005, 2),
        ("± 0,5 % rdg + 2 dgt", 0.005, 2),
        ("+/- (1.0% + 3d)", 0.01, 3),
        ("0.1 % of reading + 1 digit", 0.001, 1),
        ("1 %", 0.01, 0),
    ],
)
def test_a_statement_is_read_as_data_sheets_print_it(
    written: str, relative: float, digits: float
) -> None:
    accuracy = parse_accuracy(written)
    assert accuracy.relative == pytest.approx(relative, rel=1e-12)
    assert accuracy.digits == digits


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("good", '"good" isn\'t an accuracy statement that can be read. Write it like'),
        ("", "isn't an accuracy statement"),
        ("2 digits", "isn't an accuracy statement"),
        ("0 % + 0 digits", '"0 % + 0 digits" isn\'t an accuracy that a meter has.'),
        ("90 % + 2 digits", "isn't an accuracy that a meter has. Take it from the meter's data"),
    ],
)
def test_a_statement_that_no_meter_has_is_refused(written: str, text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_accuracy(written)
    assert text in str(caught.value)


@given(
    st.integers(min_value=1, max_value=500).map(lambda tenths: tenths / 10),
    st.integers(min_value=0, max_value=99),
)
def test_every_plain_statement_is_read(percent: float, digits: int) -> None:
    assert parse_accuracy(f"{percent} % + {digits} digits") == Accuracy(percent / 100, digits)


def read_or_refused(text: str) -> Accuracy | QuantityError:
    try:
        return parse_accuracy(text)
    except QuantityError as error:
        return error


@given(st.text(max_size=60))
def test_any_text_is_either_read_or_refused(text: str) -> None:
    outcome = read_or_refused(text)
    assert outcome.remedy if isinstance(outcome, QuantityError) else outcome.relative <= 0.5
