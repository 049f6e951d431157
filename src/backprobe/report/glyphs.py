"""Which characters the report's typefaces can show, and what stands for the others.

A character without a glyph would make the PDF impossible to search, or to make at all; it is shown
as an empty box, and the report says what the box stands for.
"""

from __future__ import annotations

import re
import struct
import unicodedata
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, Final

FONTS: Final = Path(__file__).parent / "fonts"
BOX: Final = "\N{WHITE SQUARE}"
SOFT_BREAK: Final = "\N{ZERO WIDTH SPACE}"
LONGEST_RUN: Final = 16  # letters without a place to break, before one is made
_HERE: Final = frozenset("\n\t ")
# A hash (SHA-256) or a VIN (ISO 3779: 17 letters and digits without I, O, Q) is copied from the
# document and compared, so nothing is put into it.
_COPIED: Final = re.compile(r"(?:[0-9a-f]{64}|[A-HJ-NPR-Z0-9]{17})[.,;]?")
# A unit stays on the line of its number, and so does a sign before one.
_UNIT: Final = re.compile(r"(?<=\d) (?=(?:%|m?V|[kM]?ohm|k?Hz|degC|rpm)(?!\w))|(?<=[<>]) (?=\d)")
# Variation selectors and joiners have no look of their own; what they join has been boxed.
_SILENT: Final = frozenset(map(chr, (0x200B, 0x200C, 0x200D, 0xFE0E, 0xFE0F, 0xFEFF, 0x00AD)))


@cache
def shown_characters() -> frozenset[int]:
    """Code points that both the regular and the bold typeface have."""
    regular, bold = (
        frozenset(_code_points((FONTS / name).read_bytes()))
        for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
    )
    return regular & bold


def _code_points(font: bytes) -> Iterator[int]:
    """Read the character map of a TrueType file: OpenType specification, "cmap", formats 4, 12."""
    (n_table,) = struct.unpack_from(">H", font, 4)
    tables = (struct.unpack_from(">4sLLL", font, 12 + 16 * k) for k in range(n_table))
    start = next(offset for tag, _, offset, _ in tables if tag == b"cmap")
    (n_map,) = struct.unpack_from(">H", font, start + 2)
    for k in range(n_map):
        _, _, offset = struct.unpack_from(">HHL", font, start + 4 + 8 * k)
        (kind,) = struct.unpack_from(">H", font, start + offset)
        if kind == 4:
            yield from _segments(font, start + offset)
        elif kind == 12:
            yield from _groups(font, start + offset)


def _segments(font: bytes, at: int) -> Iterator[int]:
    n_seg = struct.unpack_from(">H", font, at + 6)[0] // 2
    ends = struct.unpack_from(f">{n_seg}H", font, at + 14)
    starts = struct.unpack_from(f">{n_seg}H", font, at + 16 + 2 * n_seg)
    for first, last in zip(starts, ends, strict=True):
        yield from range(first, last + 1 if last < 0xFFFF else first)


def _groups(font: bytes, at: int) -> Iterator[int]:
    (n_group,) = struct.unpack_from(">L", font, at + 12)
    for k in range(n_group):
        first, last, _ = struct.unpack_from(">LLL", font, at + 16 + 12 * k)
        yield from range(first, last + 1)


class Fitted:
    """Makes texts fit for the typefaces, and keeps account of what had to be replaced."""

    def __init__(self) -> None:
        self._replaced: dict[str, int] = {}

    def text(self, text: str) -> str:
        """A text with boxes for what can't be shown."""
        known = shown_characters()
        out = []
        for each in unicodedata.normalize("NFC", text):
            if each in _SILENT:
                continue
            if each in _HERE or (ord(each) in known and unicodedata.category(each)[0] != "C"):
                out.append(each)
                continue
            out.append(BOX)
            self._replaced[each] = self._replaced.get(each, 0) + 1
        return "".join(out)

    def everything(self, value: Any) -> Any:
        """The same for all texts of a JSON-like value; long words get places to break."""
        if isinstance(value, str):
            return with_breaks(self.text(value))
        if isinstance(value, list):
            return [self.everything(each) for each in value]
        if isinstance(value, dict):
            return {
                key: self.text(each)
                if key in ("svg", "kind", "mark", "look", "told")
                else (self.everything(each))
                for key, each in value.items()
            }
        return value

    @property
    def footnote(self) -> str:
        """What the boxes stand for; empty without any."""
        if not self._replaced:
            return ""
        listed = ", ".join(
            f"U+{ord(each):04X}{f' ({n} times)' if n > 1 else ''}"
            for each, n in sorted(self._replaced.items())[:40]
        )
        more = " and others" if len(self._replaced) > 40 else ""
        return (
            f"{BOX} stands for a character that this document's typeface can't show: "
            f"{listed}{more}. The same report as a page (HTML) uses its reader's own typefaces."
        )


def with_breaks(text: str) -> str:
    """Put places to break into words too long for a column; keep units with their numbers."""
    text = with_units(text)
    return " ".join(_broken(word) if _needs_breaks(word) else word for word in text.split(" "))


def with_units(text: str) -> str:
    """Keep units on the line of their numbers."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", text)


def _needs_breaks(word: str) -> bool:
    return len(word) > LONGEST_RUN and not _COPIED.fullmatch(word)


def _broken(word: str) -> str:
    return SOFT_BREAK.join(
        word[k : k + LONGEST_RUN // 2] for k in range(0, len(word), LONGEST_RUN // 2)
    )
