"""Frames of several conversations, mixed as they come, to whole messages (ISO 15765-2)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from backprobe.errors import MessageError
from backprobe.standards.can_identifier import CanIdentifier
from backprobe.standards.segmentation import FlowControl, FramePart, read_frame

_FROM_THE_START: Final = "Begin at the first frame of the message and leave out none."


@dataclass(frozen=True, slots=True)
class CanFrame:
    """A frame: identifier and data, and where it was read (for messages about it)."""

    identifier: CanIdentifier
    data: bytes
    where: str = ""


@dataclass(frozen=True, slots=True)
class Message:
    """A whole message: who sent it, what it says, where its first frame was read, its frames."""

    identifier: CanIdentifier
    payload: bytes
    where: str
    n_frame: int


@dataclass(frozen=True, slots=True)
class Reassembled:
    """Messages in the order in which they were complete, and what could not be put together."""

    messages: tuple[Message, ...]
    faults: tuple[MessageError, ...]


@dataclass(slots=True)
class _Pending:
    length: int
    where: str
    data: bytearray
    n_frame: int = 1


@dataclass(slots=True)
class Reassembler:
    """Takes frame after frame; each identifier has a conversation of its own."""

    _pending: dict[CanIdentifier, _Pending] = field(default_factory=dict)

    def take(self, frame: CanFrame) -> Message | None:
        """Take a frame and give the message that it completes, None where it completes none.

        Raises
        ------
        MessageError
            The frame is none, or doesn't continue what came before on its identifier; what was
            pending there is dropped. Where a new message begins too early, it counts all the same.
        """
        try:
            part = read_frame(frame.data)
        except MessageError as error:
            raise MessageError(error.what, _place(frame), error.remedy) from error
        if isinstance(part, FlowControl):
            self._obey(part, frame)
            return None
        if part.kind == "consecutive":
            return self._go_on(part, frame)
        broken = self._pending.pop(frame.identifier, None)
        message = self._begin(part, frame)
        if broken is not None:
            raise _InterruptedError(broken, frame, message)
        return message

    def unfinished(self) -> tuple[MessageError, ...]:
        """Tell of each message that has not ended."""
        return tuple(
            _incomplete(pending, identifier) for identifier, pending in self._pending.items()
        )

    def _begin(self, part: FramePart, frame: CanFrame) -> Message | None:
        if part.kind == "single":
            return Message(frame.identifier, part.data, frame.where, 1)
        self._pending[frame.identifier] = _Pending(part.length, frame.where, bytearray(part.data))
        return None

    def _go_on(self, part: FramePart, frame: CanFrame) -> Message | None:
        pending = self._pending.get(frame.identifier)
        if pending is None:
            raise MessageError(
                "A consecutive frame without a first one.", _place(frame), _FROM_THE_START
            )
        expected = pending.n_frame & 15
        missing = pending.length - len(pending.data)
        if part.sequence != expected:
            del self._pending[frame.identifier]
            raise MessageError(
                f"Frame {part.sequence:X} came where {expected:X} is due; the message is lost.",
                _place(frame),
                _FROM_THE_START,
            )
        if len(part.data) < min(missing, 7):
            del self._pending[frame.identifier]
            raise MessageError(
                f"A consecutive frame has {len(part.data)} bytes of the message where"
                f" {min(missing, 7)} are due; the message is lost.",
                _place(frame),
                "It was cut short; compare with the bytes as they were sent.",
            )
        pending.data += part.data[:missing]
        pending.n_frame += 1
        if len(pending.data) < pending.length:
            return None
        del self._pending[frame.identifier]
        return Message(frame.identifier, bytes(pending.data), pending.where, pending.n_frame)

    def _obey(self, control: FlowControl, frame: CanFrame) -> None:
        """An overflow ends what the other side was sending."""
        partner = frame.identifier.partner
        if control.status != "overflow" or partner is None:
            return
        pending = self._pending.pop(partner, None)
        if pending is not None:
            raise MessageError(
                f"The receiver refused the message of {pending.length} bytes from {partner}:"
                " too long for it.",
                _place(frame),
                "Ask for less at once.",
            )


class _InterruptedError(MessageError):
    """A message was begun anew before the one before had ended."""

    def __init__(self, broken: _Pending, frame: CanFrame, message: Message | None) -> None:
        super().__init__(
            f"A new message begins after {len(broken.data)} of {broken.length} bytes; the earlier"
            " one is lost.",
            _place(frame),
            "Frames are missing before it.",
        )
        self.message = message


def reassemble(frames: Iterable[CanFrame]) -> Reassembled:
    """Put messages together from frames of any number of conversations, mixed as they come.

    A fault ends only the message that it is in.
    """
    reassembler = Reassembler()
    messages: list[Message] = []
    faults: list[MessageError] = []
    for frame in frames:
        try:
            message = reassembler.take(frame)
        except MessageError as fault:
            faults.append(fault)
            message = fault.message if isinstance(fault, _InterruptedError) else None
        if message is not None:
            messages.append(message)
    return Reassembled(tuple(messages), (*faults, *reassembler.unfinished()))


def _incomplete(pending: _Pending, identifier: CanIdentifier) -> MessageError:
    place = f"{pending.where}, identifier {identifier}" if pending.where else f"{identifier}"
    return MessageError(
        f"The message ends after {len(pending.data)} of {pending.length} bytes.",
        place,
        "Its last frames are missing; give them too.",
    )


def _place(frame: CanFrame) -> str:
    return f"{frame.where}, identifier {frame.identifier}" if frame.where else str(frame.identifier)
