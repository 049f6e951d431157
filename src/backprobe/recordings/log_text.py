"""A log written as delimited text, whatever its layout, to series with their own instants."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.delimited import DelimitedSource
from backprobe.recordings.delimited_cells import clock_seconds
from backprobe.recordings.delimited_mapping import ColumnMapping, MappedColumn
from backprobe.recordings.delimited_text import TextHead, read_head
from backprobe.recordings.log_layout import LongLayout, TimeGroup, WideLayout, find_log_layout
from backprobe.recordings.log_plain import read_plain
from backprobe.recordings.log_units import convert_factor

_LATE_START: Final = 1e6  # s; instants beyond are a date's, not a recording's own
_CLOCK_REMARK: Final = "Times are a clock's."
_MILLISECONDS_FROM: Final = 10.0  # a step of so many whole numbers is hardly one of seconds


@dataclass(frozen=True, slots=True, eq=False)
class RawSeries:
    """A series as the file has it: name, unit as written, instants in s, values."""

    name: str
    unit: str
    times: NDArray[np.float64]
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RawLog:
    """Series as the file has them, and remarks on what was assumed or left out."""

    series: tuple[RawSeries, ...]
    remarks: tuple[str, ...] = ()


def read_log_text(
    path: Path, *, dropped: frozenset[str] = frozenset(), time_unit: str = ""
) -> RawLog:
    """Read a log from delimited text.

    Parameters
    ----------
    path : Path
        The file.
    dropped : frozenset of str
        Names of series that aren't read.
    time_unit : str
        Unit of the times; "" as the file says, seconds where it says nothing.

    Returns
    -------
    RawLog
        Series without a single value are left out.

    Raises
    ------
    RecordingError
        The file can't be read, or neither times nor values are found in it.
    """
    head = read_head(path)
    layout = find_log_layout(head.lines)
    if layout is None:
        raise RecordingError(
            "No times and values were found in this text.",
            path.name,
            "Export the log with a column of times and one for each value.",
        )
    remarks: list[str] = []
    if isinstance(layout, LongLayout):
        series = _read_long(path, head, layout, time_unit, remarks)
        series = [one for one in series if one.name not in dropped]
    else:
        series = []
        for group in layout.groups:
            series += _read_group(path, head, layout, group, dropped, time_unit, remarks)
    series = [one for one in series if one.values.size]
    if not series:
        raise RecordingError(
            "The log holds no values.", path.name, "Look whether it has times and values at all."
        )
    return RawLog(tuple(_from_zero(series, remarks)), tuple(dict.fromkeys(remarks)))


def _read_group(
    path: Path,
    head: TextHead,
    wide: WideLayout,
    group: TimeGroup,
    dropped: frozenset[str],
    time_unit: str,
    remarks: list[str],
) -> list[RawSeries]:
    """Read the columns that share one column of times."""
    layout, headings = wide.layout, wide.headings
    kept = tuple(at for at in group.values if headings[at - 1].name not in dropped)
    if not kept:
        return []
    is_clock = layout.kinds[group.time - 1] == "c"
    mapping = ColumnMapping(
        layout.separator,
        layout.marks.decimal,
        tuple(
            MappedColumn(heading.name, heading.unit, is_kept=at in kept)
            for at, heading in enumerate(headings, start=1)
        ),
        thousands=layout.marks.thousands,
        encoding=head.encoding,
        skip_lines=layout.first,
        comment=layout.comment,
        time_column=group.time,
        time_format="clock" if is_clock else "number",
    )
    instants, columns, told = _read_columns(path, mapping, kept)
    if len(wide.groups) == 1:
        # With several columns of times the shorter ones end in blank cells, which is no news.
        remarks += told
    if is_clock:
        remarks.append(_CLOCK_REMARK)
    else:
        written = time_unit or headings[group.time - 1].unit
        instants = _in_seconds(instants, written, remarks, path)
    return [
        _series(headings[at - 1].name, headings[at - 1].unit, instants, columns[at]) for at in kept
    ]


def _read_columns(
    path: Path, mapping: ColumnMapping, kept: tuple[int, ...]
) -> tuple[NDArray[np.float64], dict[int, NDArray[np.floating]], list[str]]:
    """Times, values by column, and remarks: the fast way where it can't misunderstand the text."""
    time = mapping.time_column
    if time is not None:
        plain = read_plain(path, mapping, (time, *kept))
        if plain is not None:
            return plain[time], {at: plain[at] for at in kept}, []
    source = DelimitedSource(path, mapping)
    times: list[NDArray[np.float64]] = []
    parts: list[list[NDArray[np.floating]]] = [[] for _ in kept]
    for block in source.blocks():
        if block.times is not None:
            times.append(block.times)
            for column, part in zip(parts, block.samples, strict=True):
                column.append(part)
    values = {at: np.concatenate(part) for at, part in zip(kept, parts, strict=True)}
    return np.concatenate(times), values, source.remarks


def _series(
    name: str, unit: str, times: NDArray[np.float64], values: NDArray[np.floating]
) -> RawSeries:
    """Leave out instants without a value; put the others in order."""
    numbers = np.asarray(values, dtype=np.float64)
    is_missing = np.isnan(numbers)
    if is_missing.any():
        times, numbers = times[~is_missing], numbers[~is_missing]
    if times.size > 1 and bool(np.any(np.diff(times) < 0.0)):
        order = np.argsort(times, kind="stable")
        times, numbers = times[order], numbers[order]
    return RawSeries(name, unit, times, numbers)


def _in_seconds(
    times: NDArray[np.float64], written: str, remarks: list[str], path: Path
) -> NDArray[np.float64]:
    if written:
        factor = convert_factor(written, "s")
        if factor is None:
            raise RecordingError(
                f'The times are in "{written}", which isn\'t a unit of time.',
                path.name,
                'Say it in a mapping: time_unit = "ms".',
            )
        return times * factor[0] if factor[0] != 1.0 else times
    if times.size > 2 and _are_milliseconds(times):
        remarks.append("The times have no unit; they look like milliseconds and are taken so.")
        return times * 1e-3
    remarks.append("The times have no unit; seconds are assumed.")
    return times


def _are_milliseconds(times: NDArray[np.float64]) -> bool:
    some = times[:1000]
    step = float(np.median(np.abs(np.diff(some))))
    return step >= _MILLISECONDS_FROM and bool(np.all(some == np.round(some)))


def _from_zero(series: Sequence[RawSeries], remarks: list[str]) -> list[RawSeries]:
    """Count from the first instant where times are a clock's or a date's."""
    first = min(float(one.times[0]) for one in series)
    if first < _LATE_START and _CLOCK_REMARK not in remarks:
        return list(series)
    told = "Times are counted from the first row"
    clock = f" at {_clock_words(first)}" if 0.0 <= first < 86400.0 else ""
    remarks[:] = [remark for remark in remarks if remark != _CLOCK_REMARK]
    remarks.append(f"{told}{clock}.")
    return [RawSeries(one.name, one.unit, one.times - first, one.values) for one in series]


def _clock_words(seconds: float) -> str:
    whole = round(seconds, 3)
    hours, rest = divmod(whole, 3600.0)
    minutes, left = divmod(rest, 60.0)
    return f"{int(hours):02}:{int(minutes):02}:{left:06.3f}".rstrip("0").rstrip(".")


def _read_long(
    path: Path, head: TextHead, layout: LongLayout, time_unit: str, remarks: list[str]
) -> list[RawSeries]:
    """Read rows of time, name and value."""
    data = path.read_bytes()
    if head.encoding != "utf-8":
        data = data.decode(head.encoding, errors="replace").encode()
    names = [f"c{n}" for n in range(1, layout.n_column + 1)]
    frame = pl.read_csv(
        io.BytesIO(data.removeprefix(b"\xef\xbb\xbf")),
        has_header=False,
        skip_lines=layout.first,
        separator=layout.separator,
        schema=dict.fromkeys(names, pl.String()),
        truncate_ragged_lines=True,
        encoding="utf8-lossy",
    ).drop_nulls([f"c{layout.name}"])
    decimal = layout.marks.decimal
    values = _numbers(frame[f"c{layout.value}"], decimal)
    if layout.is_clock:
        times = np.array([clock_seconds(cell) for cell in frame[f"c{layout.time}"]])
        remarks.append(_CLOCK_REMARK)
    else:
        instants = _numbers(frame[f"c{layout.time}"], decimal)
        times = _in_seconds(instants, time_unit or layout.time_unit, remarks, path)
    spoken = frame[f"c{layout.name}"].str.strip_chars()
    usable = ~np.isnan(times)
    series = []
    for name in spoken.unique(maintain_order=True):
        mine = usable & (spoken == name).to_numpy()
        unit = ""
        if layout.unit is not None and mine.any():
            unit = (frame[f"c{layout.unit}"][int(np.flatnonzero(mine)[0])] or "").strip()
        series.append(_series(str(name), unit, times[mine], values[mine]))
    return series


def _numbers(cells: pl.Series, decimal: str) -> NDArray[np.float64]:
    text = cells.str.strip_chars()
    if decimal != ".":
        text = text.str.replace(decimal, ".", literal=True)
    found = np.array(text.cast(pl.Float64, strict=False).to_numpy(), dtype=np.float64)
    found[np.isinf(found)] = np.nan
    return found
