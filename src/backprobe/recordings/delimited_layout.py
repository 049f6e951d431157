"""Which separator and marks a table is written with, and where its numbers begin."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.recordings.delimited_cells import CLOCK, Marks, is_missing, is_number
from backprobe.recordings.delimited_text import split_headings, split_line

_COMMENTS: Final = ("#", "%", "//", "!")
_LOOKED_AT: Final = 400  # lines with something in them
_SEPARATORS: Final = ("\t", ";", ",", "|", " ")
# Where two readings of the text are equally good, the earlier pair wins.
_MARKS: Final = (
    Marks("."),
    Marks(","),
    Marks(".", ","),
    Marks(",", "."),
    Marks(".", " "),
    Marks(",", " "),
    Marks(".", "'"),
    Marks(",", "'"),
)
# Headings that don't fit a way of parting the line speak against it.
_HEADINGS_FIT: Final = 1.25
_HEADINGS_DIFFER: Final = 0.4


@dataclass(frozen=True, slots=True)
class Layout:
    """How a text is laid out.

    Parameters
    ----------
    separator : str
        As in `ColumnMapping`.
    marks : Marks
        Decimal mark and thousands mark.
    comment : str
        What comment lines start with; "" without any.
    first : int
        Index of the first line with numbers.
    kinds : str
        One letter a column: n number or nothing measured, c clock time, w words.
    score : float
        How well it fits; for comparing only.
    """

    separator: str
    marks: Marks
    comment: str
    first: int
    kinds: str
    score: float


def find_layout(lines: Sequence[str]) -> Layout | None:
    """Try all ways of parting the lines; None where no column of numbers is found."""
    comment = _comment_of(lines)
    numbered = [
        (at, line)
        for at, line in enumerate(lines)
        if line.strip() and not (comment and line.lstrip().startswith(comment))
    ][:_LOOKED_AT]
    best: Layout | None = None
    for separator in _SEPARATORS:
        rows = [(at, split_line(line, separator)) for at, line in numbered]
        for marks in _MARKS:
            if not _can_be(separator, marks, numbered):
                continue
            found = _fit(rows, separator, marks, comment, lines)
            if found is not None and (best is None or found.score > best.score):
                best = found
    return best


def _comment_of(lines: Sequence[str]) -> str:
    starts = [line.lstrip() for line in lines if line.strip()]
    return next(
        (mark for line in starts for mark in _COMMENTS if line.startswith(mark)),
        "",
    )


def _can_be(separator: str, marks: Marks, numbered: Sequence[tuple[int, str]]) -> bool:
    """Whether separator and marks can be told apart in these lines."""
    if separator not in (marks.decimal, marks.thousands):
        return True
    # "1,5","2,5": the quotes tell them apart.
    return separator != " " and any('"' in line for _, line in numbered)


def _fit(
    rows: Sequence[tuple[int, list[str]]],
    separator: str,
    marks: Marks,
    comment: str,
    lines: Sequence[str],
) -> Layout | None:
    signatures = [(at, _signature(cells, separator, marks)) for at, cells in rows]
    useful = Counter(_shape(kinds) for _, kinds in signatures if "n" in kinds or "c" in kinds)
    if not useful:
        return None
    # Words in a column make it a column of words also where a line has a number there.
    best_kinds, best_score = "", 0.0
    for kinds, count in useful.items():
        net = kinds.count("n") + kinds.count("c") - kinds.count("w")
        if net > 0 and count * net > best_score:
            best_kinds, best_score = kinds, float(count * net)
    if not best_kinds:
        return None
    first = next(at for at, kinds in signatures if _shape(kinds) == best_kinds)
    before = [line for line in lines[:first] if line.strip()]
    if before:
        heading = before[-1].strip().removeprefix(comment).strip() if comment else before[-1]
        fits = len(split_headings(heading, separator, len(best_kinds))) == len(best_kinds)
        best_score *= _HEADINGS_FIT if fits else _HEADINGS_DIFFER
    return Layout(separator, marks, comment, first, best_kinds, best_score)


def _signature(cells: Sequence[str], separator: str, marks: Marks) -> str:
    """One letter a cell: n, c, w, or m where nothing was measured."""
    return "".join(_kind(cell, separator, marks) for cell in cells)


def _kind(cell: str, separator: str, marks: Marks) -> str:
    if is_missing(cell):
        return "m"
    if is_number(cell, marks):
        # "0,001" parted at its comma leaves "001".
        is_rest = separator == "," and len(cell) > 1 and cell[0] == "0" and cell.isdigit()
        return "w" if is_rest else "n"
    return "c" if CLOCK.fullmatch(cell) else "w"


def _shape(kinds: str) -> str:
    """A signature with a cell without a measurement taken for a number."""
    return kinds.replace("m", "n") if "n" in kinds or "c" in kinds else "w" * len(kinds)
