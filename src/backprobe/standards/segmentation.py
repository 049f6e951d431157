"""Messages longer than a CAN frame: what stands in each frame, and cutting them up (ISO 15765-2).

The first four bits of a frame tell its kind: 0 single, 1 first, 2 consecutive, 3 flow control.
Classic CAN, normal addressing: eight bytes a frame, all of them for the message.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from backprobe.errors import MessageError, ValueOutOfRange

FRAME_BYTES: Final = 8
LONGEST_SINGLE: Final = 7
LONGEST_SHORT_LENGTH: Final = 0xFFF  # 12 bits; beyond, the length takes four bytes more
LONGEST: Final = 0xFFFF_FFFF
_RESERVED_SEPARATION: Final = 0.127  # s; ISO 15765-2: a reserved value counts as the longest

Kind = Literal["single", "first", "consecutive", "flow control"]
FlowStatus = Literal["continue", "wait", "overflow"]
_FLOW: Final[tuple[FlowStatus, ...]] = ("continue", "wait", "overflow")


@dataclass(frozen=True, slots=True)
class FramePart:
    """What a frame carries of a message.

    Parameters
    ----------
    kind : str
        Single, first or consecutive.
    length : int
        Bytes of the whole message; 0 in a consecutive frame, which doesn't say.
    sequence : int
        Number of a consecutive frame, 0 to 15; 0 otherwise.
    data : bytes
        The message's bytes in this frame; in a last frame perhaps with filling behind them.
    """

    kind: Kind
    length: int
    sequence: int
    data: bytes


@dataclass(frozen=True, slots=True)
class FlowControl:
    """What the receiver asks of the sender.

    Parameters
    ----------
    status : str
        Continue, wait, or overflow (the message is too long for the receiver).
    block_size : int
        Consecutive frames until the next flow control; 0: all of them.
    separation : float
        Least time from frame to frame, s.
    """

    status: FlowStatus
    block_size: int
    separation: float


def read_frame(data: bytes) -> FramePart | FlowControl:
    """Read a frame's data.

    Parameters
    ----------
    data : bytes
        One to eight bytes.

    Raises
    ------
    MessageError
        No frame of a diagnostic message: no bytes or too many, a length that can't be, a kind
        that isn't defined.
    """
    if not 1 <= len(data) <= FRAME_BYTES:
        raise MessageError(
            f"A frame has 1 to {FRAME_BYTES} bytes, here are {len(data)}.",
            remedy="Give each frame a line of its own: its identifier, then its bytes.",
        )
    kind = data[0] >> 4
    if kind == 0:
        return _read_single(data)
    if kind == 1:
        return _read_first(data)
    if kind == 2:
        return FramePart("consecutive", 0, data[0] & 15, data[1:])
    if kind == 3:
        return _read_flow_control(data)
    raise MessageError(
        f"A frame that begins with {data[0]:02X} isn't part of a diagnostic message.",
        remedy="The first digit is 0 (single), 1 (first), 2 (consecutive) or 3 (flow control).",
    )


def segment(payload: bytes, *, padding: int | None = None) -> tuple[bytes, ...]:
    """Cut a message into frames.

    Parameters
    ----------
    payload : bytes
        The message, at least one byte.
    padding : int or None
        Byte that fills the last frame up to eight; None: it stays short.

    Raises
    ------
    ValueOutOfRange
        No byte, or more than 32 bits can count.
    """
    length = len(payload)
    if not 1 <= length <= LONGEST:
        raise ValueOutOfRange(
            f"A message has 1 to {LONGEST} bytes, this one {length}.", remedy="Send another one."
        )
    if length <= LONGEST_SINGLE:
        return (_filled(bytes([length]) + payload, padding),)
    if length <= LONGEST_SHORT_LENGTH:
        head = bytes([0x10 | length >> 8, length & 0xFF])
    else:
        head = b"\x10\x00" + length.to_bytes(4)
    first = FRAME_BYTES - len(head)
    frames = [head + payload[:first]]
    step = FRAME_BYTES - 1
    for number, start in enumerate(range(first, length, step), start=1):
        part = bytes([0x20 | number & 15]) + payload[start : start + step]
        frames.append(_filled(part, padding))
    return tuple(frames)


def flow_control_frame(control: FlowControl) -> bytes:
    """Write a flow control: 00 to 7F are milliseconds, F1 to F9 hundreds of microseconds."""
    if not 0 <= control.block_size <= 0xFF:
        raise ValueOutOfRange(f"A block has 0 to 255 frames, not {control.block_size}.")
    microseconds = round(control.separation * 1e6)
    is_fine = 0 < microseconds <= 900
    # Rounded up: it is the least time that the receiver can do with.
    code = 0xF0 + -(-microseconds // 100) if is_fine else -(-microseconds // 1000)
    if not 0 <= microseconds <= 127_000:
        raise ValueOutOfRange(
            f"A separation of {control.separation:g} s can't be asked for.",
            remedy="It goes from 0 to 127 ms.",
        )
    return bytes([0x30 | _FLOW.index(control.status), control.block_size, code])


def _read_single(data: bytes) -> FramePart:
    length = data[0] & 15
    if not 1 <= length <= LONGEST_SINGLE:
        raise MessageError(
            f"A single frame carries 1 to {LONGEST_SINGLE} bytes, this one claims {length}.",
            remedy="Compare with the bytes as they were sent.",
        )
    if length > len(data) - 1:
        raise MessageError(
            f"A single frame claims {length} bytes and has {len(data) - 1}.",
            remedy="It was cut short; compare with the bytes as they were sent.",
        )
    return FramePart("single", length, 0, data[1 : 1 + length])


def _read_first(data: bytes) -> FramePart:
    if len(data) < FRAME_BYTES:
        raise MessageError(
            f"A first frame has {FRAME_BYTES} bytes, this one has {len(data)}.",
            remedy="It was cut short; compare with the bytes as they were sent.",
        )
    length, start = (data[0] & 15) << 8 | data[1], 2
    if length == 0:
        length, start = int.from_bytes(data[2:6]), 6
        # ISO 15765-2 (from memory): a long length that a short one could have told is ignored.
        if length <= LONGEST_SHORT_LENGTH:
            raise MessageError(
                f"A first frame tells a length of {length} in four bytes, which 12 bits can hold.",
                remedy="Compare with the bytes as they were sent.",
            )
    elif length < FRAME_BYTES:
        raise MessageError(
            f"A first frame claims {length} bytes, which a single frame could carry.",
            remedy="Compare with the bytes as they were sent.",
        )
    return FramePart("first", length, 0, data[start:])


def _read_flow_control(data: bytes) -> FlowControl:
    if len(data) < 3:
        raise MessageError(
            f"A flow control has 3 bytes, this one has {len(data)}.",
            remedy="It was cut short; compare with the bytes as they were sent.",
        )
    status = data[0] & 15
    if status >= len(_FLOW):
        raise MessageError(
            f"A flow control with status {status} isn't defined.",
            remedy="There are 0 continue, 1 wait and 2 overflow.",
        )
    return FlowControl(_FLOW[status], data[1], _separation(data[2]))


def _separation(code: int) -> float:
    if code <= 0x7F:
        return code * 1e-3
    return (code - 0xF0) * 1e-4 if 0xF1 <= code <= 0xF9 else _RESERVED_SEPARATION


def _filled(frame: bytes, padding: int | None) -> bytes:
    return frame if padding is None else frame.ljust(FRAME_BYTES, bytes([padding]))
