"""The fast way to read a log: at once, where nothing in the text can be misunderstood."""

from __future__ import annotations

import mmap
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backprobe.recordings.delimited_mapping import ColumnMapping

_MOST_BYTES: Final = 1 << 30  # whose values are held in memory as a whole
_PART: Final = 1 << 20  # bytes that are counted at once, while they are in the cache


def read_plain(
    path: Path, mapping: ColumnMapping, wanted: tuple[int, ...]
) -> dict[int, NDArray[np.float64]] | None:
    """Read columns of a text of plain numbers.

    Parameters
    ----------
    path : Path
        The file.
    mapping : ColumnMapping
        How it is to be read.
    wanted : tuple of int
        Numbers of columns, counted from one, the one of the times first.

    Returns
    -------
    dict of int to ndarray, shape (n_row,), or None
        By number of the column; NaN in a blank cell. None where a cell is neither blank nor a plain
        number, a row is too short or too long, has no time, or the end is cut: the careful way
        then reads the text and tells of it.
    """
    if not _may_be_plain(path, mapping):
        return None
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        return _read_mapped(path, data, mapping, wanted)


def _read_mapped(
    path: Path, data: mmap.mmap, mapping: ColumnMapping, wanted: tuple[int, ...]
) -> dict[int, NDArray[np.float64]] | None:
    if data[-1:] != b"\n" or data.find(b'"') >= 0:
        return None
    names = [f"column_{n}" for n in range(1, len(mapping.columns) + 1)]
    schema = {
        name: pl.Float64() if n in wanted else pl.String() for n, name in enumerate(names, start=1)
    }
    try:
        frame = pl.read_csv(
            path,
            has_header=False,
            skip_lines=mapping.skip_lines,
            schema=schema,
            columns=[f"column_{n}" for n in sorted(wanted)],
            separator=mapping.separator,
            quote_char=None,
        )
    except pl.exceptions.PolarsError:
        return None
    if frame.height == 0 or not _is_even(data, mapping, frame.height):
        return None
    found = {n: np.asarray(frame[f"column_{n}"].to_numpy(), np.float64) for n in wanted}
    if any(np.isinf(x).any() for x in found.values()):
        return None
    return None if np.isnan(found[wanted[0]]).any() else found


def _may_be_plain(path: Path, mapping: ColumnMapping) -> bool:
    return (
        mapping.encoding == "utf-8"
        and mapping.decimal == "."
        and mapping.separator in (",", ";", "\t")
        and not mapping.thousands
        and not mapping.comment
        and mapping.time_format == "number"
        and 0 < path.stat().st_size < _MOST_BYTES
    )


def _is_even(data: mmap.mmap, mapping: ColumnMapping, n_row: int) -> bool:
    """Whether each row has its separators, as far as the sum tells, and no line is blank."""
    start = 0
    for _ in range(mapping.skip_lines):
        start = data.find(b"\n", start) + 1
    n_separator = n_line = 0
    for first in range(start, len(data), _PART):
        # A copy of each part: a view would keep the file from being closed.
        part = np.frombuffer(data[first : first + _PART], np.uint8)
        n_separator += int(np.count_nonzero(part == ord(mapping.separator)))
        n_line += int(np.count_nonzero(part == ord("\n")))
    return n_line == n_row and n_separator == n_row * (len(mapping.columns) - 1)
