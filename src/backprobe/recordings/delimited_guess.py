"""From a text that nobody described to a mapping that a person can look at and correct."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.delimited_cells import Marks, clock_seconds, number_of
from backprobe.recordings.delimited_layout import Layout, find_layout
from backprobe.recordings.delimited_mapping import ColumnMapping, MappedColumn
from backprobe.recordings.delimited_preamble import read_preamble
from backprobe.recordings.delimited_text import TextHead, read_head, split_headings, split_line
from backprobe.recordings.heading_units import Heading, is_unit_cell, parse_heading, unit_of

_PREVIEWED: Final = 12
_TIME: Final = re.compile(
    r"(?:time|t|zeit|temps|tiempo|tempo|secs?|seconds?|elapsed|timestamp|clock|date ?time|uhrzeit"
    r"|millis\w*|x)\b",
    re.IGNORECASE,
)
_INDEX: Final = re.compile(r"(?:#|no\.?|nr\.?|n|i|index|samples?|points?|row)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Preview:
    """The first rows, as they stand and as they are understood.

    Parameters
    ----------
    above : tuple of str
        Lines above the first row with numbers.
    texts : tuple of tuple of str
        Cells of the first rows.
    numbers : tuple of tuple of float
        The same cells times the scale of their column; NaN where there is no number.
    """

    above: tuple[str, ...]
    texts: tuple[tuple[str, ...], ...]
    numbers: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Guess:
    """A mapping that was guessed, to be looked at.

    Parameters
    ----------
    mapping : ColumnMapping
        What was found.
    preview : Preview
        The first rows under this mapping.
    remarks : tuple of str
        What was assumed, as whole sentences.
    """

    mapping: ColumnMapping
    preview: Preview
    remarks: tuple[str, ...] = ()


def guess_mapping(path: Path, interval: float | None = None) -> Guess:
    """Guess how a delimited text is to be read.

    Parameters
    ----------
    path : Path
        The file.
    interval : float or None
        Time from sample to sample, s, where the user gives it: then no column is the time.

    Raises
    ------
    RecordingError
        The file can't be read or holds no columns of numbers.
    """
    head = read_head(path)
    layout = find_layout(head.lines)
    if layout is None:
        raise RecordingError(
            "No columns of numbers were found in this text.",
            where=path.name,
            remedy="Export it with one column a channel, or describe its columns yourself.",
        )
    headings = _headings(head.lines, layout)
    rows = _rows(head.lines, layout, 200)
    remarks: list[str] = []
    told = read_preamble(
        [line.removeprefix(layout.comment) for line in head.lines[: layout.first]],
        layout.separator,
        layout.marks.decimal,
    )
    if interval is None:
        time_column = _time_column(headings, layout, rows, has_interval=told.interval is not None)
    else:
        time_column = None
    columns = _columns(headings, layout, rows, time_column)
    if time_column is not None and headings[time_column - 1].unit != "s":
        name = columns[time_column - 1].name or "time"
        columns[time_column - 1] = MappedColumn(name, "s", is_kept=False)
        if layout.kinds[time_column - 1] == "n":
            remarks.append("The time column has no unit; seconds are assumed.")
    if _may_be_thousands(layout, rows):
        remarks.append("A comma was taken for the decimal mark; it may part thousands instead.")
    used = interval or told.interval
    mapping = ColumnMapping(
        layout.separator,
        layout.marks.decimal,
        tuple(columns),
        thousands=layout.marks.thousands,
        encoding=head.encoding,
        skip_lines=layout.first,
        comment=layout.comment,
        time_column=time_column,
        time_format="clock" if time_column and layout.kinds[time_column - 1] == "c" else "number",
        interval=used if time_column is None else None,
        start=(told.start or 0.0) if time_column is None else 0.0,
    )
    return Guess(mapping, _preview(head, mapping), tuple(remarks))


def preview_mapping(path: Path, mapping: ColumnMapping) -> Preview:
    """The first rows of a file under a mapping, such as one that a user has corrected."""
    return _preview(read_head(path, mapping.encoding), mapping)


def _rows(lines: Sequence[str], layout: Layout, most: int) -> list[list[str]]:
    rows = []
    for line in lines[layout.first :]:
        is_comment = layout.comment and line.lstrip().startswith(layout.comment)
        if line.strip() and not is_comment:
            cells = split_line(line, layout.separator)
            rows.append((cells + [""] * len(layout.kinds))[: len(layout.kinds)])
        if len(rows) == most:
            break
    return rows


def _headings(lines: Sequence[str], layout: Layout) -> list[Heading]:
    """Names and units of the columns; empty ones where the text has none."""
    n_column = len(layout.kinds)
    above = [line.strip() for line in lines[: layout.first] if line.strip()]
    if layout.comment:
        above = [line.removeprefix(layout.comment).strip() for line in above]
    cells = [_heading_cells(line, layout) for line in above[-2:]]
    last = cells[-1] if cells else None
    if last is None:
        return [Heading("")] * n_column
    has_units = all(not cell or is_unit_cell(cell) for cell in last) and any(last)
    if not has_units:
        return [parse_heading(cell) for cell in last]
    names = cells[-2] if len(cells) == 2 else None
    units = [unit_of(cell) for cell in last]
    if names is None:
        return [Heading("", *unit) for unit in units]
    return [
        Heading(parse_heading(name).name, *unit) for name, unit in zip(names, units, strict=True)
    ]


def _heading_cells(line: str, layout: Layout) -> list[str] | None:
    """Cells of a line of headings; None where the line isn't one."""
    n_column = len(layout.kinds)
    cells = split_headings(line, layout.separator, n_column)
    missing = n_column - len(cells)
    if missing == 1 and n_column > 1:
        cells.append("")  # lines of numbers that end with a separator
    if len(cells) != n_column or not any(cells):
        return None
    is_words = [math.isnan(number_of(cell, layout.marks)) for cell in cells if cell]
    return cells if all(is_words) else None


def _time_column(
    headings: Sequence[Heading],
    layout: Layout,
    rows: Sequence[Sequence[str]],
    *,
    has_interval: bool,
) -> int | None:
    """Number, counted from one, of the column that holds the time."""
    clocks = [at for at, kind in enumerate(layout.kinds, start=1) if kind == "c"]
    if clocks:
        return clocks[0]
    numbers = [at for at, kind in enumerate(layout.kinds, start=1) if kind == "n"]
    numbers = [at for at in numbers if np.isfinite(_values(rows, at, layout.marks)).any()]
    rising = [at for at in numbers if _is_rising(_values(rows, at, layout.marks))]
    for at in numbers:
        heading = headings[at - 1]
        if heading.unit == "s" or (heading.unit == "" and _TIME.match(heading.name)):
            return at
    if has_interval or not rising or rising[0] != numbers[0] or len(numbers) == 1:
        return None
    return None if _INDEX.match(headings[rising[0] - 1].name) else rising[0]


def _columns(
    headings: Sequence[Heading],
    layout: Layout,
    rows: Sequence[Sequence[str]],
    time_column: int | None,
) -> list[MappedColumn]:
    columns = []
    channel = 0
    for at, heading in enumerate(headings, start=1):
        values = _values(rows, at, layout.marks)
        is_filler = not heading.name and not heading.unit and bool(np.isnan(values).all())
        is_kept = layout.kinds[at - 1] == "n" and at != time_column and not is_filler
        is_kept &= not (at != time_column and _is_index(heading, values, is_first=at == 1))
        channel += is_kept
        name = heading.name or (f"channel {channel}" if is_kept else "")
        columns.append(MappedColumn(name, heading.unit, heading.scale, is_kept))
    return columns


def _values(rows: Sequence[Sequence[str]], number: int, marks: Marks) -> NDArray[np.float64]:
    return np.array([number_of(row[number - 1], marks) for row in rows])


def _is_rising(values: NDArray[np.float64]) -> bool:
    return values.size > 1 and bool(np.all(np.diff(values) > 0.0))


def _is_index(heading: Heading, values: NDArray[np.float64], *, is_first: bool) -> bool:
    """Tell whether a column only counts the rows."""
    if heading.unit or values.size < 2 or not np.all(np.diff(values) == 1.0):
        return False
    return bool(_INDEX.match(heading.name)) or (is_first and not heading.name)


def _may_be_thousands(layout: Layout, rows: Sequence[Sequence[str]]) -> bool:
    """Tell whether every number with a comma could also be one with thousands."""
    if layout.marks != Marks(","):
        return False
    with_comma = [cell for row in rows for cell in row if "," in cell]
    look = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
    return bool(with_comma) and all(look.fullmatch(cell) for cell in with_comma)


def _preview(head: TextHead, mapping: ColumnMapping) -> Preview:
    marks = Marks(mapping.decimal, mapping.thousands)
    kinds = "n" * len(mapping.columns)
    layout = Layout(mapping.separator, marks, mapping.comment, mapping.skip_lines, kinds, 0.0)
    texts = _rows(head.lines, layout, _PREVIEWED)
    numbers = [
        tuple(
            clock_seconds(cell)
            if at == mapping.time_column and mapping.time_format == "clock"
            else number_of(cell, marks) * column.scale
            for at, (cell, column) in enumerate(zip(row, mapping.columns, strict=True), start=1)
        )
        for row in texts
    ]
    above = head.lines[: mapping.skip_lines]
    return Preview(above[-_PREVIEWED:], tuple(tuple(row) for row in texts), tuple(numbers))
