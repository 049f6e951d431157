"""ASAM MDF 4 [mdf4], through the library asammdf: ``pip install "backprobe[measurement-data]"``."""

import io
import logging
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.array_columns import needs_double
from backprobe.recordings.capture import Capture
from backprobe.recordings.heading_units import unit_of
from backprobe.recordings.source import Block, ChannelHead

_BLOCK: Final = 1 << 18
_DATA, _MASTER = 0, (2, 3)  # kinds of channels; 2 = stored master, 3 = computed one
_MOST_UNFINISHED: Final = 1 << 30
_MOST_PACKED: Final = 1040  # deflate packs no better than 1032 to 1 [rfc1951]


class MdfSource:
    """An MDF 4 file, open for reading.

    Groups that have the same instants as the largest one are read together; others are left out
    with a remark.

    Parameters
    ----------
    path : Path
        The file.
    interval : float or None
        Time from sample to sample, s; goes before what the file tells.
    group : int or None
        Number of the group to read, counted from one; None for the one with most samples.

    Raises
    ------
    RecordingError
        The file is damaged, holds no numbers, or the library isn't installed.
    """

    time_resolution = 0.0
    is_uneven = False
    start = 0.0

    def __init__(self, path: Path, interval: float | None = None, group: int | None = None) -> None:
        self._path = path
        self.interval = interval
        self.remarks: list[str] = []
        with opened_mdf(path) as file:
            chosen = self._choose(file, group)
            self._n_sample = int(file.groups[chosen].channel_group.cycles_nr)
            self._master: int | None = chosen if chosen in file.masters_db else None
            if interval is None and self._master is None:
                raise self._error("The group has no time.", "Give the time between two samples.")
            self._places: list[tuple[int, int, float]] = []
            self.channels = tuple(self._heads(file, chosen, alone=group is not None))
        if not self.channels:
            raise self._error("The group holds no channel of numbers.", "Choose another group.")

    def _choose(self, file: Any, group: int | None) -> int:
        sizes = [int(each.channel_group.cycles_nr) for each in file.groups]
        if group is not None and not 1 <= group <= len(sizes):
            raise self._error(f"There is no group {group}.", f"Choose one of 1 to {len(sizes)}.")
        chosen = group - 1 if group is not None else int(np.argmax(sizes)) if sizes else 0
        if not sizes or sizes[chosen] == 0:
            raise self._error("There are no samples in this file.", "Record it anew.")
        return chosen

    def _heads(self, file: Any, chosen: int, *, alone: bool) -> Iterator[ChannelHead]:
        """Heads of all channels on the time base of the chosen group; notes where they stand."""
        left_out = []
        for at, group in enumerate(file.groups):
            if at != chosen and (alone or not self._same_times(file, chosen, at)):
                left_out.append(at + 1)
                continue
            for index, channel in enumerate(group.channels):
                if channel.channel_type in _MASTER:
                    continue
                probe = file.get(group=at, index=index, record_offset=0, record_count=1).samples
                if probe.dtype.kind not in "fiub" or probe.ndim != 1:
                    self.remarks.append(f"{channel.name} isn't numbers and is left out.")
                    continue
                unit, scale = unit_of(channel.unit or "")
                is_double = needs_double(probe.dtype) or scale != 1.0
                self._places.append((at, index, scale))
                yield ChannelHead(channel.name, unit, is_double)
        if left_out:
            listed = ", ".join(map(str, left_out[:20]))
            self.remarks.append(f"Groups with other instants are left out: {listed}.")

    def _same_times(self, file: Any, one: int, other: int) -> bool:
        if file.groups[other].channel_group.cycles_nr != self._n_sample:
            return False
        if one not in file.masters_db or other not in file.masters_db:
            return False
        return bool(np.array_equal(file.get_master(one), file.get_master(other)))

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        with opened_mdf(self._path) as file:
            for first in range(0, self._n_sample, _BLOCK):
                n_row = min(_BLOCK, self._n_sample - first)
                times = None
                if self.interval is None:
                    times = np.asarray(
                        file.get_master(self._master, record_offset=first, record_count=n_row),
                        dtype=np.float64,
                    )
                samples = () if only_times else self._samples(file, first, n_row)
                if any(column.size != n_row for column in samples):
                    raise _damaged(self._path)
                yield Block(samples, times, (first + n_row) / self._n_sample)

    def _samples(self, file: Any, first: int, n_row: int) -> tuple[NDArray[np.floating], ...]:
        found: list[NDArray[np.floating]] = []
        for (group, index, scale), head in zip(self._places, self.channels, strict=True):
            signal = file.get(
                group=group,
                index=index,
                record_offset=first,
                record_count=n_row,
                ignore_invalidation_bits=True,
            )
            values: NDArray[np.floating] = np.array(signal.samples, dtype=np.float64)
            if not head.is_double:
                values = values.astype(np.float32)
            values *= scale
            invalid = signal.invalidation_bits
            if invalid is not None:
                values[np.asarray(invalid, dtype=np.bool_)] = np.nan
            values[~np.isfinite(values)] = np.nan
            found.append(values)
        return tuple(found)

    def _error(self, what: str, remedy: str) -> RecordingError:
        return RecordingError(what, where=self._path.name, remedy=remedy)


def write_mdf(capture: Capture, path: Path) -> None:
    """Write a capture as MDF 4.10; the file is there as a whole or not at all.

    Raises
    ------
    RecordingError
        The library isn't installed, or the file can't be written.
    """
    library = _library()
    n_sample = capture.channels[0].samples.size
    even = capture.start + capture.interval * np.arange(n_sample, dtype=np.float64)
    times = even if capture.times is None else capture.times
    signals = [
        library.Signal(channel.samples, times, name=channel.name, unit=channel.unit)
        for channel in capture.channels
    ]
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        with (
            tempfile.TemporaryDirectory(dir=path.parent) as folder,
            _quiet(),
            library.MDF(version="4.10") as file,
        ):
            file.append(signals, common_timebase=True)
            saved = Path(str(file.save(Path(folder) / "capture.mf4", overwrite=True)))
            saved.replace(path)
    except OSError as error:
        raise RecordingError(
            f"The file can't be written: {error.strerror}.",
            where=path.name,
            remedy="Make room, or choose another folder.",
        ) from error


@contextmanager
def opened_mdf(path: Path) -> Iterator[Any]:
    """An open file; whatever the library raises on damaged bytes becomes our error."""
    library = _library()
    try:
        with path.open("rb") as raw, _quiet():
            stream: io.BufferedIOBase = raw
            if raw.read(8).startswith(b"UnFin") and path.stat().st_size < _MOST_UNFINISHED:
                raw.seek(0)
                stream = io.BytesIO(raw.read())  # the library mends such a file in place
            stream.seek(0)
            # Given an open file it can also be thrown away after a failure without an error.
            with library.MDF(stream) as file:
                _require_possible(file, path)
                yield file
    except RecordingError:
        raise
    # Damaged bytes end in errors of any kind: struct.error, KeyError, MemoryError, its own.
    except Exception as error:
        _put_to_rest(error)
        raise _damaged(path) from error


def _require_possible(file: Any, path: Path) -> None:
    """Refuse a group that is said to hold more than can be packed into the file.

    The library would make room for all that a damaged count tells, gigabytes of it.
    """
    most = _MOST_PACKED * path.stat().st_size
    for group in file.groups:
        head = group.channel_group
        n_byte = max(int(head.samples_byte_nr) + int(head.invalidation_bytes_nr), 1)
        if int(head.cycles_nr) * n_byte > most:
            raise _damaged(path)


def _put_to_rest(error: Exception) -> None:
    """Mark the library's half-made file as closed.

    Its destructor would close it and fail on what is missing, which prints a trace on the screen
    long after the error was answered. Nobody but the trace of the error knows that file.
    """
    step = error.__traceback__
    while step is not None:
        owner: Any = step.tb_frame.f_locals.get("self")
        if type(owner).__module__.startswith("asammdf.") and hasattr(owner, "_closed"):
            owner._closed = True  # noqa: SLF001 - there is no other way
            owner._tempfile.close()  # noqa: SLF001 - made before anything is read
        step = step.tb_next


@contextmanager
def _quiet() -> Iterator[None]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _damaged(path: Path) -> RecordingError:
    return RecordingError(
        "This MDF file is cut short or damaged.",
        where=path.name,
        remedy="Copy or record it anew; a tool of its recorder may be able to finish it.",
    )


def _library() -> Any:
    try:
        with _quiet():
            import asammdf  # noqa: PLC0415 - optional, and slow to load
        # What it has to say on damaged bytes is said by our errors.
        logging.getLogger("asammdf").setLevel(logging.CRITICAL)
    except ImportError as error:
        raise RecordingError(
            "MDF files need the library asammdf, which isn't installed.",
            where="ASAM MDF",
            remedy='Install it with: pip install "backprobe[measurement-data]".',
        ) from error
    return asammdf
