from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import MessageError, ValueOutOfRange
from backprobe.standards.segmentation import (
    FlowControl,
    FramePart,
    flow_control_frame,
    read_frame,
    segment,
)
from tests.standards.tshark import decoded

# The official sample of 49 CFR 565, table V.
VIN = b"1G4AH59H45G118341"
VIN_ANSWER = b"\x49\x02\x01" + VIN


def hexed(frames: tuple[bytes, ...]) -> list[str]:
    return [frame.hex(" ").upper() for frame in frames]


def test_short_messages_are_one_frame() -> None:
    # ISO 15765-2; the rows agree with tshark and scapy.
    assert hexed(segment(bytes.fromhex("0110"))) == ["02 01 10"]
    assert hexed(segment(bytes.fromhex("411001F4"))) == ["04 41 10 01 F4"]
    assert hexed(segment(b"\x01\x10", padding=0x55)) == ["02 01 10 55 55 55 55 55"]


def test_a_vehicle_number_takes_three_frames() -> None:
    # Frames as scapy cuts them.
    assert hexed(segment(VIN_ANSWER)) == [
        "10 14 49 02 01 31 47 34",
        "21 41 48 35 39 48 34 35",
        "22 47 31 31 38 33 34 31",
    ]


def test_longest_message_with_a_length_of_12_bits() -> None:
    # ISO 15765-2, numbers as scapy gives them: 6 + 585 · 7 bytes hold 4095, 2F is followed by 20.
    frames = segment(bytes(4095))
    assert frames[0][:2] == b"\x1f\xff"
    assert len(frames) == 586
    assert [frame[0] for frame in frames[15:17]] == [0x2F, 0x20]


def test_a_longer_message_tells_its_length_in_four_bytes() -> None:
    # Numbers as scapy gives them.
    frames = segment(bytes(range(250)) * 20)
    assert frames[0].hex() == "1000000013880001"
    assert len(frames) == 715


@pytest.mark.needs_tshark
def test_a_general_packet_decoder_puts_the_frames_together(tmp_path: Path) -> None:
    first, *rest = segment(VIN_ANSWER)
    flow = flow_control_frame(FlowControl("continue", 0, 0.0))
    assert flow == b"\x30\x00\x00"
    frames = [(0x7DF, b"\x02\x09\x02"), (0x7E8, first), (0x7E0, flow)]
    frames += [(0x7E8, frame) for frame in rest]
    (answer,) = [layer for layer in decoded(tmp_path / "vin.pcap", frames) if "obd-ii.VIN" in layer]
    assert answer["obd-ii.VIN"] == VIN.decode()


@given(st.binary(min_size=1, max_size=300), st.none() | st.integers(0, 255))
def test_every_frame_can_be_read_again(payload: bytes, padding: int | None) -> None:
    frames = segment(payload, padding=padding)
    parts = [read_frame(frame) for frame in frames]
    assert all(isinstance(part, FramePart) for part in parts)
    joined = b"".join(part.data for part in parts if isinstance(part, FramePart))
    assert joined[: len(payload)] == payload
    if padding is not None:
        assert {len(frame) for frame in frames} == {8}


@given(
    st.sampled_from(["continue", "wait", "overflow"]),
    st.integers(0, 255),
    st.integers(0, 127).map(lambda n: n * 1e-3) | st.integers(1, 9).map(lambda n: n * 1e-4),
)
def test_flow_controls_come_back(status: str, block: int, separation: float) -> None:
    control = FlowControl(status, block, separation)  # type: ignore[arg-type]  # drawn from the three
    again = read_frame(flow_control_frame(control))
    assert isinstance(again, FlowControl)
    assert (again.status, again.block_size) == (status, block)
    assert again.separation == pytest.approx(separation, abs=1e-12)


@pytest.mark.parametrize("code", [0x80, 0xF0, 0xFA, 0xFF])
def test_reserved_separations_count_as_the_longest(code: int) -> None:
    # ISO 15765-2 (from memory): 00 to 7F are ms, F1 to F9 100 to 900 us, the rest is reserved.
    control = read_frame(bytes([0x30, 0, code]))
    assert isinstance(control, FlowControl)
    assert control.separation == 0.127


@pytest.mark.parametrize(
    ("frame", "text"),
    [
        ("00", "A single frame carries 1 to 7 bytes, this one claims 0"),
        ("0841100000000000", "A single frame carries 1 to 7 bytes, this one claims 8"),
        ("044110", "A single frame claims 4 bytes and has 2. It was cut short"),
        ("1007490201314734", "A first frame claims 7 bytes, which a single frame could carry"),
        ("1000000000140102", "tells a length of 20 in four bytes, which 12 bits can hold"),
        ("10144902", "A first frame has 8 bytes, this one has 4"),
        ("40", "A frame that begins with 40 isn't part of a diagnostic message"),
        ("330000", "A flow control with status 3 isn't defined"),
        ("3000", "A flow control has 3 bytes, this one has 2"),
        ("", "A frame has 1 to 8 bytes, here are 0"),
        ("000102030405060708", "A frame has 1 to 8 bytes, here are 9"),
    ],
)
def test_what_is_no_frame_is_told(frame: str, text: str) -> None:
    with pytest.raises(MessageError, match=text):
        read_frame(bytes.fromhex(frame))


def test_what_cannot_be_sent_is_told() -> None:
    with pytest.raises(ValueOutOfRange, match="A message has 1 to"):
        segment(b"")
    with pytest.raises(ValueOutOfRange, match="It goes from 0 to 127 ms"):
        flow_control_frame(FlowControl("continue", 0, 0.2))
    with pytest.raises(ValueOutOfRange, match="A block has 0 to 255 frames, not 256"):
        flow_control_frame(FlowControl("continue", 256, 0.0))
