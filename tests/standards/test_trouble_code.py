import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.standards.trouble_code import (
    FAILURE_TYPE_MEANING,
    code_from_bytes,
    code_to_bytes,
    failure_type,
    failure_type_group,
    powertrain_group,
    require_code,
    responsibility,
)

# SAE J2012 / ISO 15031-6: bits 15-14 the letter, bits 13-12 the second character, three nibbles.
# The rows agree with the OBD layer of the packet library scapy.
ENCODED = [
    ("P0101", 0x01, 0x01),
    ("P0113", 0x01, 0x13),
    ("P0171", 0x01, 0x71),
    ("P34A0", 0x34, 0xA0),
    ("U0100", 0xC1, 0x00),
    ("U1155", 0xD1, 0x55),
    ("P2187", 0x21, 0x87),
    ("P3000", 0x30, 0x00),
    ("C0035", 0x40, 0x35),
    ("B0100", 0x81, 0x00),
    ("B1234", 0x92, 0x34),
]


@pytest.mark.parametrize(("code", "high", "low"), ENCODED)
def test_codes_and_their_bytes(code: str, high: int, low: int) -> None:
    assert code_to_bytes(code) == (high, low)
    assert code_from_bytes(high, low) == code


def test_all_two_byte_values_come_back_from_their_text() -> None:
    values = [(high, low) for high in range(256) for low in range(256)]
    assert [code_to_bytes(code_from_bytes(*pair)) for pair in values] == values


@pytest.mark.parametrize("text", ["P0113", " p0113 ", "p0113", "P0113-13", "u3FFF", "C0035"])
def test_codes_are_accepted_in_any_case(text: str) -> None:
    assert require_code(text) == text.strip().upper()


@pytest.mark.parametrize("text", ["", "0113", "P4113", "P011", "P01133", "X0113", "P0G13", "P-113"])
def test_what_is_no_code_is_refused(text: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        require_code(text)
    assert f'"{text}" isn\'t a trouble code.' in str(caught.value)
    assert 'such as "P0113"' in str(caught.value)


def test_two_zero_bytes_are_padding() -> None:
    with pytest.raises(ValueOutOfRange, match="two zero bytes only fill up an answer"):
        require_code("P0000")


@pytest.mark.parametrize(
    ("code", "who"),
    [
        ("P0101", "standard"),
        ("P2187", "standard"),
        ("P34A0", "standard"),
        ("P1101", "maker"),
        ("P3000", "maker"),
        ("P3300", "maker"),
        ("P3900", "standard"),
        ("U0100", "standard"),
        ("U1155", "maker"),
        ("B0100", "standard"),
        ("B1234", "maker"),
        ("C0035", "standard"),
        ("C1035", "maker"),
        ("U3000", "standard in part"),
    ],
)
def test_who_defines_a_code(code: str, who: str) -> None:
    # SAE J2012, table of code groups (from memory).
    assert responsibility(code) == who


def test_failure_type_byte() -> None:
    assert failure_type("P0113") is None
    byte = failure_type(require_code("p0113-13"))
    assert byte == 0x13
    assert FAILURE_TYPE_MEANING[byte] == "circuit open"


@given(st.text(max_size=12))
def test_any_text_is_either_a_code_or_refused(text: str) -> None:
    try:
        code = require_code(text)
    except ValueOutOfRange:
        return
    assert code_from_bytes(*code_to_bytes(code)) == code[:5]


def test_groups_of_the_standards_powertrain_codes() -> None:
    # SAE J2012 as makers' texts quote it: P03 ignition or misfire, P07 transmission.
    assert powertrain_group("P0301") == "ignition or misfire"
    assert powertrain_group("P0741") == "transmission"
    assert powertrain_group("C0035") == ""


def test_groups_of_failure_types() -> None:
    # SAE J2012-DA (from memory): 1x electrical, 2x signal, 7x mechanical; A and up reserved.
    assert failure_type_group(0x13) == "electrical"
    assert failure_type_group(0x29) == "signal"
    assert failure_type_group(0x71) == "mechanical"
    assert failure_type_group(0xA0) == ""
    named = [failure_type_group(byte) for byte in FAILURE_TYPE_MEANING]
    assert set(named) == {"electrical", "algorithm"}
