"""What a diagnostic message says, in words (SAE J1979, ISO 15031-5; refusals: ISO 14229-1)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from backprobe.errors import BackprobeError, MessageError
from backprobe.services.identifiers import vin_facts
from backprobe.standards.code_answer import ANSWER, CODE_SERVICES, read_code_answer
from backprobe.standards.code_meaning import code_meaning
from backprobe.standards.parameter_states import STATE_BYTES, state_words
from backprobe.standards.parameter_table import PARAMETERS
from backprobe.standards.parameters import ParameterValue, decode_parameter, parameter_names
from backprobe.standards.trouble_code import code_to_bytes

_NOW: Final = 0x01
_KEPT: Final = 0x02
_CLEAR: Final = 0x04
_VEHICLE: Final = 0x09
_REFUSAL: Final = 0x7F
_VIN_ITEM: Final = 0x02

_SERVICE: Final[dict[int, str]] = {
    0x01: "values now",
    0x02: "values kept with a code",
    0x03: "stored codes",
    0x04: "clear codes and what was kept with them",
    0x07: "pending codes",
    0x09: "the vehicle's data",
    0x0A: "permanent codes",
}
# ISO 14229-1, annex A, also in ISO 15031-5 (from memory).
_REFUSED: Final[dict[int, str]] = {
    0x10: "refused in general",
    0x11: "service not supported",
    0x12: "not supported in this form",
    0x13: "wrong length or format of the request",
    0x21: "busy, ask again",
    0x22: "conditions not right",
    0x31: "request out of range",
    0x33: "security access denied",
    0x78: "received, the answer follows",
}
_CLEARING: Final = (
    "Clearing throws away the evidence: write down codes and kept values before (common practice,"
    " no source)."
)


@dataclass(frozen=True, slots=True)
class DecodedValue:
    """A value of a message: name, value with unit, the step in which it is sent, its bytes."""

    name: str
    value: float
    unit: str
    resolution: float
    data: str


@dataclass(frozen=True, slots=True)
class MessageWords:
    """What a message says."""

    title: str
    values: tuple[DecodedValue, ...] = ()
    codes: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    is_right: bool = True


def is_answer(payload: bytes) -> bool:
    """Tell whether bytes begin like a known answer of a control unit."""
    return bool(payload) and (payload[0] == _REFUSAL or payload[0] - ANSWER in _SERVICE)


def message_words(payload: bytes) -> MessageWords:
    """Say what a message means.

    Raises
    ------
    MessageError
        A service that isn't known, or bytes that don't fit it.
    """
    if not payload:
        raise MessageError("A message has at least one byte.")
    first = payload[0]
    if first == _REFUSAL:
        return _refusal(payload)
    if first in _SERVICE:
        return _request(payload)
    service = first - ANSWER
    if service not in _SERVICE:
        raise MessageError(
            f"Service {first:02X} isn't one of on-board diagnosis.",
            remedy="Known are requests 01 to 04, 07, 09 and 0A and their answers, 40 higher.",
        )
    title = f"answer, service {service:02X}: {_SERVICE[service]}"
    readers: dict[int, Callable[[bytes, str], MessageWords]] = {
        _NOW: _values_now,
        _KEPT: _values_kept,
        _CLEAR: _cleared,
        _VEHICLE: _vehicle,
    }
    return readers.get(service, _codes)(payload, title)


def _refusal(payload: bytes) -> MessageWords:
    if len(payload) < 3:
        raise MessageError(f"A refusal has 3 bytes, here are {len(payload)}.")
    why = _REFUSED.get(payload[2], f"reason {payload[2]:02X}, not in the table")
    asked = _SERVICE.get(payload[1], "not known")
    return MessageWords(f"refusal of service {payload[1]:02X} ({asked}): {why}")


def _request(payload: bytes) -> MessageWords:
    service, items = payload[0], payload[1:]
    asked = f"request, service {service:02X}: {_SERVICE[service]}"
    if service == _CLEAR:
        return MessageWords(asked, sentences=(_CLEARING,))
    if service == _KEPT:
        items = items[::2]
    if service not in (_NOW, _KEPT):
        return MessageWords(asked)
    named = [", ".join(parameter_names(item)) or f"parameter {item:02X}" for item in items]
    return MessageWords(f"{asked}{': ' if named else ''}{'; '.join(named)}")


def _values_now(payload: bytes, title: str) -> MessageWords:
    return _values(payload[1:], title, frame_bytes=0)


def _values_kept(payload: bytes, title: str) -> MessageWords:
    return _values(payload[1:], title, frame_bytes=1)


def _values(body: bytes, title: str, *, frame_bytes: int) -> MessageWords:
    """Parameter after parameter: its number, for kept values the frame's number, its bytes."""
    if not body:
        raise MessageError("The answer has no parameter.", remedy="It was cut short.")
    values: list[ParameterValue] = []
    sentences: list[str] = []
    while body:
        number = body[0]
        length = _length(number)
        if length is None:
            sentences.append(
                f"Parameter {number:02X} isn't in the table; its bytes:"
                f" {body[1:].hex(' ').upper() or 'none'}."
            )
            break
        data = body[1 + frame_bytes : 1 + frame_bytes + length]
        if values and not any(body):
            sentences.append(f"{len(body)} zero bytes behind it only fill up.")
            break
        if number in PARAMETERS:
            found = decode_parameter(number, data)
            values += found
            if not found:
                sentences.append(f"Parameter {number:02X} says that none of its sensors is there.")
        else:
            sentences += [_capital(words) for words in state_words(number, data)]
        body = body[1 + frame_bytes + length :]
    shown = tuple(
        DecodedValue(v.name, v.value, v.unit, v.resolution, v.data.hex(" ").upper()) for v in values
    )
    return MessageWords(title, shown, sentences=tuple(sentences))


def _length(number: int) -> int | None:
    parameter = PARAMETERS.get(number)
    return STATE_BYTES.get(number) if parameter is None else parameter.length


def _codes(payload: bytes, title: str) -> MessageWords:
    codes = read_code_answer(payload)
    status = CODE_SERVICES[payload[0] - ANSWER]
    if not codes:
        return MessageWords(title, sentences=(f"No {status} codes.",))
    sentences = []
    for code in codes:
        meaning = code_meaning(*code_to_bytes(code))
        sentences.append(f"{code}: {meaning}." if meaning else f"{code}.")
    return MessageWords(title, codes=codes, sentences=tuple(sentences))


def _cleared(payload: bytes, title: str) -> MessageWords:
    del payload
    return MessageWords(title, sentences=("The control unit has cleared its codes.", _CLEARING))


def _vehicle(payload: bytes, title: str) -> MessageWords:
    if len(payload) < 2:
        raise MessageError("The answer doesn't say which item it holds.")
    item, body = payload[1], payload[2:]
    if item != _VIN_ITEM:
        text = body.hex(" ").upper()
        return MessageWords(title, sentences=(f"Item {item:02X}: {text}.",))
    # ISO 15031-5 on CAN: a count of one item, then the number; leading zero bytes fill up.
    number = body[1:].lstrip(b"\0").decode("ascii", errors="replace")
    try:
        facts = vin_facts(number)
    except BackprobeError as error:
        raise MessageError(error.what, "vehicle identification number", error.remedy) from error
    return MessageWords(
        f"{title}: vehicle identification number {facts.vin}",
        sentences=(facts.check_digit_words, facts.model_year_words),
        is_right=facts.check_digit != "wrong",
    )


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
