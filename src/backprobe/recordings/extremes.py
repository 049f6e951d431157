"""Lowest and highest samples of each stretch, so that a picture needs few numbers.

One size of stretches is enough: a thousand million samples have a million of them, whose extremes
over any bins are found within milliseconds, so that a coarser size would save nothing.
"""

import warnings
from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

FINE: Final = 1024
"""Samples in a stretch."""


class PyramidBuilder:
    """Takes samples block by block and keeps the extremes of each stretch of `FINE` samples.

    Parameters
    ----------
    columns : sequence of (str, bool)
        Name of each channel's column, and whether it is float64.
    """

    def __init__(self, columns: Sequence[tuple[str, bool]]) -> None:
        self._columns = list(columns)
        self._low: list[list[NDArray[np.floating]]] = [[] for _ in columns]
        self._high: list[list[NDArray[np.floating]]] = [[] for _ in columns]
        self._rest: list[NDArray[np.floating]] = [
            np.empty(0, np.float64 if is_double else np.float32) for _, is_double in columns
        ]
        self.n_sample = 0

    def add(self, samples: Sequence[NDArray[np.floating]]) -> None:
        """Take further samples of all channels, each of shape (n,)."""
        self.n_sample += samples[0].size
        for at, part in enumerate(samples):
            joined = np.concatenate([self._rest[at], part]) if self._rest[at].size else part
            n_whole = joined.size // FINE
            whole = joined[: n_whole * FINE].reshape(n_whole, FINE)
            self._rest[at] = joined[n_whole * FINE :].copy()
            self._take(at, whole)

    def _take(self, at: int, stretches: NDArray[np.floating]) -> None:
        # fmin and fmax pass over NaN; a stretch of nothing else stays NaN.
        self._low[at].append(np.fmin.reduce(stretches, axis=1))
        self._high[at].append(np.fmax.reduce(stretches, axis=1))

    def frame(self) -> pl.DataFrame:
        """Fine extremes, a row a stretch; the last one may be shorter. Ends the building."""
        data: dict[str, NDArray[np.floating]] = {}
        for at, _ in enumerate(self._columns):
            if self._rest[at].size:
                self._take(at, self._rest[at][None, :])
                self._rest[at] = self._rest[at][:0]
            data[f"low {at}"] = np.concatenate(self._low[at])
            data[f"high {at}"] = np.concatenate(self._high[at])
        return pl.DataFrame(data)

    def metadata(self) -> dict[str, str]:
        """What the file of extremes tells of itself."""
        return {"backprobe.extremes": f"{FINE} {self.n_sample}"}


def binned(
    low: NDArray[np.floating], high: NDArray[np.floating], edges: NDArray[np.int64]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Extremes between rising edges, shape (n_bin + 1,), of which none may coincide."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        part_low = np.fmin.reduceat(low[: edges[-1]], edges[:-1])
        part_high = np.fmax.reduceat(high[: edges[-1]], edges[:-1])
    return part_low, part_high
