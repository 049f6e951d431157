import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.decoding import Line, decode_lines, kind_of, split_arguments

MIXED = """\
7DF 02 09 02   # asked
7E8 10 14 49 02 01 31 47 34
7E9 04 41 0C 1A F8
7E0 30 00 00
7E8 21 41 48 35 39 48 34 35

7E8 22 47 31 31 38 33 34 31
"""


def lines(text: str) -> list[Line]:
    return [Line(each, f"line {n}") for n, each in enumerate(text.splitlines(), start=1)]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1G4AH59H45G118341", "vin"),
        ("11111111111111111", "vin"),
        ("P0113", "code"),
        ("p0113-13", "code"),
        ("B0100", "code"),  # hexadecimal digits, but a code's look
        ("01 13", "code"),
        ("0113", "code"),
        ("01 13 13", "code"),
        ("41 10 01 F4", "message"),
        ("411001F4", "message"),
        ("43 00", "message"),
        ("7F 01 12", "message"),
        ("7E8 04 41 10 01 F4", "frames"),
        ("18DAF110 04 41 10 01 F4", "frames"),
        ("7E8 04411001F4", "frames"),
    ],
)
def test_kinds_are_told_from_their_look(text: str, kind: str) -> None:
    assert kind_of(text) == kind


def test_arguments_without_quotes_belong_together() -> None:
    assert split_arguments(["41", "10", "01", "F4"]) == ("41 10 01 F4",)
    assert split_arguments(["7E8", "04", "41"]) == ("7E8 04 41",)
    assert split_arguments(["P0113", "P0171"]) == ("P0113", "P0171")
    assert split_arguments(["41 0C", "41 10"]) == ("41 0C", "41 10")


def test_frames_of_several_control_units_may_be_mixed() -> None:
    decoding = decode_lines(lines(MIXED))
    assert decoding.mistakes == ()
    asked, speed, number = decoding.found
    assert (asked.sender, asked.given) == ("7DF", "09 02")
    assert "asks all control units" in asked.title
    assert [(v.name, v.value) for v in speed.values] == [("engine speed", 1726.0)]
    assert "1G4AH59H45G118341; control unit 00 answers" in number.title


def test_one_bad_line_leaves_the_others_alone() -> None:
    decoding = decode_lines(lines("P0113\nwhat\n41 10 01\n01 13"))
    assert [decoded.codes for decoded in decoding.found] == [("P0113",), ("P0113",)]
    first, second = [str(mistake) for mistake in decoding.mistakes]
    assert first == (
        'line 2: "what" isn\'t anything that can be decoded. Give a VIN, a trouble code ("P0113" or'
        ' "01 13"), a message in hexadecimal ("41 10 01 F4") or frames with their identifier'
        ' ("7E8 04 41 10 01 F4").'
    )
    assert second == (
        "line 3: Parameter 10 has 2 bytes, here are 1. Compare with the bytes as they were sent."
    )


def test_bytes_of_a_code_with_its_failure_type() -> None:
    (code,) = decode_lines([Line("01 13 13")]).found
    assert code.codes == ("P0113-13",)
    assert "Failure type: circuit open" in code.sentences[-1]


def test_the_kind_may_be_named() -> None:
    (asked,) = decode_lines([Line("01 0D")], "message").found
    assert asked.title.endswith("vehicle speed")
    (code,) = decode_lines([Line("43 00")], "code").found
    assert code.codes == ("C0300",)
    (mistake,) = decode_lines([Line("41 10 01 F4")], "code").mistakes
    assert "A trouble code has two bytes" in str(mistake)


def test_a_wrong_check_digit_is_not_right() -> None:
    (vin,) = decode_lines([Line("1G4AH59H55G118341")]).found
    assert not vin.is_right


@pytest.mark.parametrize("text", ["7E8", "XYZ 01 02", "41 1", "P01131", "GG"])
def test_nonsense_is_told(text: str) -> None:
    decoding = decode_lines([Line(text)])
    assert decoding.found == ()
    assert len(decoding.mistakes) == 1


@given(st.lists(st.text(max_size=40), max_size=5))
def test_any_text_is_decoded_or_refused(texts: list[str]) -> None:
    decode_lines([Line(text) for text in texts])


@given(st.lists(st.text("0123456789ABCDEF ", max_size=30), max_size=8))
def test_any_digits_are_decoded_or_refused(texts: list[str]) -> None:
    decode_lines([Line(text) for text in texts])
