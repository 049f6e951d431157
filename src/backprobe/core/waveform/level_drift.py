"""How the state levels move over a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.account import MOST_KEPT, Account, Summary
from backprobe.core.waveform.levels import StateLevels

Array = NDArray[np.float64]
Samples = NDArray[np.floating]

PIECE = 1 << 14  # samples that one value of a level comes from
_NEAR = 0.25  # share of the amplitude that a level may have moved by
_LEAST = 8  # samples of a state in a piece that its level is taken from


@dataclass(frozen=True, eq=False)
class LevelDrift:
    """Levels piece by piece.

    Parameters
    ----------
    state_level_low, state_level_high : Summary
        Medians of the samples within a quarter of the amplitude of either level, from pieces of
        16,384 samples, by the instants of their middles; pieces with hardly any have no value.
    """

    state_level_low: Summary
    state_level_high: Summary

    @property
    def rate_low(self) -> float:
        """Slope of the low level, unit/s, by least squares; NaN from fewer than two pieces."""
        return _rate(self.state_level_low)

    @property
    def rate_high(self) -> float:
        """Slope of the high level, unit/s."""
        return _rate(self.state_level_high)


def _rate(levels: Summary) -> float:
    if levels.values.size < 2:
        return np.nan
    t = levels.instants - levels.instants.mean()
    return float(t @ (levels.values - levels.values.mean()) / (t @ t))


class DriftCounter:
    """Gathers levels from successive blocks.

    Parameters
    ----------
    levels : StateLevels
        Those of the whole record.
    interval, start : float
        Time from sample to sample and instant of the first one, s.
    most_kept : int
        Values kept of each level.
    """

    def __init__(
        self,
        levels: StateLevels,
        *,
        interval: float,
        start: float = 0.0,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self._levels, self._interval, self._start = levels, interval, start
        self._accounts = Account(most_kept), Account(most_kept)
        self._n_before = 0

    def add(self, block: Samples) -> None:
        """Add the samples that follow; all blocks but the last hold whole pieces of 16,384."""
        near = _NEAR * self._levels.amplitude
        both = (self._levels.state_level_low, self._levels.state_level_high)
        for a in range(0, block.size, PIECE):
            piece = block[a : a + PIECE]
            middle = self._n_before + a + 0.5 * (piece.size - 1)
            instant = np.array([self._start + middle * self._interval])
            for level, account in zip(both, self._accounts, strict=True):
                own = piece[np.abs(piece - piece.dtype.type(level)) <= near]
                if near > 0.0 and own.size >= _LEAST:
                    account.add(instant, np.array([float(np.median(own))]))
        self._n_before += block.size

    def result(self) -> LevelDrift:
        """What has been gathered."""
        low, high = self._accounts
        return LevelDrift(low.result(), high.result())
