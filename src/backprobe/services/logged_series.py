"""Series of a log brought to one clock."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import UsageError

Array: TypeAlias = NDArray[np.float64]

OLDEST: Final = 3.0  # s; an answer older than this isn't held on: links give a few a second


class Series(Protocol):
    """One value over time, as `recordings.log` has it."""

    @property
    def quantity(self) -> str:
        """What it is, in the words of the job file."""

    @property
    def times(self) -> Array:
        """Instants, s, rising."""

    @property
    def values(self) -> Array:
        """Values at those instants."""


class Logged:
    """A log's series by quantity; each read at any instants.

    Parameters
    ----------
    series : sequence of Series
        The first of each quantity counts.
    """

    def __init__(self, series: Sequence[Series]) -> None:
        self._by_quantity = {each.quantity: each for each in reversed(series) if len(each.times)}

    def has(self, quantity: str) -> bool:
        """Whether it was logged."""
        return quantity in self._by_quantity

    def times(self, quantity: str) -> Array:
        """Instants of one quantity, s."""
        return self._need(quantity).times

    def at(self, quantity: str, clock: Array, oldest: float = OLDEST) -> Array:
        """The last value at or before each instant; NaN where that is too old or none is there.

        A control unit answers one item after the other, so that values of different quantities
        never share an instant.
        """
        series = self._need(quantity)
        row = np.searchsorted(series.times, clock, side="right") - 1
        held = np.maximum(row, 0)
        is_fresh = (row >= 0) & (clock - series.times[held] <= oldest)
        return np.where(is_fresh, series.values[held], np.nan)

    def _need(self, quantity: str) -> Series:
        found = self._by_quantity.get(quantity)
        if found is None:
            raise UsageError(
                f"The log holds no {quantity}.", remedy=f"Log {quantity} with the rest."
            )
        return found
