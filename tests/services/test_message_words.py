import pytest

from backprobe.errors import MessageError
from backprobe.services.message_words import MessageWords, is_answer, message_words


def words(text: str) -> MessageWords:
    return message_words(bytes.fromhex(text))


def test_values_now() -> None:
    # SAE J1979: service 01, two parameters in one answer.
    found = words("41 0C 1A F8 10 01 F4")
    assert [(v.name, v.value, v.unit, v.data) for v in found.values] == [
        ("engine speed", 1726.0, "1/min", "1A F8"),
        ("air mass flow", 5.0, "g/s", "01 F4"),
    ]
    assert found.title == "answer, service 01: values now"


def test_values_kept_with_a_code_have_a_frame_number() -> None:
    # SAE J1979: service 02 repeats the number of the frame behind each parameter (from memory).
    found = words("42 0C 00 1A F8 05 00 7B")
    assert [(v.name, v.value) for v in found.values] == [
        ("engine speed", 1726.0),
        ("coolant temperature", 83.0),
    ]
    assert words("42 02 00 01 13").sentences == ("The code that kept these values: P0113.",)


def test_zero_bytes_behind_the_last_value_fill_up() -> None:
    found = words("41 10 01 F4 00 00")
    assert len(found.values) == 1
    assert found.sentences == ("2 zero bytes behind it only fill up.",)


def test_states_and_masks() -> None:
    assert words("41 03 02 00").sentences == (
        "Fuel system 1: closed loop with the oxygen sensors.",
    )
    assert words("41 00 80 00 00 01").sentences == ("Supported parameters: 01 20.",)
    assert words("41 67 00 00 00").sentences == (
        "Parameter 67 says that none of its sensors is there.",
    )


def test_codes() -> None:
    found = words("43 02 01 01 C1 00")
    assert found.codes == ("P0101", "U0100")
    assert "air mass flow A circuit range" in found.sentences[0]
    assert words("47 00").sentences == ("No pending codes.",)


def test_vehicle_number() -> None:
    # The official sample of 49 CFR 565, table V.
    found = words("49 02 01 31 47 34 41 48 35 39 48 34 35 47 31 31 38 33 34 31")
    assert found.title.endswith("1G4AH59H45G118341")
    assert found.is_right
    wrong = words("49 02 01 31 47 34 41 48 35 39 48 35 35 47 31 31 38 33 34 31")
    assert not wrong.is_right


def test_requests() -> None:
    assert words("01 10").title == "request, service 01: values now: air mass flow"
    assert words("02 0C 00").title == "request, service 02: values kept with a code: engine speed"
    assert words("03").title == "request, service 03: stored codes"
    assert "Clearing throws away the evidence" in words("04").sentences[0]
    assert words("44").sentences[0] == "The control unit has cleared its codes."


def test_refusals() -> None:
    # ISO 14229-1, annex A (from memory).
    assert words("7F 01 12").title == (
        "refusal of service 01 (values now): not supported in this form"
    )
    assert "the answer follows" in words("7F 09 78").title
    assert "reason EE, not in the table" in words("7F 01 EE").title


def test_a_parameter_outside_of_the_table_is_shown_as_bytes() -> None:
    assert words("41 A6 01 02").sentences == ("Parameter A6 isn't in the table; its bytes: 01 02.",)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "A message has at least one byte"),
        ("22 01", "Service 22 isn't one of on-board diagnosis"),
        ("41", "The answer has no parameter"),
        ("41 10 01", "Parameter 10 has 2 bytes, here are 1"),
        ("7F 01", "A refusal has 3 bytes, here are 2"),
        ("49", "doesn't say which item"),
        ("49 02 01 31 47", "A VIN has 17 characters, this one has 2"),
        ("43 02 01 01", "The answer counts 2 codes and has bytes for 1"),
    ],
)
def test_what_does_not_fit_is_told(text: str, told: str) -> None:
    with pytest.raises(MessageError, match=told):
        words(text)


def test_what_begins_like_an_answer() -> None:
    assert is_answer(b"\x41\x10")
    assert is_answer(b"\x7f\x01\x12")
    assert not is_answer(b"\x01\x13")
    assert not is_answer(b"")
