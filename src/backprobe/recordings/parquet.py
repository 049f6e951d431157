"""Parquet: captures of our own with what is known of them, and tables of numbers by others."""

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, cast

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.array_columns import assign_columns
from backprobe.recordings.heading_units import Heading
from backprobe.recordings.source import Block, ChannelHead

KEY: Final = "backprobe.capture"
TIME: Final = "time"
_FORMAT: Final = 1
_BLOCK: Final = 1 << 20  # samples of one channel
# A damaged file can make the reader panic, which isn't an Exception.
_DAMAGED: Final = (
    pl.exceptions.PolarsError,
    pl.exceptions.PanicException,
    OSError,
    ValueError,
    OverflowError,
)


@dataclass(frozen=True, slots=True)
class StoredHead:
    """What stands in the file beside the samples.

    Parameters
    ----------
    names, units : tuple of str
        Of the channels.
    columns : tuple of str
        Their columns; each name once.
    interval, start : float
        As in `Capture`, s.
    is_even : bool
        Whether samples are evenly spaced; else a column holds the times.
    n_sample : int
        Samples of each channel.
    source : str
        Name of the file that it was made from.
    remarks : tuple of str
        What its reader had to say.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[str, ...]
    interval: float
    start: float
    is_even: bool
    n_sample: int
    source: str = ""
    remarks: tuple[str, ...] = ()


def columns_for(names: Sequence[str]) -> tuple[str, ...]:
    """Names of columns: each once, and none that is kept for the time."""
    used = {TIME, ""}
    found = []
    for name in names:
        column, again = name, 1
        while column in used:
            again += 1
            column = f"{name} ({again})"
        used.add(column)
        found.append(column)
    return tuple(found)


def head_to_metadata(head: StoredHead) -> dict[str, str]:
    """The entry that goes into the file."""
    return {KEY: json.dumps({"format": _FORMAT, **asdict(head)})}


def read_head(path: Path) -> StoredHead | None:
    """What our own entry tells; None in a file that others made.

    Raises
    ------
    RecordingError
        The file is damaged or was made by a newer version.
    """
    try:
        text = pl.read_parquet_metadata(path).get(KEY)
    except _DAMAGED as error:
        raise damaged(path) from error
    if text is None:
        return None
    try:
        values = json.loads(text)
        if values.pop("format") != _FORMAT:
            raise RecordingError(
                "This capture was stored by a newer version.",
                where=path.name,
                remedy="Use that version, or store it anew from its original.",
            )
        for key in ("names", "units", "columns", "remarks"):
            values[key] = tuple(values[key])
        head = StoredHead(**values)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise damaged(path) from error
    if not (0.0 < head.interval < math.inf and math.isfinite(head.start) and head.n_sample > 0):
        raise damaged(path)
    return head


def damaged(path: Path) -> RecordingError:
    """The error for a file that can't be read."""
    return RecordingError(
        "This Parquet file is cut short or damaged.",
        where=path.name,
        remedy="Its list of contents stands at its end; copy or make it anew.",
    )


def read_rows(path: Path, columns: Sequence[str], first: int, n_row: int) -> pl.DataFrame:
    """Some rows of some columns.

    Raises
    ------
    RecordingError
        The file is damaged.
    """
    try:
        lazy = pl.scan_parquet(path, glob=False).select(list(columns)).slice(first, n_row)
        return lazy.collect()
    except _DAMAGED as error:
        raise damaged(path) from error


class ParquetSource:
    """A Parquet file, open for reading.

    Parameters
    ----------
    path : Path
        The file.
    interval : float or None
        Time from sample to sample, s; goes before what the file tells.

    Raises
    ------
    RecordingError
        The file is damaged, holds no numbers, or no interval is known.
    """

    time_resolution = 0.0
    is_uneven = False

    def __init__(self, path: Path, interval: float | None = None) -> None:
        self._path = path
        self.remarks: list[str] = []
        schema, self._n_sample = _schema(path)
        head = read_head(path)
        if head is None:
            self._take_table(schema, interval)
        else:
            self._take_own(head, schema, interval)
        if not self.channels or self._n_sample == 0:
            raise RecordingError(
                "There are no columns of numbers in this file.",
                where=path.name,
                remedy="Save one column a channel, and one named time.",
            )

    def _take_own(
        self, head: StoredHead, schema: dict[str, pl.DataType], interval: float | None
    ) -> None:
        needed = (*head.columns, *(() if head.is_even else (TIME,)))
        is_sound = len(head.columns) == len(head.names) == len(head.units)
        if not is_sound or not set(needed) <= set(schema):
            raise damaged(self._path)
        if head.n_sample != self._n_sample:
            raise damaged(self._path)
        self.remarks = list(head.remarks)
        self._columns = dict.fromkeys(head.columns, 1.0)
        self._time = TIME if interval is None and not head.is_even else None
        self._time_scale = 1.0
        self.is_uneven = self._time is not None
        self.interval = interval or (head.interval if head.is_even else None)
        self.start = head.start
        self.channels = tuple(
            ChannelHead(name, unit, is_double=schema[column] != pl.Float32)
            for name, unit, column in zip(head.names, head.units, head.columns, strict=True)
        )

    def _take_table(self, schema: dict[str, pl.DataType], interval: float | None) -> None:
        numbers = [n for n, t in schema.items() if t.is_numeric() or t == pl.Boolean]
        temporal = [n for n, t in schema.items() if isinstance(t, (pl.Datetime, pl.Duration))]
        roles = assign_columns(numbers, may_have_time=interval is None and not temporal)
        self._time = roles.time if interval is not None or not temporal else temporal[0]
        self._time_scale = roles.time_scale
        left_out = [n for n in schema if n not in numbers and n != self._time]
        if left_out:
            self.remarks.append(f"Left out, since not numbers: {', '.join(left_out[:10])}.")
        if interval is None and self._time is None:
            raise RecordingError(
                "The time between samples isn't told.",
                where=self._path.name,
                remedy="Give the time between two samples, or name a column time.",
            )
        self.interval, self.start = interval, 0.0
        self._columns = {name: heading.scale for name, heading in roles.channels.items()}
        self.channels = tuple(
            _table_head(heading, schema[name]) for name, heading in roles.channels.items()
        )

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        columns = {} if only_times else self._columns
        wanted = [*columns, *([self._time] if self._time else [])]
        origin: int | None = None
        for first in range(0, self._n_sample, _BLOCK):
            frame = read_rows(self._path, wanted, first, _BLOCK)
            times = None
            if self._time is not None:
                series = frame[self._time]
                if series.dtype.is_temporal():
                    origin = series.to_physical()[0] if origin is None else origin
                    times = _seconds(series, origin or 0)
                else:
                    doubles = series.cast(pl.Float64).to_numpy()
                    times = np.array(doubles, dtype=np.float64) * self._time_scale
            samples = tuple(
                _floats(frame[name], is_double=head.is_double) * (scale if scale != 1.0 else 1)
                for (name, scale), head in zip(columns.items(), self.channels, strict=False)
            )
            yield Block(samples, times, min(first + _BLOCK, self._n_sample) / self._n_sample)


def _table_head(heading: Heading, dtype: pl.DataType) -> ChannelHead:
    single = (pl.Float32, pl.Boolean, pl.Int8, pl.UInt8, pl.Int16, pl.UInt16)
    return ChannelHead(
        heading.name, heading.unit, is_double=dtype not in single or heading.scale != 1.0
    )


def _schema(path: Path) -> tuple[dict[str, pl.DataType], int]:
    """Types of the columns and number of rows."""
    try:
        lazy = pl.scan_parquet(path, glob=False)
        schema = dict(lazy.collect_schema())
        n_row = cast("int", lazy.select(pl.len()).collect().item())
    except _DAMAGED as error:
        raise damaged(path) from error
    return schema, n_row


def _floats(series: pl.Series, *, is_double: bool) -> NDArray[np.floating]:
    """Samples of a column; NaN where nothing is, or what isn't finite."""
    cast_series = series.cast(pl.Float64 if is_double else pl.Float32)
    values: NDArray[np.floating] = np.array(cast_series.to_numpy())
    values[~np.isfinite(values)] = np.nan
    return values


def _seconds(series: pl.Series, origin: int) -> NDArray[np.float64]:
    """Seconds from an instant; whole numbers until then, so that no digit is lost."""
    unit = cast("pl.Datetime | pl.Duration", series.dtype).time_unit
    steps = {"ns": 1e9, "us": 1e6, "ms": 1e3}[str(unit)]
    since = (series.to_physical() - origin).cast(pl.Float64).to_numpy()
    return np.asarray(since / steps, dtype=np.float64)
