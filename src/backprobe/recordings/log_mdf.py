"""A log from ASAM MDF 4, each series with its own instants, through asammdf, which is optional."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.log_text import RawLog, RawSeries
from backprobe.recordings.mdf import opened_mdf

_MASTER: Final = (2, 3)  # kinds of channels: stored and computed master
_MARKS: Final = (b"MDF     ", b"UnFinMF ")


def is_mdf(path: Path) -> bool:
    """Tell from its first bytes whether a file is one of MDF.

    Raises
    ------
    RecordingError
        The file can't be read.
    """
    try:
        with path.open("rb") as file:
            return file.read(8) in _MARKS
    except OSError as error:
        raise RecordingError(
            f"The file can't be read: {error.strerror}.",
            path.name,
            "Look whether it's there and may be read.",
        ) from error


def read_log_mdf(path: Path, *, dropped: frozenset[str] = frozenset()) -> RawLog:
    """Read all channels of numbers of an MDF 4 file.

    Parameters
    ----------
    path : Path
        The file.
    dropped : frozenset of str
        Names of series that aren't read.

    Raises
    ------
    RecordingError
        The file is damaged, holds no numbers, or the library isn't installed.
    """
    remarks: list[str] = []
    with opened_mdf(path) as file:
        series = list(_series(file, dropped, remarks))
    if not series:
        raise RecordingError(
            "The file holds no channel of numbers with times.", path.name, "Record it anew."
        )
    return RawLog(tuple(series), tuple(remarks))


def _series(file: Any, dropped: frozenset[str], remarks: list[str]) -> Iterator[RawSeries]:
    taken: dict[str, int] = {}
    for at, group in enumerate(file.groups):
        if at not in file.masters_db:
            remarks.append(f"Group {at + 1} has no times and is left out.")
            continue
        for index, channel in enumerate(group.channels):
            if channel.channel_type in _MASTER:
                continue
            taken[channel.name] = taken.get(channel.name, 0) + 1
            count = taken[channel.name]
            name = channel.name if count == 1 else f"{channel.name} ({count})"
            if name in dropped:
                continue
            signal = file.get(group=at, index=index, ignore_invalidation_bits=True)
            if signal.samples.dtype.kind not in "fiub" or signal.samples.ndim != 1:
                remarks.append(f"{name} isn't numbers and is left out.")
                continue
            values = np.array(signal.samples, dtype=np.float64)
            if signal.invalidation_bits is not None:
                values[np.asarray(signal.invalidation_bits, dtype=np.bool_)] = np.nan
            times = np.asarray(signal.timestamps, dtype=np.float64)
            used = np.isfinite(values)
            if used.any():
                yield RawSeries(name, (channel.unit or "").strip(), times[used], values[used])
