"""How the columns of a delimited text are meant: guessed, corrected by people, kept as TOML."""

import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NoReturn

from backprobe.errors import RecordingError

SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab", " ": "space", "|": "bar"}
ENCODINGS: Final = ("utf-8", "cp1252", "utf-16-le", "utf-16-be")
THOUSANDS: Final = ("", ",", ".", " ", "'")
COMMENTS: Final = ("", "#", "%", "//", "!", "'")
CLOCKS: Final = ("number", "clock")
_MOST_COLUMNS: Final = 4096
_LONGEST: Final = 200_000  # characters of a saved mapping


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One column of the text.

    Parameters
    ----------
    name : str
        Name of the channel.
    unit : str
        Unit after multiplying with ``scale``: "V", "A", "s"; "" unknown.
    scale : float
        What a written number is multiplied with; 0.001 for a column in millivolts.
    is_kept : bool
        Whether it becomes a channel. The time column never does.
    """

    name: str
    unit: str = ""
    scale: float = 1.0
    is_kept: bool = True


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """How to read a delimited text.

    Parameters
    ----------
    separator : str
        "," ";" tab space or "|"; several spaces in a row are one separator.
    decimal : str
        "." or ",".
    columns : tuple of MappedColumn
        In the order of the text.
    thousands : str
        What parts the thousands: "" (nothing), "," "." space or "'".
    encoding : str
        "utf-8", "cp1252", "utf-16-le" or "utf-16-be"; a byte order mark is skipped.
    skip_lines : int
        Lines before the first one with numbers: preamble and headings.
    comment : str
        A line that starts with it is left out; "" where there are none.
    time_column : int or None
        Number of the column that holds the time, counted from one; None where there is none.
    time_format : str
        "number", or "clock" for hh:mm:ss.fff with or without a date before it.
    interval : float or None
        Time from sample to sample, s; counts only where there is no time column.
    start : float
        Instant of the first sample, s; counts only where there is no time column.
    """

    separator: str
    decimal: str
    columns: tuple[MappedColumn, ...]
    thousands: str = ""
    encoding: str = "utf-8"
    skip_lines: int = 0
    comment: str = ""
    time_column: int | None = None
    time_format: str = "number"
    interval: float | None = None
    start: float = 0.0

    def __post_init__(self) -> None:
        _require(self.separator in SEPARATORS, "separator", self.separator, tuple(SEPARATORS))
        _require(self.decimal in (".", ","), "decimal", self.decimal, (".", ","))
        _require(self.thousands in THOUSANDS, "thousands", self.thousands, THOUSANDS)
        _require(self.encoding in ENCODINGS, "encoding", self.encoding, ENCODINGS)
        _require(self.comment in COMMENTS, "comment", self.comment, COMMENTS)
        _require(self.time_format in CLOCKS, "time_format", self.time_format, CLOCKS)
        if self.decimal == self.thousands:
            _refuse(
                "Decimal mark and thousands mark are the same.", 'Set thousands = "" or another.'
            )
        if not 0 <= self.skip_lines <= 1_000_000:
            _refuse(
                f"{self.skip_lines} lines can't be skipped.", "Give a number from 0 to 1000000."
            )
        if not 1 <= len(self.columns) <= _MOST_COLUMNS:
            _refuse(
                f"There are {len(self.columns)} columns.", f"Describe 1 to {_MOST_COLUMNS} columns."
            )
        _require_times(self)

    @property
    def kept(self) -> tuple[int, ...]:
        """Numbers, counted from one, of the columns that become channels."""
        return tuple(
            number
            for number, column in enumerate(self.columns, start=1)
            if column.is_kept and number != self.time_column
        )


def _require(is_known: bool, key: str, value: str, known: tuple[str, ...]) -> None:
    if not is_known:
        listed = ", ".join(json.dumps(each) for each in known)
        _refuse(f"{key} can't be {json.dumps(value)}.", f"Possible are {listed}.")


def _require_times(mapping: ColumnMapping) -> None:
    number = mapping.time_column
    if number is not None and not 1 <= number <= len(mapping.columns):
        _refuse(
            f"time_column is {number}, but there are {len(mapping.columns)} columns.",
            "Columns are counted from one; leave time_column out where no column holds the time.",
        )
    interval = mapping.interval
    if interval is not None and not (0.0 < interval < math.inf):
        _refuse(f"An interval of {interval:g} s can't be.", "Give the seconds between two samples.")
    if not math.isfinite(mapping.start):
        _refuse("The start isn't a number of seconds.", "Leave it out, or write 0.0.")
    for at, column in enumerate(mapping.columns, start=1):
        if not math.isfinite(column.scale) or column.scale == 0.0:
            _refuse(
                f"The scale of column {at} is {column.scale:g}.",
                "Write what its numbers are multiplied with, such as 0.001 for millivolts.",
            )
    if number is not None and mapping.columns[number - 1].scale <= 0.0:
        _refuse("The scale of the time column is below zero.", "Write 0.001 for milliseconds.")


def _refuse(what: str, remedy: str, where: str = "columns of the text") -> NoReturn:
    raise RecordingError(what, where=where, remedy=remedy)


def to_toml(mapping: ColumnMapping) -> str:
    """Write a mapping as a small text that people can change."""
    lines = [
        "# How to read the columns of a text file.",
        f"separator = {_text(mapping.separator)}",
        f"decimal = {_text(mapping.decimal)}",
        f"thousands = {_text(mapping.thousands)}",
        f"encoding = {_text(mapping.encoding)}",
        f"skip_lines = {mapping.skip_lines}",
        f"comment = {_text(mapping.comment)}",
    ]
    if mapping.time_column is not None:
        lines.append(f"time_column = {mapping.time_column}  # counted from one")
        lines.append(f"time_format = {_text(mapping.time_format)}")
    if mapping.interval is not None:
        lines.append(f"interval = {mapping.interval!r}  # s")
    if mapping.start:
        lines.append(f"start = {mapping.start!r}  # s")
    for column in mapping.columns:
        lines += [
            "",
            "[[column]]",
            f"name = {_text(column.name)}",
            f"unit = {_text(column.unit)}",
            f"scale = {column.scale!r}",
            f"kept = {'true' if column.is_kept else 'false'}",
        ]
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    # JSON's strings are TOML basic strings, but for the delete character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


_KEYS: Final[dict[str, type]] = {
    "separator": str,
    "decimal": str,
    "thousands": str,
    "encoding": str,
    "skip_lines": int,
    "comment": str,
    "time_column": int,
    "time_format": str,
    "interval": float,
    "start": float,
    "column": list,
}
_COLUMN_KEYS: Final[dict[str, type]] = {"name": str, "unit": str, "scale": float, "kept": bool}
_KINDS: Final = {
    str: "a text in quotes",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    list: "a table under [[column]]",
}


def from_toml(text: str, file_name: str = "columns") -> ColumnMapping:
    """Read a mapping back; every key is checked.

    Raises
    ------
    RecordingError
        The text isn't TOML, has an unknown key, lacks one, or a value can't be.
    """
    if len(text) > _LONGEST:
        _refuse("This text is too long for a description of columns.", "Name the right file.")
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        _refuse(f"This isn't TOML: {error}.", 'A line is key = "value".', file_name)
    _check(values, _KEYS, "the description", file_name)
    for key in ("separator", "decimal", "column"):
        if key not in values:
            _refuse(f"{key} is missing.", "Add it; to_toml of a guess shows how.", file_name)
    columns = tuple(
        _column(table, f"{file_name}, column {number}")
        for number, table in enumerate(values.pop("column"), start=1)
    )
    try:
        return ColumnMapping(columns=columns, **values)
    except RecordingError as error:
        raise RecordingError(error.what, where=file_name, remedy=error.remedy) from error


def _column(table: object, where: str) -> MappedColumn:
    if not isinstance(table, dict):
        _refuse("This isn't a table.", "Write [[column]] above the keys of each column.", where)
    _check(table, _COLUMN_KEYS, "a column", where)
    if "name" not in table:
        _refuse("name is missing.", 'Add name = "channel 1".', where)
    return MappedColumn(
        table["name"],
        table.get("unit", ""),
        float(table.get("scale", 1.0)),
        is_kept=table.get("kept", True),
    )


def _check(values: dict[str, object], keys: Mapping[str, type], title: str, where: str) -> None:
    for key, value in values.items():
        kind = keys.get(key)
        if kind is None:
            _refuse(f'"{key}" isn\'t a key of {title}.', f"The keys are {', '.join(keys)}.", where)
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            values[key] = float(value) if abs(value) < 10**300 else math.inf
        elif not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            _refuse(f"{key} has to be {_KINDS[kind]}.", "Correct it.", where)
