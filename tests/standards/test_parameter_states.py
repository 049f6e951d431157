import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import MessageError
from backprobe.standards.parameter_states import (
    MASKS,
    STATE_BYTES,
    state_words,
    supported_mask,
    supported_parameters,
)


def test_mask_of_supported_parameters() -> None:
    # SAE J1979: the highest bit is parameter 01, the lowest 20 (from memory); bits read by hand.
    found = supported_parameters(0x00, bytes.fromhex("BE1FA813"))
    assert found == tuple(bytes.fromhex("01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20"))
    assert supported_parameters(0x20, b"\x80\x00\x00\x01") == (0x21, 0x40)


@given(st.sampled_from(MASKS), st.binary(min_size=4, max_size=4))
def test_masks_come_back_from_their_parameters(number: int, data: bytes) -> None:
    assert supported_mask(number, supported_parameters(number, data)) == data


@given(st.sampled_from(sorted(STATE_BYTES)), st.data())
def test_any_state_has_words(number: int, data: st.DataObject) -> None:
    length = STATE_BYTES[number]
    words = state_words(number, data.draw(st.binary(min_size=length, max_size=length)))
    assert words
    assert all(words)


@pytest.mark.parametrize(
    ("number", "data", "words"),
    [
        # SAE J1979, bits as public copies of its tables give them.
        (0x01, "82076504", ("warning lamp on", "2 stored codes that light the lamp", "spark")),
        (0x01, "00086504", ("warning lamp off", "0 stored codes", "compression ignition")),
        (0x02, "0113", ("P0113",)),
        (0x02, "0000", ("no code has kept values",)),
        (0x03, "0200", ("fuel system 1: closed loop with the oxygen sensors",)),
        (0x03, "0104", ("fuel system 1: open loop, not warm", "fuel system 2: open loop because")),
        (0x03, "0000", ("no fuel system reported",)),
        (0x13, "33", ("bank 1 sensor 1, bank 1 sensor 2, bank 2 sensor 1, bank 2 sensor 2",)),
        (0x1D, "05", ("bank 1 sensor 1, bank 2 sensor 1",)),
        (0x51, "04", ("fuel: diesel",)),
    ],
)
def test_states_in_words(number: int, data: str, words: tuple[str, ...]) -> None:
    text = "; ".join(state_words(number, bytes.fromhex(data)))
    for part in words:
        assert part in text


def test_what_is_no_state_or_mask_is_told() -> None:
    with pytest.raises(MessageError, match="Masks are 00, 20, 40 and so on to C0"):
        supported_parameters(0x10, bytes(4))
    with pytest.raises(MessageError, match="Parameter 00 has 4 bytes, here are 2"):
        supported_parameters(0x00, bytes(2))
    with pytest.raises(MessageError, match="Parameter 0C isn't one of states"):
        state_words(0x0C, bytes(2))
