import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.sent_frames import SentReading, sent_frames
from backprobe.core.waveform.sent_serial import SerialVerdict, short_serial_messages
from backprobe.standards.sent_crc import recommended_crc
from tests.core.waveform.signals import Array, sent_falling_edges


def status_nibbles(identifier: int, data: int, low_bits: int = 0) -> list[int]:
    """Sixteen status nibbles of one message (SAE J2716, from memory)."""
    nibbles = [identifier, data >> 4, data & 15]
    word = 0
    for nibble in [*nibbles, recommended_crc(nibbles)]:
        word = word << 4 | nibble
    bits = [word >> place & 1 for place in range(15, -1, -1)]
    return [(8 if k == 0 else 0) | bit << 2 | low_bits for k, bit in enumerate(bits)]


def frames_with(status: list[int], seed: int = 1) -> Array:
    data = np.random.default_rng(seed).integers(0, 16, (len(status), 6)).tolist()
    return sent_falling_edges(data, status=status)


MESSAGES = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 255)), min_size=2, max_size=4)


@given(MESSAGES, st.integers(0, 3), st.integers(0, 15))
def test_any_messages_come_back(
    messages: list[tuple[int, int]], low_bits: int, n_lead: int
) -> None:
    status = [nibble for message in messages for nibble in status_nibbles(*message, low_bits)]
    # The record begins within an earlier message.
    found = short_serial_messages(sent_frames(frames_with([0] * n_lead + status)))
    assert found.verdict is SerialVerdict.MESSAGES
    assert [(m.identifier, m.data, m.is_sound) for m in found.messages] == [
        (identifier, data, True) for identifier, data in messages
    ]
    assert found.n_broken == 0


def test_a_lost_pulse_spoils_its_message_only() -> None:
    status = [nibble for k in range(3) for nibble in status_nibbles(k, 100 + k)]
    edges = frames_with(status)
    damaged = np.delete(edges, 9 * 20 + 3)  # in the second message
    found = short_serial_messages(sent_frames(damaged))
    assert [m.identifier for m in found.messages] == [0, 2]
    assert found.n_broken == 1


def test_enhanced_messages_are_told_apart() -> None:
    # Bit 3 over eighteen frames: six ones, a zero, then bits of configuration and identifier.
    pattern = [1, 1, 1, 1, 1, 1, 0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0]
    found = short_serial_messages(sent_frames(frames_with([8 * bit for bit in pattern] * 3)))
    assert found.verdict is SerialVerdict.ENHANCED


def test_status_nibbles_that_carry_nothing() -> None:
    assert short_serial_messages(sent_frames(frames_with([0] * 60))).verdict is SerialVerdict.NONE
    brief = short_serial_messages(sent_frames(frames_with([8] + [0] * 9)))
    assert brief.verdict is SerialVerdict.TOO_SHORT
    nothing = SentReading(sent_frames(np.linspace(0.0, 1e-3, 100)).verdict)
    assert short_serial_messages(nothing).verdict is SerialVerdict.NONE
    rng = np.random.default_rng(3)
    random = [int(value) for value in rng.integers(0, 2, 200) * 8]
    assert short_serial_messages(sent_frames(frames_with(random))).verdict in (
        SerialVerdict.NONE,
        SerialVerdict.ENHANCED,
    )
