"""From an open source to a capture in memory."""

from pathlib import Path

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.source import Source
from backprobe.recordings.time_base import TimeBaseFinder


def gather(source: Source, path: Path, remarks: tuple[str, ...] = ()) -> Capture:
    """Read all samples.

    Parameters
    ----------
    source : Source
        An open recording.
    path : Path
        Its file, for the name.
    remarks : tuple of str
        Put before those of the source.

    Raises
    ------
    RecordingError
        There are fewer than two samples, or their times don't rise.
    """
    finder = TimeBaseFinder(source.time_resolution, path.name, is_uneven=source.is_uneven)
    samples: list[list[np.ndarray]] = [[] for _ in source.channels]
    times: list[np.ndarray] = []
    for block in source.blocks():
        for column, part in zip(samples, block.samples, strict=True):
            column.append(part)
        if block.times is not None:
            finder.add(block.times)
            times.append(block.times)
    channels = tuple(
        CaptureChannel(head.name, head.unit, np.concatenate(parts) if parts else np.empty(0))
        for head, parts in zip(source.channels, samples, strict=True)
    )
    n_sample = channels[0].samples.size
    if source.interval is not None:
        if n_sample < 2:
            raise one_sample(path.name)
        told = (*remarks, *source.remarks)
        return Capture(channels, source.interval, source.start, source=path.name, remarks=told)
    base = finder.found()
    return Capture(
        channels,
        base.interval,
        base.start,
        None if base.is_even else np.concatenate(times),
        source=path.name,
        remarks=(*remarks, *source.remarks, *base.remarks),
    )


def one_sample(file_name: str) -> RecordingError:
    """The error for a recording of fewer than two samples."""
    return RecordingError(
        "There is only one sample.",
        where=file_name,
        remedy="A capture needs two or more; export the whole recording.",
    )
