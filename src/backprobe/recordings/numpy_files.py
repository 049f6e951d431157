"""Arrays saved by NumPy: .npy with samples in rows, .npz with an array a channel."""

import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any, Final

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.array_columns import (
    INTERVALS,
    RATES,
    STARTS,
    assign_columns,
    needs_double,
)
from backprobe.recordings.heading_units import Heading
from backprobe.recordings.source import Block, ChannelHead

BLOCK = 1 << 19  # samples of one channel
_MOST_CHANNELS: Final = 256
_TELL_INTERVAL: Final = (
    "Give the time between two samples, or save an .npz with an array named time or interval."
)


class NpySource:
    """A .npy file: one channel, or (n_samp, n_channel), or a structured array with named fields.

    Parameters
    ----------
    path : Path
        The file.
    interval : float or None
        Time from sample to sample, s; needed unless a field is named time.

    Raises
    ------
    RecordingError
        It isn't an array of real numbers, or no interval is known.
    """

    time_resolution = 0.0
    is_uneven = False
    start = 0.0

    def __init__(self, path: Path, interval: float | None = None) -> None:
        self._path = path
        self.remarks: list[str] = []
        with path.open("rb") as file:
            shape, is_fortran, self._dtype = _read_header(file, path.name)
            self._at = file.tell()
        names = tuple(self._dtype.names or ())
        dtypes = [self._dtype[name] for name in names] if names else [self._dtype]
        for dtype in dtypes:
            _require_real(dtype, path.name)
        if len(shape) not in (1, 2) or (names and len(shape) != 1) or 0 in shape:
            raise RecordingError(
                f"An array of shape {shape} isn't a capture.",
                where=path.name,
                remedy="Save one channel, or samples in rows and channels in columns.",
            )
        n_channel = shape[1] if len(shape) == 2 else 1
        if n_channel > _MOST_CHANNELS:
            raise RecordingError(
                f"{n_channel} channels are too many; samples stand in rows, channels in columns.",
                where=path.name,
                remedy="Save the transposed array.",
            )
        if is_fortran and n_channel > 1:
            raise RecordingError(
                "This array is stored column after column.",
                where=path.name,
                remedy="Save numpy.ascontiguousarray of it.",
            )
        columns = assign_columns(
            names or [f"channel {at}" for at in range(1, n_channel + 1)],
            may_have_time=interval is None and bool(names),
        )
        self._time, self._time_scale = columns.time, columns.time_scale
        self._names = tuple(columns.channels) if names else ()
        self._scales = tuple(heading.scale for heading in columns.channels.values())
        if interval is None and self._time is None:
            raise _no_interval(path.name)
        self.interval = interval
        self.channels = tuple(
            _channel_head(heading, self._dtype[name] if names else self._dtype)
            for name, heading in columns.channels.items()
        )
        self._n_sample = self._count(shape[0], n_channel)

    def _count(self, told: int, n_channel: int) -> int:
        """Number of samples that are there, with a remark where some are missing."""
        n_byte = self._dtype.itemsize * n_channel
        there = (self._path.stat().st_size - self._at) // n_byte
        if there < told:
            self.remarks.append(f"The file is cut short: {there} of {told} samples are there.")
        if min(there, told) == 0:
            raise _cut_short(self._path.name)
        return min(there, told)

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        n_channel = 1 if self._names else len(self.channels)
        with self._path.open("rb") as file:
            file.seek(self._at)
            for first in range(0, self._n_sample, BLOCK):
                n_row = min(BLOCK, self._n_sample - first)
                data = file.read(n_row * n_channel * self._dtype.itemsize)
                rows = np.frombuffer(data, dtype=self._dtype)
                table = rows.reshape(n_row, n_channel) if not self._names else rows
                times = None
                if self._time is not None:
                    times = _doubles(table[self._time], self._time_scale)
                columns = [table[n] for n in self._names] if self._names else list(table.T)
                samples = () if only_times else self._samples(columns)
                yield Block(samples, times, (first + n_row) / self._n_sample)

    def _samples(self, columns: list[NDArray[Any]]) -> tuple[NDArray[np.floating], ...]:
        return tuple(
            _scaled(_floats(column, is_double=head.is_double), scale)
            for column, head, scale in zip(columns, self.channels, self._scales, strict=True)
        )


class NpzSource:
    """A .npz file: an array a channel, all of one length, and one named time or interval.

    Parameters
    ----------
    path : Path
        The file.
    interval : float or None
        Time from sample to sample, s; goes before what the file tells.

    Raises
    ------
    RecordingError
        The file is cut short, arrays differ in length, or no interval is known.
    """

    time_resolution = 0.0
    is_uneven = False

    def __init__(self, path: Path, interval: float | None = None) -> None:
        self._path = path
        self.remarks: list[str] = []
        self._lengths: dict[str, int] = {}
        self._dtypes: dict[str, np.dtype[Any]] = {}
        scalars: dict[str, float] = {}
        with self._open() as archive:
            for entry in archive.namelist():
                if entry.endswith(".npy"):
                    self._take(archive, entry, scalars)
        told = _first(scalars, INTERVALS)
        rate = _first(scalars, RATES)
        if told is None and rate:
            told = 1.0 / rate
        interval = interval if interval is not None else told
        if interval is not None and not 0.0 < interval < np.inf:
            raise RecordingError(
                f"An interval of {interval:g} s can't be.", where=path.name, remedy=_TELL_INTERVAL
            )
        columns = assign_columns(list(self._lengths), may_have_time=interval is None)
        self._time, self._time_scale = columns.time, columns.time_scale
        self._require_one_length()
        if interval is None and self._time is None:
            raise _no_interval(path.name)
        self.interval = interval
        start = _first(scalars, STARTS) or 0.0
        self.start = start if interval is not None else 0.0
        self._headings = columns.channels
        self.channels = tuple(
            _channel_head(heading, self._dtypes[name]) for name, heading in columns.channels.items()
        )

    def _open(self) -> zipfile.ZipFile:
        try:
            return zipfile.ZipFile(self._path)
        except (zipfile.BadZipFile, OSError, ValueError, EOFError) as error:
            raise RecordingError(
                "This archive of arrays is cut short or damaged.",
                where=self._path.name,
                remedy="Its list of contents stands at its end; copy or save it anew.",
            ) from error

    def _take(self, archive: zipfile.ZipFile, entry: str, scalars: dict[str, float]) -> None:
        name = entry.removesuffix(".npy")
        with _translated(self._path.name), archive.open(entry) as file:
            shape, _, dtype = _read_header(file, self._path.name)
            is_real = dtype.kind in "fiub" and dtype.names is None
            if shape == () and is_real:
                data = file.read(dtype.itemsize)
                scalars[name.lower()] = float(np.frombuffer(data, dtype=dtype)[0])
            elif len(shape) == 1 and is_real:
                self._lengths[name] = shape[0]
                self._dtypes[name] = dtype
            else:
                self.remarks.append(f"{name} isn't a row of real numbers and is left out.")

    def _require_one_length(self) -> None:
        lengths = set(self._lengths.values())
        if not lengths or 0 in lengths or set(self._lengths) == {self._time}:
            raise RecordingError(
                "No array of samples is in this file.",
                where=self._path.name,
                remedy="Save an array a channel, one value a sample.",
            )
        if len(lengths) > 1:
            listed = ", ".join(f"{name} {n}" for name, n in list(self._lengths.items())[:6])
            raise RecordingError(
                f"The arrays differ in length: {listed}.",
                where=self._path.name,
                remedy="Save those of one time base together.",
            )

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        n_sample = next(iter(self._lengths.values()))
        names = [] if only_times else list(self._headings)
        with _translated(self._path.name), self._open() as archive, ExitStack() as stack:
            files: dict[str, IO[bytes]] = {}
            for name in [*names, *([self._time] if self._time else [])]:
                files[name] = stack.enter_context(archive.open(f"{name}.npy"))
                _read_header(files[name], self._path.name)
            for first in range(0, n_sample, BLOCK):
                n_row = min(BLOCK, n_sample - first)
                parts = {name: self._part(files[name], name, n_row) for name in files}
                times = None
                if self._time is not None:
                    times = _doubles(parts[self._time], self._time_scale)
                samples = tuple(
                    _scaled(_floats(parts[name], is_double=head.is_double), heading.scale)
                    for (name, heading), head in zip(
                        self._headings.items(), self.channels, strict=True
                    )
                    if name in parts
                )
                yield Block(samples, times, (first + n_row) / n_sample)

    def _part(self, file: IO[bytes], name: str, n_row: int) -> NDArray[Any]:
        dtype = self._dtypes[name]
        data = file.read(n_row * dtype.itemsize)
        if len(data) < n_row * dtype.itemsize:
            raise _cut_short(self._path.name)
        return np.frombuffer(data, dtype=dtype)


class _translated:  # noqa: N801 - reads as a verb where it is used
    """Turns what the archive reader may raise on damaged bytes into our error."""

    def __init__(self, file_name: str) -> None:
        self._file_name = file_name

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        known = (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError)
        # zlib.error is a plain Exception of the module that zipfile uses.
        if isinstance(error, known) or type(error).__module__ == "zlib":
            raise _cut_short(self._file_name) from error


def _read_header(file: IO[bytes], file_name: str) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    """Shape, order and type of an array."""
    try:
        version = npy.read_magic(file)
        read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
        shape, is_fortran, dtype = read(file)
    except (ValueError, EOFError, TypeError, SyntaxError, MemoryError) as error:
        raise RecordingError(
            "The head of this array can't be read.",
            where=file_name,
            remedy="It may be cut short or damaged; save it anew.",
        ) from error
    return shape, is_fortran, dtype


def _require_real(dtype: np.dtype[Any], file_name: str) -> None:
    if dtype.kind not in "fiub" or dtype.names is not None:
        raise RecordingError(
            f"Values of type {dtype} aren't samples.",
            where=file_name,
            remedy="Save real numbers: whole ones or floats.",
        )


def _channel_head(heading: Heading, dtype: np.dtype[Any]) -> ChannelHead:
    is_double = needs_double(dtype) or heading.scale != 1.0
    return ChannelHead(heading.name, heading.unit, is_double)


def _doubles(values: NDArray[Any], scale: float) -> NDArray[np.float64]:
    """Instants in s."""
    return np.array(values, dtype=np.float64) * scale


def _floats(values: NDArray[Any], *, is_double: bool) -> NDArray[np.floating]:
    found: NDArray[np.floating] = np.array(values, dtype=np.float64 if is_double else np.float32)
    found[~np.isfinite(found)] = np.nan
    return found


def _scaled(values: NDArray[np.floating], scale: float) -> NDArray[np.floating]:
    return values if scale == 1.0 else values * values.dtype.type(scale)


def _first(scalars: dict[str, float], names: tuple[str, ...]) -> float | None:
    return next((scalars[name] for name in names if name in scalars), None)


def _no_interval(file_name: str) -> RecordingError:
    return RecordingError(
        "The time between samples isn't told.", where=file_name, remedy=_TELL_INTERVAL
    )


def _cut_short(file_name: str) -> RecordingError:
    return RecordingError(
        "The file is cut short or damaged.", where=file_name, remedy="Copy or save it anew."
    )
