"""Short serial messages: a slow channel that SENT frames carry in their status nibbles.

SAE J2716 [j2716], from memory: of the status nibble, bit 3 is 1 in the first of sixteen frames and
0 in the other fifteen; bit 2 of the sixteen gives, highest bit first, four bits of identifier,
eight of data and four of check sum over the three nibbles before. A faulty frame spoils the message
that it lies in. The longer, enhanced messages of eighteen frames are told apart but not decoded.
"""

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Final

from backprobe.core.waveform.sent_frames import SentFrame, SentReading
from backprobe.standards.sent_crc import legacy_crc, recommended_crc

FRAMES_PER_MESSAGE: Final = 16
_START: Final = 8
_BIT: Final = 4
# Enhanced messages have bit 3 set in six frames at least, one after the other.
_ENHANCED_RUN: Final = 6


class SerialVerdict(Enum):
    """What the status nibbles carry."""

    MESSAGES = "short serial messages"
    ENHANCED = "enhanced serial messages, not decoded"
    NONE = "no serial messages"
    TOO_SHORT = "too short to tell"


@dataclass(frozen=True)
class ShortMessage:
    """One message.

    Parameters
    ----------
    start : float
        Instant of its first frame, s.
    identifier : int
        0 to 15.
    data : int
        0 to 255.
    is_sound : bool
        Whether the check sum agrees.
    """

    start: float
    identifier: int
    data: int
    is_sound: bool


@dataclass(frozen=True)
class SerialReading:
    """The slow channel.

    Parameters
    ----------
    verdict : SerialVerdict
        What the status nibbles carry.
    messages : tuple of ShortMessage
        In order of time.
    n_broken : int
        Messages that were begun and not finished.
    """

    verdict: SerialVerdict
    messages: tuple[ShortMessage, ...] = ()
    n_broken: int = 0


def short_serial_messages(reading: SentReading) -> SerialReading:
    """Decode short serial messages.

    Parameters
    ----------
    reading : SentReading
        Decoded frames.

    Returns
    -------
    SerialReading
        The messages. Those cut off by the ends of the record are not counted as broken.

    Raises
    ------
    Nothing
        A reading without frames has no messages.
    """
    frames = reading.frames
    if len(frames) < FRAMES_PER_MESSAGE:
        return SerialReading(SerialVerdict.TOO_SHORT if frames else SerialVerdict.NONE)
    starts = [place for place, frame in enumerate(frames) if frame.status & _START]
    if not starts:
        return SerialReading(SerialVerdict.NONE)
    if _longest_run(starts) >= _ENHANCED_RUN:
        return SerialReading(SerialVerdict.ENHANCED)
    messages = []
    n_broken = 0
    for place, following in zip(starts, [*starts[1:], len(frames)], strict=True):
        piece = frames[place : place + FRAMES_PER_MESSAGE]
        is_whole = len(piece) == FRAMES_PER_MESSAGE and following - place >= FRAMES_PER_MESSAGE
        if is_whole and _is_unbroken(piece, reading):
            messages.append(_message(piece))
        elif following < len(frames) or is_whole:
            n_broken += 1
    sound = any(message.is_sound for message in messages)
    verdict = SerialVerdict.MESSAGES if sound else SerialVerdict.NONE
    if not messages and len(frames) < 2 * FRAMES_PER_MESSAGE:
        verdict = SerialVerdict.TOO_SHORT
    return SerialReading(verdict, tuple(messages), n_broken)


def _longest_run(starts: list[int]) -> int:
    longest = run = 1
    for before, here in pairwise(starts):
        run = run + 1 if here == before + 1 else 1
        longest = max(longest, run)
    return longest


def _is_unbroken(piece: tuple[SentFrame, ...], reading: SentReading) -> bool:
    """Tell whether sound frames follow one another with none left out between them."""
    if any(frame.fault is not None for frame in piece):
        return False
    tick = reading.tick
    return all(
        abs(after.start - before.start - before.duration) < tick
        for before, after in pairwise(piece)
    )


def _message(piece: tuple[SentFrame, ...]) -> ShortMessage:
    value = 0
    for frame in piece:
        value = value << 1 | bool(frame.status & _BIT)
    nibbles = [value >> shift & 15 for shift in (12, 8, 4)]
    check = value & 15
    return ShortMessage(
        piece[0].start,
        nibbles[0],
        nibbles[1] << 4 | nibbles[2],
        check in (recommended_crc(nibbles), legacy_crc(nibbles)),
    )
