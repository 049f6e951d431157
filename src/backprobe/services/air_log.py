"""A plain log for the air check: columns with a head, one instant a row."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path
from typing import Final

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.log import Log, LogSeries

_LARGEST: Final = 50_000_000  # bytes
_HEAD: Final = re.compile(r"\s*(?P<name>[^(\[]+?)\s*(?:[(\[](?P<unit>[^)\]]*)[)\]])?\s*")


def read_plain_log(path: Path) -> Log:
    """Read a log whose first row names its columns, the first of them the time in seconds.

    A head is a quantity in words with its unit in brackets: "air mass flow (g/s)". Columns part at
    semicolons, tabs or commas; with semicolons or tabs a comma may stand for the decimal point.
    Blank cells are instants without an answer.

    Raises
    ------
    RecordingError
        It can't be read, has no time, or a cell is no number.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise RecordingError("This is too large for a plain log.", path.name, "Cut it.")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordingError(
            "This log can't be read.", str(path), "Name a text file with one row an instant."
        ) from error
    first = text.partition("\n")[0]
    parted = next((sign for sign in (";", "\t") if sign in first), ",")
    rows = [row for row in csv.reader(text.splitlines(), delimiter=parted) if any(row)]
    if len(rows) < 2 or "time" not in rows[0][0].lower():
        raise RecordingError(
            "The first column of a plain log is the time.",
            path.name,
            'Name it "time (s)", and the others like "air mass flow (g/s)".',
        )
    return Log(tuple(_series(rows, column, parted, path.name) for column in _used(rows)), path.name)


def _used(rows: list[list[str]]) -> range:
    return range(1, len(rows[0]))


def _series(rows: list[list[str]], column: int, parted: str, where: str) -> LogSeries:
    head = _HEAD.fullmatch(rows[0][column])
    name = head["name"].lower() if head else ""
    pairs = [
        (_number(row[0], parted, number, where), _number(row[column], parted, number, where))
        for number, row in enumerate(rows[1:], start=2)
        if column < len(row) and row[column].strip()
    ]
    pairs.sort(key=lambda pair: pair[0])
    table = np.array(pairs, dtype=np.float64).reshape(len(pairs), 2)
    unit = (head["unit"] or "") if head else ""
    return LogSeries(rows[0][column], name, unit.strip(), table[:, 0], table[:, 1])


def _number(cell: str, parted: str, row: int, where: str) -> float:
    text = cell.strip().replace(",", ".") if parted != "," else cell.strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise RecordingError(
            f'"{cell.strip()[:40]}" is no number.', f"{where}, row {row}", "Leave the cell blank."
        )
    return value
