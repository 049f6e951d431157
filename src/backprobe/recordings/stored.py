"""A stored capture: opened at once, any stretch of it read or drawn within milliseconds."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from tsdownsample import MinMaxLTTBDownsampler

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.extremes import FINE, binned
from backprobe.recordings.parquet import TIME, StoredHead, read_head, read_rows
from backprobe.recordings.stored_writer import extremes_path

_WIDE: Final = 2 * FINE
"""Bins of at least so many samples are put together from stored extremes."""

_BLOCK: Final = 1 << 20


@dataclass(frozen=True, slots=True, eq=False)
class Extremes:
    """Lowest and highest samples of stretches that follow each other without gap.

    Parameters
    ----------
    edges : ndarray of int, shape (n_bin + 1,)
        Index of the first sample of each bin, and the one after the last bin.
    low, high : ndarray, shape (n_bin,)
        Extremes of the samples in the bin; NaN where it holds nothing else.
    """

    edges: NDArray[np.int64]
    low: NDArray[np.floating]
    high: NDArray[np.floating]


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Points of a line to be drawn; NaN parts it where nothing was recorded.

    Parameters
    ----------
    index : ndarray of int, shape (n_point,)
        Index of the sample of each point.
    samples : ndarray, shape (n_point,)
        Its value.
    """

    index: NDArray[np.int64]
    samples: NDArray[np.floating]


class StoredCapture:
    """A capture in a file, of which only what is asked for comes into memory.

    Make one with `StoredCapture.open`. Channels are counted from zero, samples too; a stretch goes
    from ``first`` up to, not including, ``last``.
    """

    def __init__(self, path: Path, head: StoredHead) -> None:
        self._path = path
        self._head = head
        self._extremes: pl.DataFrame | None = None

    @classmethod
    def open(cls, path: Path) -> "StoredCapture":
        """Open a stored capture.

        Raises
        ------
        RecordingError
            It isn't there, isn't a stored capture, or is damaged.
        """
        if not path.is_file():
            raise RecordingError(
                "There is no such stored capture.", where=path.name, remedy="Store it again."
            )
        head = read_head(path)
        if head is None:
            raise RecordingError(
                "This Parquet file isn't a stored capture.",
                where=path.name,
                remedy="Bring it into one with store_capture.",
            )
        return cls(path, head)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the channels."""
        return self._head.names

    @property
    def units(self) -> tuple[str, ...]:
        """Units of the channels."""
        return self._head.units

    @property
    def interval(self) -> float:
        """Time from sample to sample, s; the mean one where they aren't evenly spaced."""
        return self._head.interval

    @property
    def start(self) -> float:
        """Instant of the first sample, s."""
        return self._head.start

    @property
    def is_even(self) -> bool:
        """Whether samples are evenly spaced."""
        return self._head.is_even

    @property
    def n_sample(self) -> int:
        """Samples of each channel."""
        return self._head.n_sample

    @property
    def source(self) -> str:
        """Name of the recording that it was made from."""
        return self._head.source

    @property
    def remarks(self) -> tuple[str, ...]:
        """What its reader had to say."""
        return self._head.remarks

    def samples(
        self, channel: int, first: int = 0, last: int | None = None
    ) -> NDArray[np.floating]:
        """Samples of a stretch; NaN where nothing was recorded."""
        begin, end = self._stretch(first, last)
        return self._column(self._head.columns[channel], begin, end)

    def times(self, first: int = 0, last: int | None = None) -> NDArray[np.float64]:
        """Instants of a stretch, s."""
        begin, end = self._stretch(first, last)
        if self._head.is_even:
            return self._head.start + self._head.interval * np.arange(begin, end, dtype=np.float64)
        return self._column(TIME, begin, end).astype(np.float64)

    def index_at(self, time: float) -> int:
        """Index of the first sample at or after an instant, s; ``n_sample`` after the last one."""
        if self._head.is_even:
            steps = (time - self._head.start) / self._head.interval
            # A rounding of the division doesn't pass over the sample that is meant.
            return int(np.clip(np.ceil(steps - 1e-6), 0, self.n_sample))
        low, high = 0, self.n_sample
        while high - low > FINE:
            middle = (low + high) // 2
            if self._column(TIME, middle, middle + 1)[0] < time:
                low = middle + 1
            else:
                high = middle
        return low + int(np.searchsorted(self._column(TIME, low, high), time, side="left"))

    def blocks(self, size: int = _BLOCK) -> Iterator[Capture]:
        """The whole capture in pieces of ``size`` samples, the last one shorter."""
        for begin in range(0, self.n_sample, size):
            yield self.part(begin, min(begin + size, self.n_sample))

    def part(self, first: int, last: int | None = None) -> Capture:
        """A stretch of all channels as a capture."""
        begin, end = self._stretch(first, last)
        head = self._head
        times = None if head.is_even else self.times(begin, end)
        start = head.start + begin * head.interval if times is None else float(times[0])
        channels = tuple(
            CaptureChannel(name, unit, self._column(column, begin, end))
            for name, unit, column in zip(head.names, head.units, head.columns, strict=True)
        )
        return Capture(channels, head.interval, start, times, head.source, head.remarks)

    def extremes(self, channel: int, first: int, last: int | None, n_bin: int) -> Extremes:
        """Lowest and highest samples in each of about ``n_bin`` bins of a stretch.

        They are exact for the edges given back: all samples count, none twice. Bins of many samples
        have their inner edges at multiples of `FINE` samples, so that they differ in width by as
        much; with fewer samples than bins each sample is a bin.
        """
        begin, end = self._stretch(first, last)
        n_bin = max(1, min(n_bin, end - begin))
        edges = begin + (np.arange(n_bin + 1, dtype=np.int64) * (end - begin)) // n_bin
        if end - begin < _WIDE * n_bin:
            part = self._column(self._head.columns[channel], begin, end)
            low, high = binned(part, part, edges - begin)
            return Extremes(edges, low, high)
        edges[1:-1] = (edges[1:-1] + FINE // 2) // FINE * FINE
        return self._from_stored(channel, edges)

    def _from_stored(self, channel: int, edges: NDArray[np.int64]) -> Extremes:
        """Extremes of wide bins: stored ones inside, samples at both ends."""
        begin, end = int(edges[0]), int(edges[-1])
        first, last = -(-begin // FINE), end // FINE  # whole stretches inside
        if end == self.n_sample:
            last = -(-end // FINE)  # the last one may be shorter
        stored = self._stored_extremes()
        low = stored[f"low {channel}"].to_numpy()[first:last]
        high = stored[f"high {channel}"].to_numpy()[first:last]
        inner = edges // FINE - first
        inner[0], inner[-1] = 0, last - first
        bin_low, bin_high = binned(low, high, inner)
        column = self._head.columns[channel]
        for at, head_or_tail in ((0, (begin, first * FINE)), (-1, (last * FINE, end))):
            if head_or_tail[1] > head_or_tail[0]:
                samples = self._column(column, *head_or_tail)
                bin_low[at] = np.fmin(bin_low[at], np.fmin.reduce(samples))
                bin_high[at] = np.fmax(bin_high[at], np.fmax.reduce(samples))
        return Extremes(edges, bin_low, bin_high)

    def line(self, channel: int, first: int, last: int | None, n_point: int) -> Line:
        """About ``n_point`` points whose line looks like all samples of a stretch.

        Samples are chosen by MinMaxLTTB, between gaps of NaN only; few of them are all given.
        Meant for stretches of some million samples at most; take `extremes` beyond.
        """
        begin, end = self._stretch(first, last)
        part = self._column(self._head.columns[channel], begin, end)
        if part.size <= n_point:
            return Line(np.arange(begin, end, dtype=np.int64), part)
        index = _chosen(part, n_point)
        return Line(index + begin, part[index])

    def _stretch(self, first: int, last: int | None) -> tuple[int, int]:
        end = self.n_sample if last is None else last
        if not 0 <= first < end <= self.n_sample:
            raise RecordingError(
                f"There is no stretch from sample {first} to {end}.",
                where=self._path.name,
                remedy=f"The capture has samples 0 to {self.n_sample}.",
            )
        return first, end

    def _column(self, column: str, begin: int, end: int) -> NDArray[np.floating]:
        series = read_rows(self._path, [column], begin, end - begin)[column]
        return np.asarray(series.to_numpy())

    def _stored_extremes(self) -> pl.DataFrame:
        """The extremes, read once."""
        if self._extremes is None:
            path = extremes_path(self._path)
            n_row = -(-self.n_sample // FINE)
            columns = [f"{side} {at}" for at in range(len(self.names)) for side in ("low", "high")]
            if not path.is_file():
                raise _no_extremes(path)
            found = read_rows(path, columns, 0, n_row + 1)
            if found.height != n_row:
                raise _no_extremes(path)
            self._extremes = found
        return self._extremes


def _no_extremes(path: Path) -> RecordingError:
    return RecordingError(
        "The extremes of this stored capture are missing or belong to another one.",
        where=path.name,
        remedy="Keep both files together, or store the capture again.",
    )


def _chosen(samples: NDArray[np.floating], n_point: int) -> NDArray[np.int64]:
    """Indices of the points of a line; each gap keeps one NaN, which parts the line."""
    is_gap = np.isnan(samples)
    if not is_gap.any():
        return _between_gaps(samples, n_point)
    borders = np.flatnonzero(np.diff(is_gap)) + 1
    starts = np.concatenate([[0], borders])
    ends = np.concatenate([borders, [samples.size]])
    found = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if is_gap[start]:
            found.append(np.array([start], dtype=np.int64))
        else:
            share = max(2, round(n_point * (end - start) / samples.size))
            found.append(start + _between_gaps(samples[start:end], share))
    return np.concatenate(found)


def _between_gaps(samples: NDArray[np.floating], n_point: int) -> NDArray[np.int64]:
    if samples.size <= max(n_point, 3):
        return np.arange(samples.size, dtype=np.int64)
    downsampler = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]
    chosen = downsampler.downsample(samples, n_out=max(n_point, 3))
    return np.asarray(chosen, dtype=np.int64)
