"""What a report is made of: pieces of text, tables and pictures, without any layout.

Both documents, PDF and HTML, are set from these alone, so they can't say different things.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Mark = Literal["", "bold", "struck", "note"]
Look = Literal["", "lead", "small", "warning"]
Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of a line that is set in one way."""

    text: str
    mark: Mark = ""


Words = tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    words: Words
    look: Look = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with what is known of each."""

    rows: tuple[tuple[str, Words], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table; ``share`` is its width against the others'."""

    head: str
    share: float = 1.0
    side: Side = "left"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under a head."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Words, ...], ...]


@dataclass(frozen=True, slots=True)
class Points:
    """A list; what was seen and ticked off carries a tick."""

    items: tuple[Words, ...]
    ticked: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing."""

    svg: str
    told: str  # the same in words
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph as JPEG; ``sha256`` is that of the file as it was taken in."""

    jpeg: bytes
    width: int
    height: int
    told: str
    caption: Words
    sha256: str


@dataclass(frozen=True, slots=True)
class SignatureLines:
    """Lines to write on by hand."""

    under: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Pieces under a heading of their own that belong on one page where they fit."""

    title: str
    blocks: tuple[Block, ...]


Block = Paragraph | Facts | Table | Points | Picture | Photo | SignatureLines | Group


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the technical record."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """All that a report says.

    Parameters
    ----------
    title, vehicle : str
        What was looked into, and on which vehicle.
    about : str
        Who, when and what else stands under the title.
    vin : str
        Stands at the head of every page with the title.
    customer : tuple of Section
        Page one.
    sections : tuple of Section
        The technical record.
    printed : str
        When it was printed and by which version.
    instant : int
        The same as seconds since 1970 in UTC, for the documents' own date.
    digest : str
        SHA-256 over all of the above except when it was printed.
    """

    title: str
    vehicle: str
    about: str
    vin: str
    customer: tuple[Section, ...]
    sections: tuple[Section, ...]
    printed: str
    instant: int
    digest: str = ""


def words(text: str, mark: Mark = "") -> Words:
    """A text set in one way; none for an empty one."""
    return (Span(text, mark),) if text else ()


def said(*parts: str | Words) -> Words:
    """Join texts and pieces."""
    found: list[Span] = []
    for part in parts:
        found += words(part) if isinstance(part, str) else part
    return tuple(found)


def plain(pieces: Words) -> str:
    """The text without how it is set."""
    return "".join(piece.text for piece in pieces)


def paragraph(text: str, look: Look = "") -> tuple[Block, ...]:
    """A paragraph; none for an empty text. An empty line in the text begins a new one."""
    parts = (part.strip() for part in text.replace("\r\n", "\n").split("\n\n"))
    return tuple(Paragraph(words(part), look) for part in parts if part)


def facts(rows: Iterable[tuple[str, str | Words]]) -> tuple[Block, ...]:
    """Names with what is known; the unknown ones are left out, and nothing if all are."""
    known = tuple((name, said(what)) for name, what in rows if what)
    return (Facts(known),) if known else ()


def table(columns: Iterable[Column], rows: Iterable[Iterable[str | Words]]) -> tuple[Block, ...]:
    """A table; none without rows. A column with nothing in it is left out."""
    cells = [[said(cell) for cell in row] for row in rows]
    heads = list(columns)
    kept = [k for k in range(len(heads)) if any(row[k] for row in cells)]
    if not kept:
        return ()
    filled = tuple(tuple(row[k] for k in kept) for row in cells)
    return (Table(tuple(heads[k] for k in kept), filled),)


def points(items: Iterable[str | Words], *, ticked: bool = False) -> tuple[Block, ...]:
    """A list; none without items."""
    found = tuple(said(item) for item in items if item)
    return (Points(found, ticked),) if found else ()
