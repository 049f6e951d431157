import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import MessageError
from backprobe.standards.code_answer import read_code_answer, write_code_answer
from backprobe.standards.code_meaning import code_meaning
from backprobe.standards.trouble_code import code_from_bytes, code_to_bytes

_codes = st.lists(st.integers(1, 0xFFFF).map(lambda n: code_from_bytes(n >> 8, n & 255)))


def test_answer_over_can_has_a_count() -> None:
    # SAE J1979 on CAN (ISO 15765-4); scapy reads the same two codes.
    answer = bytes.fromhex("43020101C100")
    assert read_code_answer(answer) == ("P0101", "U0100")
    assert write_code_answer(0x03, ("P0101", "U0100"), is_can=True) == (answer,)


def test_answer_elsewhere_has_three_places() -> None:
    # SAE J1979 on the older links (from memory): six bytes, filled up with zero.
    answer = bytes.fromhex("47011301710000")
    assert read_code_answer(answer) == ("P0113", "P0171")
    assert write_code_answer(0x07, ("P0113", "P0171"), is_can=False) == (answer,)


def test_no_codes() -> None:
    assert read_code_answer(b"\x43\x00") == ()
    assert read_code_answer(b"\x4a" + bytes(6)) == ()


@given(st.sampled_from([0x03, 0x07, 0x0A]), _codes, st.booleans())
def test_codes_come_back(service: int, codes: list[str], is_can: bool) -> None:
    codes = codes[:255]
    answers = write_code_answer(service, tuple(codes), is_can=is_can)
    found = [code for one in answers for code in read_code_answer(one)]
    assert found == codes


@pytest.mark.parametrize(
    ("answer", "text"),
    [
        ("43020101", "The answer counts 2 codes and has bytes for 1"),
        ("4103", "isn't an answer with trouble codes. Those begin with 43, 47 or 4A"),
        ("", "isn't an answer with trouble codes"),
    ],
)
def test_what_does_not_fit_is_told(answer: str, text: str) -> None:
    with pytest.raises(MessageError, match=text):
        read_code_answer(bytes.fromhex(answer))


def test_a_link_that_is_named_is_believed() -> None:
    with pytest.raises(MessageError, match="no count"):
        read_code_answer(b"\x43", is_can=True)
    with pytest.raises(MessageError, match="no whole number of codes"):
        read_code_answer(b"\x43\x01", is_can=False)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        # SAE J2012, the group about the air mass (from memory).
        ("P0101", "air mass flow A circuit range or performance"),
        ("P0102", "air mass flow A circuit low"),
        ("P0103", "air mass flow A circuit high"),
        ("P0113", "intake air temperature 1 circuit high"),
        ("P0171", "mixture too lean, bank 1"),
        ("U0100", "lost communication with engine control unit A"),
        ("P1101", ""),
    ],
)
def test_meanings(code: str, words: str) -> None:
    meaning = code_meaning(*code_to_bytes(code))
    assert meaning.startswith(words)
    assert bool(meaning) == bool(words)
