"""How a log is laid out as text: one time, a time for each value, or a row for each value."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.recordings.delimited_cells import CLOCK, Marks, is_missing, is_number
from backprobe.recordings.delimited_layout import Layout, find_layout
from backprobe.recordings.delimited_text import split_headings, split_line
from backprobe.recordings.heading_units import parse_heading
from backprobe.recordings.log_units import known_log_unit

_LOOKED_AT: Final = 300  # rows
_LONG_ROWS: Final = 4  # so many rows of a value each before it is taken for one
_TIME: Final = re.compile(
    r"(?:(?:.*[\s_.])?(?:time|zeit|temps|tiempo|timestamp|elapsed|uhrzeit|clock|stamp)"
    r"(?:[\s_.].*)?|t|secs?|seconds|millis)",
    re.IGNORECASE,
)
# Names of values that have such a word in them and are no times.
_NO_TIME: Final = re.compile(r"run|start|since|inject|dwell|pulse|duration|lauf", re.IGNORECASE)
_BRACKETED: Final = re.compile(r"(?P<name>.+?)\s*[(\[](?P<unit>[^()\[\]]+)[)\]]\s*")
_BEHIND: Final = re.compile(r"(?P<name>.+?)(?:\s*,\s*|\s+|_)(?P<unit>\S{1,9})\s*")


@dataclass(frozen=True, slots=True)
class LogHeading:
    """Name and unit of a column, both as written; empty where there is none."""

    name: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class TimeGroup:
    """A column of times and the columns whose values are from these times, counted from one."""

    time: int
    values: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WideLayout:
    """Columns of values.

    Parameters
    ----------
    layout : Layout
        How the text is parted.
    headings : tuple of LogHeading
        One a column.
    groups : tuple of TimeGroup
        At least one.
    """

    layout: Layout
    headings: tuple[LogHeading, ...]
    groups: tuple[TimeGroup, ...]


@dataclass(frozen=True, slots=True)
class LongLayout:
    """A row for each value: time, name, value, perhaps unit; columns counted from one."""

    separator: str
    marks: Marks
    first: int
    n_column: int
    time: int
    name: int
    value: int
    unit: int | None
    time_unit: str
    is_clock: bool


def find_log_layout(lines: Sequence[str]) -> WideLayout | LongLayout | None:
    """Tell how a log is laid out; None where neither columns nor rows of values are found."""
    long = _find_long(lines)
    if long is not None:
        return long
    layout = find_layout(lines)
    if layout is None:
        return None
    headings = _headings(lines, layout)
    return WideLayout(layout, headings, _groups(headings, layout.kinds))


def log_heading(written: str) -> LogHeading:
    """Part a heading into name and unit as written."""
    text = " ".join(written.split())
    for look in (_BRACKETED, _BEHIND):
        match = look.fullmatch(text)
        # A lone letter behind a name is rather a part of it: "throttle position B".
        is_bracketed = look is _BRACKETED
        if match is not None and (is_bracketed or len(match["unit"]) > 1):
            unit = match["unit"].strip()
            if known_log_unit(unit) is not None and (is_bracketed or not unit.isalpha()):
                return LogHeading(match["name"].strip(), unit)
    plain = parse_heading(text)
    if plain.scale == 1.0 and plain.unit:
        return LogHeading(plain.name, plain.unit)
    return LogHeading(text)


def is_time_heading(heading: LogHeading) -> bool:
    """Tell whether a heading is that of instants."""
    known = known_log_unit(heading.unit) if heading.unit else None
    if known is not None and known.unit != "s":
        return False
    return bool(_TIME.fullmatch(heading.name)) and not _NO_TIME.search(heading.name)


def _headings(lines: Sequence[str], layout: Layout) -> tuple[LogHeading, ...]:
    n_column = len(layout.kinds)
    above = [line.strip() for line in lines[: layout.first] if line.strip()]
    if layout.comment:
        above = [line.removeprefix(layout.comment).strip() for line in above]
    given = [_heading_row(line, layout) for line in above[-2:]]
    rows = [row for row in given if row is not None]
    if not rows:
        return tuple(LogHeading(f"column {n}") for n in range(1, n_column + 1))
    last = rows[-1]
    if len(rows) == 2 and _is_unit_row(last):
        units = [cell.strip("()[] ") for cell in last]
        return tuple(LogHeading(n, u) for n, u in zip(rows[0], units, strict=True))
    found = [log_heading(cell) for cell in last]
    return tuple(
        heading if heading.name else LogHeading(f"column {n}", heading.unit)
        for n, heading in enumerate(found, start=1)
    )


def _heading_row(line: str, layout: Layout) -> list[str] | None:
    n_column = len(layout.kinds)
    cells = split_headings(line, layout.separator, n_column)
    if len(cells) == n_column - 1 and n_column > 1:
        cells.append("")
    if len(cells) != n_column or not any(cells):
        return None
    return None if any(is_number(cell, layout.marks) for cell in cells if cell) else cells


def _is_unit_row(cells: Sequence[str]) -> bool:
    given = [cell for cell in cells if cell]
    known = [cell for cell in given if known_log_unit(cell) is not None]
    return 2 * len(known) > len(given) and len(given) > 0


def _groups(headings: Sequence[LogHeading], kinds: str) -> tuple[TimeGroup, ...]:
    """Each column belongs to the column of times before it, the first ones to the first."""
    times = [
        at
        for at, (heading, kind) in enumerate(zip(headings, kinds, strict=True), start=1)
        if kind == "c" or (kind == "n" and is_time_heading(heading))
    ]
    if not times:
        first = kinds.find("n") + 1
        times = [first] if first else []
    groups = []
    for number, time in enumerate(times):
        start = 1 if number == 0 else time + 1
        stop = times[number + 1] if number + 1 < len(times) else len(kinds) + 1
        values = tuple(at for at in range(start, stop) if at not in times and kinds[at - 1] == "n")
        if values:
            groups.append(TimeGroup(time, values))
    return tuple(groups)


def _find_long(lines: Sequence[str]) -> LongLayout | None:
    for separator in (";", "\t", ",", "|"):
        for decimal in (".", ","):
            if separator != decimal:
                found = _fit_long(lines, separator, Marks(decimal))
                if found is not None:
                    return found
    return None


def _fit_long(lines: Sequence[str], separator: str, marks: Marks) -> LongLayout | None:
    rows = [(at, split_line(line, separator)) for at, line in enumerate(lines) if line.strip()]
    rows = rows[:_LOOKED_AT]
    kinds = [(at, cells, "".join(_kind(cell, marks) for cell in cells)) for at, cells in rows]
    for shape, unit in (("twv", None), ("twvu", 4), ("twuv", 3)):
        pattern = re.compile(shape.replace("t", "[nc]").replace("v", "n").replace("u", "[wm]"))
        fitting = [(at, cells) for at, cells, kind in kinds if pattern.fullmatch(kind)]
        names = {cells[1] for _, cells in fitting}
        is_long = len(fitting) >= max(_LONG_ROWS, 0.8 * (len(rows) - 2))
        if not is_long or len(names) > len(fitting) // 2:
            continue
        first = fitting[0][0]
        head = split_line(lines[first - 1], separator) if first else []
        time_unit = log_heading(head[0]).unit if len(head) == len(shape) else ""
        is_clock = CLOCK.fullmatch(fitting[0][1][0]) is not None
        value = shape.index("v") + 1
        return LongLayout(
            separator, marks, first, len(shape), 1, 2, value, unit, time_unit, is_clock
        )
    return None


def _kind(cell: str, marks: Marks) -> str:
    if is_number(cell, marks):
        return "n"
    if CLOCK.fullmatch(cell):
        return "c"
    return "m" if is_missing(cell) else "w"
