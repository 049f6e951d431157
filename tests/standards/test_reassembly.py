import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.standards.can_identifier import CanIdentifier
from backprobe.standards.reassembly import CanFrame, reassemble
from backprobe.standards.segmentation import FlowControl, flow_control_frame, segment

UNITS = [CanIdentifier(0x7E8), CanIdentifier(0x7E9), CanIdentifier(0x18DAF110, is_extended=True)]


def frames_of(unit: CanIdentifier, payload: bytes, padding: int | None = None) -> list[CanFrame]:
    parts = enumerate(segment(payload, padding=padding), start=1)
    return [CanFrame(unit, part, f"frame {number}") for number, part in parts]


@given(
    st.lists(st.tuples(st.sampled_from(UNITS), st.binary(min_size=1, max_size=120)), max_size=6),
    st.randoms(use_true_random=False),
    st.none() | st.integers(0, 255),
)
def test_conversations_may_be_mixed(
    sent: list[tuple[CanIdentifier, bytes]], rng: object, padding: int | None
) -> None:
    queues = {
        unit: [f for u, payload in sent if u == unit for f in frames_of(unit, payload, padding)]
        for unit in UNITS
    }
    mixed = []
    while any(queues.values()):
        unit = rng.choice([u for u in UNITS if queues[u]])  # type: ignore[attr-defined]
        mixed.append(queues[unit].pop(0))
    found = reassemble(mixed)
    assert found.faults == ()
    for unit in UNITS:
        mine = [payload for u, payload in sent if u == unit]
        assert [m.payload for m in found.messages if m.identifier == unit] == mine


def test_very_long_messages_come_back() -> None:
    payload = bytes(range(256)) * 20  # 5120: length in four bytes
    (message,) = reassemble(frames_of(UNITS[0], payload, 0xAA)).messages
    assert message.payload == payload
    assert message.n_frame == len(segment(payload))


@given(st.integers(20, 200), st.data())
def test_a_missing_frame_is_noticed(length: int, data: st.DataObject) -> None:
    frames = frames_of(UNITS[0], bytes(length))
    left_out = data.draw(st.integers(0, len(frames) - 1))
    found = reassemble(frames[:left_out] + frames[left_out + 1 :])
    assert found.messages == ()
    assert found.faults


def told(frames: list[CanFrame]) -> list[str]:
    return [str(fault) for fault in reassemble(frames).faults]


def test_a_wrong_number_loses_the_message() -> None:
    first, second, third = frames_of(UNITS[0], bytes(20))
    remedy = "Begin at the first frame of the message and leave out none."
    assert told([first, third, second]) == [
        f"frame 3, identifier 7E8: Frame 2 came where 1 is due; the message is lost. {remedy}",
        f"frame 2, identifier 7E8: A consecutive frame without a first one. {remedy}",
    ]


def test_a_message_cut_off_is_told() -> None:
    first, second, _ = frames_of(UNITS[0], bytes(20))
    (text,) = told([first, second])
    assert text == (
        "frame 1, identifier 7E8: The message ends after 13 of 20 bytes."
        " Its last frames are missing; give them too."
    )


def test_a_short_frame_in_the_middle_is_told() -> None:
    first, second, third = frames_of(UNITS[0], bytes(20))
    short = CanFrame(UNITS[0], second.data[:5], "frame 2")
    assert "has 4 bytes of the message where 7 are due" in told([first, short, third])[0]


def test_a_new_message_ends_the_one_before_and_counts() -> None:
    first, *_ = frames_of(UNITS[0], bytes(20))
    found = reassemble([first, *frames_of(UNITS[0], b"\x41\x05\x7b")])
    assert [message.payload for message in found.messages] == [b"\x41\x05\x7b"]
    assert "A new message begins after 6 of 20 bytes" in str(found.faults[0])


def test_a_receiver_that_refuses_ends_the_message() -> None:
    first, second, third = frames_of(UNITS[0], bytes(20))
    flow = flow_control_frame(FlowControl("overflow", 0, 0.0))
    refusal = CanFrame(CanIdentifier(0x7E0), flow, "frame 2")
    texts = told([first, refusal, second, third])
    assert "The receiver refused the message of 20 bytes from 7E8" in texts[0]


def test_flow_control_that_lets_go_on_changes_nothing() -> None:
    first, *rest = frames_of(UNITS[0], bytes(20))
    flow = flow_control_frame(FlowControl("continue", 0, 0.0))
    found = reassemble([first, CanFrame(CanIdentifier(0x7E0), flow), *rest])
    assert found.faults == ()
    assert len(found.messages) == 1


@given(st.lists(st.tuples(st.sampled_from(UNITS), st.binary(max_size=9)), max_size=30))
def test_no_frames_whatever_break_it(raw: list[tuple[CanIdentifier, bytes]]) -> None:
    found = reassemble([CanFrame(unit, data) for unit, data in raw])
    assert len(found.messages) <= len(raw)
    for message in found.messages:
        assert message.payload
    with pytest.raises(AttributeError):
        found.messages = ()  # type: ignore[misc]  # frozen
