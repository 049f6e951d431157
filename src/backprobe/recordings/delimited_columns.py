"""Columns of numbers out of a block of lines: a fast way for plain ones, a careful one for all."""

import csv
import io
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backprobe.recordings.delimited_blocks import count_of
from backprobe.recordings.delimited_cells import (
    CLOCK,
    MISSING,
    SECONDS_A_DAY,
    SPACES,
    Marks,
    number_pattern,
)
from backprobe.recordings.delimited_mapping import ColumnMapping

_MISSING_SPELLED: Final = sorted(
    {f(word) for word in MISSING if word for f in (str, str.upper, str.capitalize, str.title)}
    | {"NaN", "#N/A", "N/A"}
)
_UNIT_SEPARATOR: Final = "\x1f"  # stands in no table
_ORDINAL_1970: Final = 719163


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Columns of a block.

    Parameters
    ----------
    values : dict of int to ndarray, shape (n_row,)
        By number of the column, counted from one; NaN where there is no number. Not scaled.
    words : dict of int to ndarray of bool, shape (n_row,)
        Cells that are neither a number nor say that nothing was measured; {} = none.
    short, long : ndarray of bool, shape (n_row,), or None
        Rows with too few and too many cells; None = none.
    """

    values: dict[int, NDArray[np.float64]]
    words: dict[int, NDArray[np.bool_]]
    short: NDArray[np.bool_] | None = None
    long: NDArray[np.bool_] | None = None


def read_columns(data: bytes, mapping: ColumnMapping, wanted: tuple[int, ...]) -> Columns:
    """Read some columns of cleaned lines."""
    if _is_plain(data, mapping, wanted):
        values = _plain_columns(data, mapping, wanted)
        if values is not None:
            return Columns(values, {})
    return _all_columns(data, mapping, wanted)


def _is_plain(data: bytes, mapping: ColumnMapping, wanted: tuple[int, ...]) -> bool:
    """Tell whether the CSV reader can't misunderstand these lines."""
    if mapping.thousands or mapping.separator == mapping.decimal or b'"' in data:
        return False
    if mapping.time_format == "clock" and mapping.time_column in wanted:
        return False
    if mapping.decimal == "," and b"." in data:
        return False  # it would take the point for a decimal mark as well
    n_row, per_row = count_of(data, b"\n"), len(mapping.columns) - 1
    # As many separators in all, and as many in the first row, by which the reader goes.
    separator = mapping.separator.encode()
    first = data[: data.find(b"\n")]
    return count_of(data, separator) == n_row * per_row and first.count(separator) == per_row


def _plain_columns(
    data: bytes, mapping: ColumnMapping, wanted: tuple[int, ...]
) -> dict[int, NDArray[np.float64]] | None:
    """Columns of plain numbers; None where a cell isn't one."""
    schema = {
        f"column_{at}": pl.Float64() if at in wanted else pl.String()
        for at in range(1, len(mapping.columns) + 1)
    }
    # Comparing each cell with all words for nothing measured takes six times as long as reading it.
    for null_values in (None, _MISSING_SPELLED):
        try:
            frame = pl.read_csv(
                io.BytesIO(data),
                has_header=False,
                schema=schema,
                columns=[f"column_{at}" for at in wanted],
                separator=mapping.separator,
                decimal_comma=mapping.decimal == ",",
                quote_char=None,
                null_values=null_values,
                encoding="utf8-lossy",
            )
        except pl.exceptions.PolarsError:
            continue
        if frame.height != count_of(data, b"\n"):
            return None
        return {at: _finite(frame[f"column_{at}"]) for at in wanted}
    return None


def _finite(series: pl.Series) -> NDArray[np.float64]:
    values = np.array(series.to_numpy(), dtype=np.float64)  # nulls become NaN
    values[np.isinf(values)] = np.nan
    return values


def _all_columns(data: bytes, mapping: ColumnMapping, wanted: tuple[int, ...]) -> Columns:
    """Columns of whatever stands there, cell by cell."""
    text = data.decode("utf-8", errors="replace")
    separator = mapping.separator
    if '"' in text:
        text, separator = _unquoted(text, separator), _UNIT_SEPARATOR
    n_column = len(mapping.columns)
    lines = pl.Series("line", text.split("\n")[:-1], dtype=pl.String)
    parts = lines.str.split_exact(separator, n_column).struct.unnest()
    values: dict[int, NDArray[np.float64]] = {}
    words: dict[int, NDArray[np.bool_]] = {}
    for at in wanted:
        cells = parts.to_series(at - 1).fill_null("").str.strip_chars()
        is_clock = at == mapping.time_column and mapping.time_format == "clock"
        number = _clock(cells) if is_clock else _numbers(cells, mapping)
        is_words = number.is_null() & ~cells.str.to_lowercase().is_in(sorted(MISSING))
        values[at] = _finite(number)
        if is_words.any():
            words[at] = is_words.to_numpy()
    # A separator at the end of a line is no further cell.
    extra = parts.to_series(n_column).fill_null("").str.strip_chars() != ""
    short = parts.to_series(max(n_column - 1, 0)).is_null()
    return Columns(
        values,
        words,
        short.to_numpy() if short.any() else None,
        extra.to_numpy() if extra.any() else None,
    )


def _unquoted(text: str, separator: str) -> str:
    """The same rows, parted by a character that stands in no cell."""
    rows = []
    for line in text.split("\n")[:-1]:
        try:
            cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
        except csv.Error:
            cells = line.split(separator)
        rows.append(_UNIT_SEPARATOR.join(cell.replace("\n", " ") for cell in cells))
    return "\n".join(rows) + "\n"


def _numbers(cells: pl.Series, mapping: ColumnMapping) -> pl.Series:
    marks = Marks(mapping.decimal, mapping.thousands)
    plain = cells.str.replace_all("[−–]", "-")
    is_number = plain.str.contains(f"^(?:{number_pattern(marks).pattern})$")
    if mapping.thousands:
        signs = {" ": f"[{SPACES}]", "'": "['’]"}.get(mapping.thousands, f"[{mapping.thousands}]")
        plain = plain.str.replace_all(signs, "")
    if mapping.decimal != ".":
        plain = plain.str.replace_all(mapping.decimal, ".", literal=True)
    number = plain.cast(pl.Float64, strict=False)
    return pl.select(pl.when(is_number).then(number)).to_series()


def _clock(cells: pl.Series) -> pl.Series:
    """Seconds from midnight, or from 0001-01-01 with a date of ISO 8601; null elsewhere."""
    frame = cells.str.extract_groups(f"^(?:{CLOCK.pattern})$").struct.unnest()
    minutes = pl.coalesce("m", "m2").cast(pl.Float64, strict=False)
    seconds = pl.coalesce("s", "s2").str.replace(",", ".", literal=True)
    days = pl.col("iso").str.to_date("%Y-%m-%d", strict=False).dt.epoch("d") + _ORDINAL_1970
    since_midnight = (
        pl.col("h").cast(pl.Float64, strict=False).fill_null(0.0) * 3600.0
        + minutes * 60.0
        + seconds.cast(pl.Float64, strict=False)
    )
    # A date that the calendar doesn't have leaves no time at all.
    day_start = pl.when(pl.col("iso").is_null()).then(0.0).otherwise(days * SECONDS_A_DAY)
    return frame.select(day_start + since_midnight).to_series()
