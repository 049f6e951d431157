"""Answers that list trouble codes: services 03, 07 and 0A (SAE J1979, ISO 15031-5).

On CAN the answer has a count before the codes; elsewhere it has none and holds three codes, filled
up with zero bytes.
"""

from __future__ import annotations

from typing import Final

from backprobe.errors import MessageError
from backprobe.standards.trouble_code import code_from_bytes, code_to_bytes

# Service: what its codes are, in the words of the job file.
CODE_SERVICES: Final[dict[int, str]] = {0x03: "stored", 0x07: "pending", 0x0A: "permanent"}
ANSWER: Final = 0x40  # an answer has the service's number plus this
_CODES_OFF_CAN: Final = 3


def read_code_answer(payload: bytes, *, is_can: bool | None = None) -> tuple[str, ...]:
    """List the codes of an answer.

    Parameters
    ----------
    payload : bytes
        The whole answer, its service first: ``43 02 01 01 C1 00``.
    is_can : bool or None
        Whether it came over CAN; None: told from its length, which is odd behind the service
        where there is a count.

    Raises
    ------
    MessageError
        Not such an answer, or its length doesn't fit.
    """
    if not payload or payload[0] - ANSWER not in CODE_SERVICES:
        raise MessageError(
            "This isn't an answer with trouble codes.", remedy="Those begin with 43, 47 or 4A."
        )
    body = payload[1:]
    if is_can is None:
        is_can = len(body) % 2 == 1
    pairs = _counted(body) if is_can else _filled(body)
    return tuple(code_from_bytes(*pair) for pair in pairs if any(pair))


def write_code_answer(service: int, codes: tuple[str, ...], *, is_can: bool) -> tuple[bytes, ...]:
    """Write the answer for codes: one message on CAN, one for every three codes elsewhere."""
    head = bytes([service + ANSWER])
    pairs = [bytes(code_to_bytes(code)) for code in codes]
    if is_can:
        return (head + bytes([len(pairs)]) + b"".join(pairs),)
    groups = range(0, max(len(pairs), 1), _CODES_OFF_CAN)
    return tuple(
        head + b"".join(pairs[start : start + _CODES_OFF_CAN]).ljust(2 * _CODES_OFF_CAN, b"\0")
        for start in groups
    )


def _counted(body: bytes) -> list[tuple[int, int]]:
    if not body:
        raise MessageError("The answer has no count of codes.", remedy="It was cut short.")
    expected, found = body[0], (len(body) - 1) // 2
    if found < expected:
        raise MessageError(
            f"The answer counts {expected} codes and has bytes for {found}.",
            remedy="It was cut short, or it didn't come over CAN and has no count.",
        )
    return _pairs(body[1 : 1 + 2 * expected])


def _filled(body: bytes) -> list[tuple[int, int]]:
    if len(body) % 2:
        raise MessageError(
            f"{len(body)} bytes are no whole number of codes.",
            remedy="A code has two bytes; an answer over CAN has a count before them.",
        )
    return _pairs(body)


def _pairs(body: bytes) -> list[tuple[int, int]]:
    return list(zip(body[::2], body[1::2], strict=True))
