"""Histogram of samples, gathered block by block.

Counting one number after another into the same place waits for the memory each time. So two
neighbouring samples are counted as one pair of bins, in a table of pairs: half as many steps, and
the histogram is the sum over both of its sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]
Samples = NDArray[np.floating]
IntArray = NDArray[np.int64]

MOST_BINS = 256  # a bin's number fits into one byte
LEAST_BINS = 4
_PIECE = 1 << 15  # samples turned into bins at once: stays within the processor's fast memory
_GATHERED = 1 << 20  # bins counted at once


@dataclass(frozen=True, eq=False)
class SampleHistogram:
    """Counts of samples in bins of one width.

    Parameters
    ----------
    lowest, highest : float
        Outer edges of the first and the last bin.
    counts : ndarray of int, shape (n_bin,)
        Samples in each bin; the last one includes its upper edge.
    """

    lowest: float
    highest: float
    counts: IntArray

    @property
    def bin_width(self) -> float:
        """Width of a bin."""
        return (self.highest - self.lowest) / self.counts.size

    @property
    def centres(self) -> Array:
        """Middle of each bin, shape (n_bin,)."""
        return np.asarray(self.lowest + (np.arange(self.counts.size) + 0.5) * self.bin_width)


class HistogramCounter:
    """Counts samples that come in blocks.

    Parameters
    ----------
    lowest, highest : float
        Range of all samples that will come; finite, ``highest > lowest``.
    bins : int
        Number of bins, 4 to 256.

    Raises
    ------
    ValueOutOfRange
        The range is empty or the number of bins unusable.
    """

    def __init__(self, lowest: float, highest: float, bins: int) -> None:
        if not LEAST_BINS <= bins <= MOST_BINS:
            raise ValueOutOfRange(
                f"A histogram needs {LEAST_BINS} to {MOST_BINS} bins, not {bins}.", "bins"
            )
        if not (np.isfinite(lowest) and np.isfinite(highest) and highest > lowest):
            raise ValueOutOfRange(f"There are no bins from {lowest} to {highest}.", "range")
        self.lowest, self.highest, self.bins = float(lowest), float(highest), bins
        self._codes = np.empty(_GATHERED, dtype=np.uint8)
        self._n_code = 0
        self._pairs = np.empty(_GATHERED // 2, dtype=np.intp)
        self._table = np.zeros(MOST_BINS * MOST_BINS, dtype=np.int64)
        self._odd = np.zeros(MOST_BINS, dtype=np.int64)
        self._scaled: Samples = np.empty(_PIECE, dtype=np.float64)

    def add(self, x: Samples) -> None:
        """Count the finite samples of a block, none of them outside of the range.

        Parameters
        ----------
        x : ndarray of float32 or float64, shape (n_samp,)
            Samples without NaN or infinite ones.
        """
        if self._scaled.dtype != x.dtype:
            self._scaled = np.empty(_PIECE, dtype=x.dtype)
        lowest = x.dtype.type(self.lowest)
        # A hair less than one bin a step, so that the highest sample falls into the last bin.
        scale = x.dtype.type(self.bins * (1.0 - 1e-6) / (self.highest - self.lowest))
        for a in range(0, x.size, _PIECE):
            piece = x[a : a + _PIECE]
            if self._n_code + piece.size > _GATHERED:
                self._count()
            scaled = self._scaled[: piece.size]
            np.subtract(piece, lowest, out=scaled)
            np.multiply(scaled, scale, out=scaled)
            codes = self._codes[self._n_code : self._n_code + piece.size]
            np.copyto(codes, scaled, casting="unsafe")
            self._n_code += piece.size

    def _count(self) -> None:
        n_even = self._n_code // 2 * 2
        pairs = self._pairs[: n_even // 2]
        np.copyto(pairs, self._codes[:n_even].view(np.uint16))
        self._table += np.bincount(pairs, minlength=self._table.size)
        if n_even < self._n_code:
            self._odd[self._codes[n_even]] += 1
        self._n_code = 0

    def result(self) -> SampleHistogram:
        """The histogram of all samples so far."""
        self._count()
        table = self._table.reshape(MOST_BINS, MOST_BINS)
        counts = table.sum(axis=0) + table.sum(axis=1) + self._odd
        return SampleHistogram(self.lowest, self.highest, counts[: self.bins])


def usual_bins(n_sample: int) -> int:
    """Bins for a number of samples: about twice its root, 16 to 256."""
    return int(np.clip(2.0 * np.sqrt(n_sample), 16, MOST_BINS))
