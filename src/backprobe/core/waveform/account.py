"""A long row of values in bounded room: statistics of all, and some of them kept.

All values are kept up to a limit. Beyond it every second kept one is dropped and only every second
(fourth, eighth...) of those that follow is kept. Number, mean, standard deviation, lowest and
highest are always those of all values.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_KEPT = 1 << 18


@dataclass(frozen=True, eq=False)
class Summary:
    """Values over time and their statistics.

    Parameters
    ----------
    count : int
        Number of values.
    mean, deviation, lowest, highest : float
        Of all values; ``deviation`` is the standard deviation of the sample (n - 1), NaN for fewer
        than two values; all are NaN without values.
    lowest_at, highest_at : float
        Instants of the extremes, s.
    instants, values : ndarray, shape (n_kept,)
        Instants (s) and values that were kept.
    stride : int
        Every how many-th value was kept: 1 = all.
    """

    count: int
    mean: float
    deviation: float
    lowest: float
    highest: float
    lowest_at: float
    highest_at: float
    instants: Array
    values: Array
    stride: int

    @property
    def mean_uncertainty(self) -> float:
        """Standard uncertainty of the mean from the spread ([jcgm100], 4.2.3)."""
        return self.deviation / float(np.sqrt(self.count)) if self.count else np.nan


class Account:
    """Gathers values that come in blocks.

    Parameters
    ----------
    most_kept : int
        How many values are kept at most, >= 2.
    """

    def __init__(self, most_kept: int = MOST_KEPT) -> None:
        self._most = most_kept
        self._count = 0
        self._mean = self._squares = 0.0
        self._lowest = self._highest = self._lowest_at = self._highest_at = np.nan
        self._stride = 1
        self._kept: list[tuple[Array, Array]] = []
        self._n_kept = 0

    def add(self, instants: Array, values: Array) -> None:
        """Add values; NaN (not defined there) are left out.

        Parameters
        ----------
        instants, values : ndarray, shape (n,)
            Instants, s, and values.
        """
        is_there = ~np.isnan(values)
        if not is_there.all():
            instants, values = instants[is_there], values[is_there]
        if values.size == 0:
            return
        lowest, highest = int(values.argmin()), int(values.argmax())
        if not self._lowest <= values[lowest]:
            self._lowest, self._lowest_at = float(values[lowest]), float(instants[lowest])
        if not self._highest >= values[highest]:
            self._highest, self._highest_at = float(values[highest]), float(instants[highest])
        first = -self._count % self._stride
        self._keep(instants[first :: self._stride], values[first :: self._stride])
        # Means and sums of squares of two parts together: [chan1983], eq. (2.1).
        mean = float(values.mean())
        total, step = self._count + values.size, mean - self._mean
        self._squares += float(((values - mean) ** 2).sum())
        self._squares += step**2 * self._count * values.size / total
        self._mean += step * values.size / total
        self._count = total

    def _keep(self, instants: Array, values: Array) -> None:
        self._kept.append((instants.copy(), values.copy()))
        self._n_kept += values.size
        while self._n_kept > self._most:
            all_instants, all_values = self._joined()
            self._kept = [(all_instants[::2].copy(), all_values[::2].copy())]
            self._n_kept = self._kept[0][1].size
            self._stride *= 2

    def _joined(self) -> tuple[Array, Array]:
        if not self._kept:
            return np.zeros(0), np.zeros(0)
        return np.concatenate([t for t, _ in self._kept]), np.concatenate(
            [v for _, v in self._kept]
        )

    def result(self) -> Summary:
        """The summary of all values so far."""
        instants, values = self._joined()
        deviation = float(np.sqrt(self._squares / (self._count - 1))) if self._count > 1 else np.nan
        return Summary(
            self._count,
            self._mean if self._count else np.nan,
            deviation,
            self._lowest,
            self._highest,
            self._lowest_at,
            self._highest_at,
            instants,
            values,
            self._stride,
        )
