"""What a text of a number, a code, bytes or frames says, in words.

Told apart by their look: a VIN has 17 characters, a code is a letter and four digits, a frame is an
identifier of three or eight digits and up to eight bytes; everything else in hexadecimal is a
message, or the bytes of a code where it is no known answer and two or three bytes long.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Final, Literal

from backprobe.errors import BackprobeError, MessageError, UsageError
from backprobe.services.identifiers import code_facts, vin_facts
from backprobe.services.message_words import DecodedValue, is_answer, message_words
from backprobe.standards.can_identifier import CanIdentifier
from backprobe.standards.code_meaning import code_meaning
from backprobe.standards.reassembly import CanFrame, reassemble
from backprobe.standards.trouble_code import code_from_bytes, code_to_bytes, require_code
from backprobe.standards.vin import LENGTH as VIN_LENGTH

Kind = Literal["vin", "code", "message", "frames"]
KINDS: Final[tuple[Kind, ...]] = ("vin", "code", "message", "frames")

_CODE: Final = re.compile(r"[PCBU][0-9A-Z]{4}(?:-[0-9A-Z]{2})?", re.IGNORECASE)
_HEX: Final = re.compile(r"[0-9A-F]+", re.IGNORECASE)
_IDENTIFIER_DIGITS: Final = (3, 8)
_REMEDY: Final = (
    'Give a VIN, a trouble code ("P0113" or "01 13"), a message in hexadecimal ("41 10 01 F4") or'
    ' frames with their identifier ("7E8 04 41 10 01 F4").'
)


@dataclass(frozen=True, slots=True)
class Line:
    """A text to be decoded, and where it stood ("" where that says nothing)."""

    text: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a text says.

    Parameters
    ----------
    kind : str
        What it was taken for.
    given : str
        The text, or for frames the message that they make up.
    title : str
        What it is, as a phrase.
    values : tuple of DecodedValue
        Values of parameters in it.
    codes : tuple of str
        Trouble codes in it.
    sentences : tuple of str
        What it says besides.
    sender : str
        Identifier on which it came; empty where it did not come in frames.
    is_right : bool
        Whether it is free of contradiction: False where a check digit is wrong.
    """

    kind: Kind
    given: str
    title: str
    values: tuple[DecodedValue, ...] = ()
    codes: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    sender: str = ""
    is_right: bool = True


@dataclass(frozen=True, slots=True)
class Decoding:
    """What could be decoded, in the order given, and what could not."""

    found: tuple[Decoded, ...]
    mistakes: tuple[BackprobeError, ...] = field(default=())


def decode_lines(lines: Iterable[Line], kind: Kind | None = None) -> Decoding:
    """Decode texts, one a line; frames next to each other are put together.

    Parameters
    ----------
    lines : iterable of Line
        Blank lines and what follows a "#" do not count.
    kind : str or None
        What all of them are; None: told from their look.

    Returns
    -------
    Decoding
        A line that can't be understood leaves the others alone.
    """
    found: list[Decoded] = []
    mistakes: list[BackprobeError] = []
    frames: list[CanFrame] = []

    def put_together() -> None:
        result = reassemble(frames)
        frames.clear()
        mistakes.extend(result.faults)
        for message in result.messages:
            _attempt(
                partial(_decode_payload, message.payload, message.identifier),
                Line("", message.where),
                found,
                mistakes,
            )

    for line in lines:
        text = line.text.partition("#")[0].strip()
        if not text:
            continue
        taken_for = kind or kind_of(text)
        if taken_for == "frames":
            try:
                frames.append(_frame(text, line.where))
            except BackprobeError as error:
                mistakes.append(_placed(error, line))
            continue
        if frames:
            put_together()
        _attempt(partial(_decode_text, text, taken_for), line, found, mistakes)
    put_together()
    return Decoding(tuple(found), tuple(mistakes))


def kind_of(text: str) -> Kind:
    """Tell from its look what a text is.

    Raises
    ------
    UsageError
        Nothing that is known looks like this.
    """
    words = text.split()
    joined = "".join(words)
    is_hexadecimal = _HEX.fullmatch(joined) is not None
    if is_hexadecimal and len(words) > 1 and len(words[0]) in _IDENTIFIER_DIGITS:
        return "frames"
    if len(joined) == VIN_LENGTH and joined.isalnum():
        return "vin"
    if _CODE.fullmatch(joined) and (len(words) == 1 or not is_hexadecimal):
        return "code"
    if not is_hexadecimal or len(joined) % 2:
        # Left to its reader, which says what is wrong.
        return "code" if joined[:1].upper() in "PCBU" and len(joined) < 10 else "message"
    if len(joined) in (4, 6) and not is_answer(bytes.fromhex(joined)):
        return "code"
    return "message"


def split_arguments(arguments: Sequence[str]) -> tuple[str, ...]:
    """Join what was typed without quotes: `41 10 01 F4` is one text, `P0113 P0171` are two."""
    is_spread = len(arguments) > 1 and all(_HEX.fullmatch(word) for word in arguments)
    head_may_be_identifier = is_spread and len(arguments[0]) in (2, *_IDENTIFIER_DIGITS)
    if head_may_be_identifier and all(len(word) == 2 for word in arguments[1:]):
        return (" ".join(arguments),)
    return tuple(arguments)


def _attempt(
    decode: Callable[[], Decoded], line: Line, found: list[Decoded], mistakes: list[BackprobeError]
) -> None:
    try:
        found.append(decode())
    except BackprobeError as error:
        mistakes.append(_placed(error, line))


def _placed(error: BackprobeError, line: Line) -> BackprobeError:
    where = ", ".join(part for part in (line.where, error.where) if part)
    return type(error)(error.what, where, error.remedy)


def _decode_text(text: str, kind: Kind) -> Decoded:
    if kind == "vin":
        return _decode_vin(text)
    if kind == "code":
        return _decode_code(text)
    return _decode_payload(_bytes(text))


def _decode_vin(text: str) -> Decoded:
    facts = vin_facts(text)
    sentences = (
        f"Maker {facts.maker}, description {facts.description}, the vehicle's own {facts.own}.",
        f"Given out in {facts.region}.",
        facts.check_digit_words,
        facts.model_year_words,
    )
    is_right = facts.check_digit != "wrong"
    title = "vehicle identification number"
    return Decoded("vin", facts.vin, title, sentences=sentences, is_right=is_right)


def _decode_code(text: str) -> Decoded:
    if _HEX.fullmatch("".join(text.split())) and not _CODE.fullmatch(text.strip()):
        data = _bytes(text)
        if len(data) not in (2, 3):
            raise MessageError(
                f"A trouble code has two bytes, three with its failure type; here are {len(data)}.",
                remedy="Give one code at a time, or the whole answer of the control unit.",
            )
        suffix = f"-{data[2]:02X}" if len(data) == 3 else ""
        code = require_code(code_from_bytes(data[0], data[1]) + suffix)
    else:
        code = require_code(text)
    facts = code_facts(code)
    meaning = code_meaning(*code_to_bytes(code))
    sentences = (*((f"Means: {meaning} (after SAE J2012, from memory).",) if meaning else ()),)
    data_words = " ".join(f"{byte:02X}" for byte in code_to_bytes(code))
    return Decoded(
        "code",
        text,
        f"trouble code {code}, bytes {data_words}",
        codes=(code,),
        sentences=(*sentences, facts.words),
    )


def _decode_payload(payload: bytes, identifier: CanIdentifier | None = None) -> Decoded:
    words = message_words(payload)
    given = payload.hex(" ").upper()
    sender = "" if identifier is None else str(identifier)
    title = words.title if identifier is None else f"{words.title}; {identifier.words}"
    kind: Kind = "message" if identifier is None else "frames"
    return Decoded(
        kind, given, title, words.values, words.codes, words.sentences, sender, words.is_right
    )


def _frame(text: str, where: str) -> CanFrame:
    head, *rest = text.split()
    if not _HEX.fullmatch(head) or len(head) not in _IDENTIFIER_DIGITS:
        raise MessageError(
            f'"{head[:20]}" isn\'t an identifier.',
            remedy="Write three hexadecimal digits for 11 bits, eight for 29.",
        )
    identifier = CanIdentifier(int(head, 16), is_extended=len(head) == 8)
    return CanFrame(identifier, _bytes("".join(rest)), where)


def _bytes(text: str) -> bytes:
    joined = "".join(text.split())
    if not joined or not _HEX.fullmatch(joined):
        raise UsageError(f'"{text[:60]}" isn\'t anything that can be decoded.', remedy=_REMEDY)
    if len(joined) % 2:
        raise MessageError(
            f"{len(joined)} hexadecimal digits are no whole number of bytes.",
            remedy='Write each byte with two digits: "0C", not "C".',
        )
    return bytes.fromhex(joined)
