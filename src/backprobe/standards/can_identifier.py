"""Who speaks to whom: the identifiers of diagnostic frames on CAN (ISO 15765-4).

11 bits: 7DF asks all control units, 7E0 to 7E7 ask one, 7E8 to 7EF answer (request + 8).
29 bits: 18DB33F1 asks all, 18DAxxF1 asks unit xx, 18DAF1xx is its answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from backprobe.errors import MessageError

Direction = Literal["request to all", "request", "answer", "other"]

STANDARD_LIMIT: Final = 0x7FF
EXTENDED_LIMIT: Final = 0x1FFF_FFFF
_TO_ALL: Final = 0x7DF
_TO_ALL_EXTENDED: Final = 0x18DB33F1
_TESTER: Final = 0xF1
_PHYSICAL: Final = 0x18DA
_ANSWER_OFFSET: Final = 8


@dataclass(frozen=True, slots=True, order=True)
class CanIdentifier:
    """An identifier of 11 or 29 bits.

    Raises
    ------
    MessageError
        The number doesn't fit into the bits.
    """

    number: int
    is_extended: bool = False

    def __post_init__(self) -> None:
        limit = EXTENDED_LIMIT if self.is_extended else STANDARD_LIMIT
        if not 0 <= self.number <= limit:
            raise MessageError(
                f"{self.number:X} is no identifier of {29 if self.is_extended else 11} bits.",
                remedy=f"The highest is {limit:X}.",
            )

    def __str__(self) -> str:
        return f"{self.number:08X}" if self.is_extended else f"{self.number:03X}"

    @property
    def direction(self) -> Direction:
        """Whether a control unit is asked or answers; "other" outside of diagnosis."""
        n = self.number
        if n == (_TO_ALL_EXTENDED if self.is_extended else _TO_ALL):
            return "request to all"
        if not self.is_extended:
            return (
                "request" if 0x7E0 <= n <= 0x7E7 else "answer" if 0x7E8 <= n <= 0x7EF else "other"
            )
        if n >> 16 != _PHYSICAL or _TESTER not in (n & 0xFF, n >> 8 & 0xFF):
            return "other"
        return "request" if n & 0xFF == _TESTER else "answer"

    @property
    def partner(self) -> CanIdentifier | None:
        """Identifier on which the other side answers; None where none is laid down."""
        n = self.number
        if self.direction not in ("request", "answer"):
            return None
        if self.is_extended:
            swapped = _PHYSICAL << 16 | (n & 0xFF) << 8 | n >> 8 & 0xFF
            return CanIdentifier(swapped, is_extended=True)
        step = _ANSWER_OFFSET if self.direction == "request" else -_ANSWER_OFFSET
        return CanIdentifier(n + step)

    @property
    def words(self) -> str:
        """Who speaks, in words."""
        unit = self.number & 7
        if self.is_extended:
            low, high = self.number & 0xFF, self.number >> 8 & 0xFF
            unit = high if low == _TESTER else low
        return {
            "request to all": "asks all control units",
            "request": f"asks control unit {unit:02X}",
            "answer": f"control unit {unit:02X} answers",
            "other": "not an identifier of diagnosis",
        }[self.direction]
