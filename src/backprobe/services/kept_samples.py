"""Samples of a kept recording: for drawing, at instants, as a whole for a look at the signal."""

from __future__ import annotations

import tempfile
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError, StoreError
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import extremes_path, store_capture
from backprobe.store.files import path_of
from backprobe.store.recording import LOG, NewRecording

Array = NDArray[np.float64]

MOST_BINS: Final = 4000
MOST_LOOKED_AT: Final = 4_000_000  # samples of a channel that a look at the signal takes
_OPEN: Final = 8  # recordings kept open
_FEW: Final = 2  # samples a column up to which single samples are drawn


@dataclass(frozen=True, eq=False)
class Drawing:
    """What fits on a screen of so many columns.

    times : ndarray, shape (n_bins,): middle of each column, s.
    lowest, highest : one ndarray a channel, shape (n_bins,); NaN where nothing was recorded.
    """

    start: float
    end: float
    times: Array
    lowest: tuple[Array, ...]
    highest: tuple[Array, ...]


class KeptSamples:
    """A recording that is open for reading.

    Parameters
    ----------
    stored : StoredCapture
        Its files.
    joins : bool
        Whether a line goes on over instants without a value, as in a log whose values take turns.
    """

    def __init__(self, stored: StoredCapture, *, joins: bool = False) -> None:
        self.stored = stored
        self._joins = joins
        last = stored.n_sample - 1
        self.end = float(stored.times(last, last + 1)[0])

    @property
    def n_sample(self) -> int:
        """Samples of each channel."""
        return self.stored.n_sample

    def place(self, seconds: float) -> int:
        """Number of the sample nearest to an instant, inside of the recording."""
        after = min(self.stored.index_at(seconds), self.n_sample - 1)
        if after == 0:
            return 0
        before, at = self.stored.times(after - 1, after + 1)
        return after - 1 if seconds - before < at - seconds else after

    def drawing(self, start: float, end: float, bins: int) -> Drawing:
        """Lowest and highest samples of each of so many equal columns of time.

        Where there are fewer samples than columns, the line between them.
        """
        n_bins = int(np.clip(bins, 16, MOST_BINS))
        edges = np.linspace(start, end, n_bins + 1)
        middle = 0.5 * (edges[:-1] + edges[1:])
        inside = np.flatnonzero((middle >= self.stored.start) & (middle <= self.end))
        n_channel = len(self.stored.names)
        lows = tuple(np.full(n_bins, np.nan) for _ in range(n_channel))
        highs = tuple(np.full(n_bins, np.nan) for _ in range(n_channel))
        if inside.size:
            first = max(self.stored.index_at(edges[inside[0]]) - 1, 0)
            last = min(self.stored.index_at(edges[inside[-1] + 1]) + 1, self.n_sample)
            few = last - first <= _FEW * inside.size or not self.stored.is_even
            put = self._line if few else self._columns
            for channel in range(n_channel):
                low, high = put(channel, first, last, edges[inside[0] : inside[-1] + 2])
                lows[channel][inside], highs[channel][inside] = low, high
        return Drawing(start, end, middle, lows, highs)

    def _columns(self, channel: int, first: int, last: int, edges: Array) -> tuple[Array, Array]:
        """Stored extremes, each column from the bins that it meets."""
        found = self.stored.extremes(channel, first, last, edges.size - 1)
        times = self.stored.start + self.stored.interval * found.edges
        begin = np.searchsorted(times, edges[:-1], side="right") - 1
        stop = np.maximum(np.searchsorted(times, edges[1:], side="left"), begin + 1)
        begin = np.clip(begin, 0, found.low.size - 1)
        stop = np.clip(stop, begin + 1, found.low.size)
        low = np.array([np.fmin.reduce(found.low[a:b]) for a, b in zip(begin, stop, strict=True)])
        high = np.array([np.fmax.reduce(found.high[a:b]) for a, b in zip(begin, stop, strict=True)])
        return low, high

    def _line(self, channel: int, first: int, last: int, edges: Array) -> tuple[Array, Array]:
        """Samples in each column, and where there is none the line between its neighbours."""
        times = self.stored.times(first, last)
        samples = self.stored.samples(channel, first, last).astype(np.float64)
        if self._joins:
            times, samples = times[np.isfinite(samples)], samples[np.isfinite(samples)]
            if not samples.size:
                nothing = np.full(edges.size - 1, np.nan)
                return nothing, nothing
        middle = 0.5 * (edges[:-1] + edges[1:])
        between = np.interp(middle, times, samples)
        low, high = between.copy(), between.copy()
        # A sample on the outer edge, or beyond it by a rounding, belongs to the outer column.
        slack = 1e-6 * (edges[1] - edges[0])
        inside = (times >= edges[0] - slack) & (times <= edges[-1] + slack) & np.isfinite(samples)
        column = np.clip(np.searchsorted(edges, times, side="right") - 1, 0, middle.size - 1)
        np.fmin.at(low, column[inside], samples[inside])
        np.fmax.at(high, column[inside], samples[inside])
        return low, high

    def at(self, channel: int, seconds: float) -> tuple[float, float]:
        """Instant and value of the sample nearest to an instant."""
        number = self.place(seconds)
        value = self.stored.samples(channel, number, number + 1)
        return float(self.stored.times(number, number + 1)[0]), float(value[0])

    def looked_at(self, channel: int, start: float, end: float) -> tuple[Array, float, float]:
        """Samples of a span, their interval and first instant; the first few million of them.

        Samples that are not evenly spaced are joined by lines and taken anew at even steps: the
        shortest usual step, or what makes a few million of the span.
        """
        first, last = self.place(start), self.place(end) + 1
        last = min(last, first + MOST_LOOKED_AT)
        samples = np.asarray(self.stored.samples(channel, first, last), dtype=np.float64)
        if not self.stored.is_even and last - first > 1:
            return _even(self.stored.times(first, last), samples)
        return samples, self.stored.interval, float(self.stored.times(first, first + 1)[0])


def _even(times: Array, samples: Array) -> tuple[Array, float, float]:
    """Samples at even steps, on the lines between those at uneven ones."""
    span = float(times[-1] - times[0])
    step = max(float(np.quantile(np.diff(times), 0.05)), span / MOST_LOOKED_AT)
    clock = times[0] + step * np.arange(int(span / step) + 1)
    return np.interp(clock, times, samples), step, float(times[0])


class KeptShelf:
    """Recordings that were opened lately, so that a move of the picture opens nothing.

    Parameters
    ----------
    folder : Path
        Where files are kept under the hash of their content.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._open: OrderedDict[str, KeptSamples] = OrderedDict()
        self._lock = Lock()

    def opened(self, told: NewRecording) -> KeptSamples:
        """Samples of a recording.

        Raises
        ------
        StoreError
            Its files are missing or damaged.
        """
        with self._lock:
            found = self._open.get(told.samples_sha256)
            if found is None:
                found = self._open_files(told)
                self._open[told.samples_sha256] = found
                if len(self._open) > _OPEN:
                    self._open.popitem(last=False)
            self._open.move_to_end(told.samples_sha256)
            return found

    def _open_files(self, told: NewRecording) -> KeptSamples:
        samples = path_of(self._folder, told.samples_sha256)
        try:
            if not extremes_path(samples).is_file():
                _make_extremes(samples)
            return KeptSamples(StoredCapture.open(samples), joins=told.kind == LOG)
        except (OSError, RecordingError) as error:
            raise StoreError(
                f'The samples of "{told.name}" can\'t be read.',
                where=str(samples),
                remedy="Run `backprobe doctor`; a backup may still have them.",
            ) from error


def _make_extremes(samples: Path) -> None:
    """Work out anew what a backup doesn't hold, since it follows from the samples."""
    with tempfile.TemporaryDirectory(dir=samples.parent) as folder:
        again = Path(folder) / "again"
        store_capture(samples, again)
        extremes_path(again).replace(extremes_path(samples))
