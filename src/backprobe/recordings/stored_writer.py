"""Writing captures as Parquet: block by block, with a second small file of extremes for drawing."""

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from polars.io.plugins import register_io_source

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture
from backprobe.recordings.extremes import PyramidBuilder
from backprobe.recordings.gather import one_sample
from backprobe.recordings.parquet import TIME, StoredHead, columns_for, head_to_metadata
from backprobe.recordings.reading import ReadOptions, open_source
from backprobe.recordings.source import Block, ChannelHead, Source
from backprobe.recordings.time_base import TimeBase, TimeBaseFinder

ROW_GROUP: Final = 1 << 19
"""Samples in a row group: 2 MiB of float32, read within milliseconds wherever it stands."""

Progress = Callable[[float], None]
"""Takes the share that is done, 0 to 1."""


def extremes_path(path: Path) -> Path:
    """Where the extremes of a stored capture are: beside it."""
    return path.with_name(f"{path.name}.extremes")


def store_capture(
    source_path: Path,
    path: Path,
    options: ReadOptions | None = None,
    progress: Progress | None = None,
) -> None:
    """Bring a recording of any kind and size into a stored capture.

    The recording is read in blocks, so that memory doesn't grow with its length. The stored
    capture appears under its name only when it is complete.

    Parameters
    ----------
    source_path : Path
        The recording.
    path : Path
        The stored capture to be made; an existing one is replaced.
    options : ReadOptions or None
        What the user tells of it.
    progress : callable or None
        Called with the share that is done, rising from 0 to 1.

    Raises
    ------
    RecordingError
        The recording can't be read, or the stored one can't be written.
    """
    tell = progress or (lambda _: None)
    source, remarks = open_source(source_path, options or ReadOptions())
    base = _time_base(source, source_path, tell)
    first_share = 0.0 if base is None else 0.3
    blocks = _told(source, tell, first_share)
    _write(
        blocks,
        source.channels,
        path,
        with_times=base is not None and not base.is_even,
        head=lambda n_sample: _head(source, source_path, base, n_sample, remarks),
    )
    tell(1.0)


def write_parquet(capture: Capture, path: Path) -> None:
    """Write a capture as a stored one: samples, interval, start, names, units, remarks.

    Raises
    ------
    RecordingError
        It can't be written.
    """
    channels = tuple(
        ChannelHead(each.name, each.unit, is_double=each.samples.dtype == np.float64)
        for each in capture.channels
    )
    samples = tuple(each.samples for each in capture.channels)
    n_sample = samples[0].size
    head = StoredHead(
        tuple(each.name for each in capture.channels),
        tuple(each.unit for each in capture.channels),
        columns_for([each.name for each in capture.channels]),
        capture.interval,
        capture.start,
        capture.times is None,
        n_sample,
        capture.source,
        capture.remarks,
    )
    _write(
        iter([Block(samples, capture.times, 1.0)]),
        channels,
        path,
        with_times=capture.times is not None,
        head=lambda _: head,
    )


def _time_base(source: Source, path: Path, tell: Progress) -> TimeBase | None:
    """What the instants are like; None where the interval is known."""
    if source.interval is not None:
        return None
    finder = TimeBaseFinder(source.time_resolution, path.name, is_uneven=source.is_uneven)
    for block in source.blocks(only_times=True):
        if block.times is not None:
            finder.add(block.times)
        tell(0.3 * block.share)
    return finder.found()


def _told(source: Source, tell: Progress, first_share: float) -> Iterator[Block]:
    for block in source.blocks():
        yield block
        tell(first_share + (0.98 - first_share) * block.share)


def _head(
    source: Source,
    source_path: Path,
    base: TimeBase | None,
    n_sample: int,
    remarks: tuple[str, ...],
) -> StoredHead:
    """What goes beside the samples, once all have been seen."""
    if n_sample < 2:
        raise one_sample(source_path.name)
    names = [head.name for head in source.channels]
    interval = base.interval if base is not None else source.interval
    return StoredHead(
        tuple(names),
        tuple(head.unit for head in source.channels),
        columns_for(names),
        interval or 0.0,
        base.start if base is not None else source.start,
        base is None or base.is_even,
        n_sample,
        source_path.name,
        (*remarks, *source.remarks, *(base.remarks if base is not None else ())),
    )


def _write(
    blocks: Iterator[Block],
    channels: tuple[ChannelHead, ...],
    path: Path,
    *,
    with_times: bool,
    head: Callable[[int], StoredHead],
) -> None:
    """Write samples and extremes under other names, then rename both."""
    columns = columns_for([each.name for each in channels])
    schema: dict[str, Any] = {TIME: pl.Float64} if with_times else {}
    for column, each in zip(columns, channels, strict=True):
        schema[column] = pl.Float64 if each.is_double else pl.Float32
    pyramid = PyramidBuilder(
        [(c, each.is_double) for c, each in zip(columns, channels, strict=True)]
    )
    failure: list[Exception] = []

    def frames() -> Iterator[pl.DataFrame]:
        # What is raised in here would come out as an error of polars: it is kept and raised again.
        try:
            for block in blocks:
                pyramid.add(block.samples)
                for first in range(0, block.samples[0].size, ROW_GROUP):
                    yield _frame(block, columns, first, with_times=with_times)
        except Exception as error:
            failure.append(error)
            raise

    def metadata(_: object) -> dict[str, str]:
        try:
            return head_to_metadata(head(pyramid.n_sample))
        except RecordingError as error:
            failure.append(error)
            return {}

    with _in_place_of(path, extremes_path(path)) as (samples_file, extremes_file):
        lazy = register_io_source(lambda *_: frames(), schema=schema)
        try:
            lazy.sink_parquet(
                samples_file,
                compression="lz4",
                row_group_size=ROW_GROUP,
                statistics=False,
                metadata=metadata,
            )
        # The engine of polars may turn an error of ours into a panic, which is no Exception.
        except BaseException as error:
            if failure:
                raise failure[0] from None
            if isinstance(error, pl.exceptions.PolarsError):
                raise _not_stored(path, str(error)) from error
            raise
        if failure:
            raise failure[0]
        pyramid.frame().write_parquet(extremes_file, metadata=pyramid.metadata())


def _frame(block: Block, columns: tuple[str, ...], first: int, *, with_times: bool) -> pl.DataFrame:
    here = slice(first, first + ROW_GROUP)
    data: dict[str, NDArray[np.floating]] = {}
    if with_times and block.times is not None:
        data[TIME] = block.times[here]
    data.update(zip(columns, (part[here] for part in block.samples), strict=True))
    return pl.DataFrame(data)


@contextmanager
def _in_place_of(path: Path, other: Path) -> Iterator[tuple[Path, Path]]:
    """Two files that take their names when both are complete, the first one last."""
    mark = f".{secrets.token_hex(6)}.part"
    temporary = path.with_name(path.name + mark), other.with_name(other.name + mark)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield temporary
        for each in temporary:
            with each.open("rb") as file:
                os.fsync(file.fileno())
        temporary[1].replace(other)
        temporary[0].replace(path)
    except OSError as error:
        raise _not_stored(path, error.strerror or str(error)) from error
    finally:
        for each in temporary:
            with suppress(OSError):  # what went wrong before is what counts
                each.unlink(missing_ok=True)


def _not_stored(path: Path, reason: str) -> RecordingError:
    return RecordingError(
        f"The capture can't be stored: {reason}.",
        where=path.name,
        remedy="Make room, or choose another folder.",
    )
