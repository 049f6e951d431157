"""Outputs that stand for a quantity by a table: hertz for flow, volts for pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

_HALVINGS: Final = 60  # more than the digits of a float


@dataclass(frozen=True, eq=False)
class TransferTable:
    """Rows of output and quantity, joined by a smooth curve that never turns between rows.

    Parameters
    ----------
    output, quantity : ndarray, shape (n_row,)
        What the sensor gives, rising; what it stands for, rising or falling.

    Raises
    ------
    ValueOutOfRange
        Fewer than two rows, or rows out of order.

    Notes
    -----
    Piecewise cubic with limited slopes [fritsch1980]. Two rows are a straight line. Beyond the
    rows nothing is known: NaN.
    """

    output: Array
    quantity: Array

    def __post_init__(self) -> None:
        step, change = np.diff(self.output), np.diff(self.quantity)
        if len(self.output) < 2 or len(self.output) != len(self.quantity):
            raise ValueOutOfRange(
                "A table needs two rows at least, each with both values.", remedy="Add rows."
            )
        if not ((step > 0.0).all() and ((change > 0.0).all() or (change < 0.0).all())):
            raise ValueOutOfRange(
                "The output has to rise from row to row, the quantity to rise or fall all along.",
                remedy="Sort the rows and check each number.",
            )

    def quantity_at(self, output: Array) -> Array:
        """What outputs stand for; NaN beyond the rows."""
        curve = PchipInterpolator(self.output, self.quantity, extrapolate=False)
        return np.asarray(curve(np.asarray(output, dtype=np.float64)))

    def output_at(self, quantity: Array) -> Array:
        """Outputs that stand for quantities; NaN beyond the rows. The curve itself, inverted."""
        wanted = np.asarray(quantity, dtype=np.float64)
        sign = 1.0 if self.quantity[-1] > self.quantity[0] else -1.0
        low = np.full(wanted.shape, self.output[0])
        high = np.full(wanted.shape, self.output[-1])
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            is_below = sign * self.quantity_at(middle) < sign * wanted
            low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
        ends = sorted((float(self.quantity[0]), float(self.quantity[-1])))
        is_known = (wanted >= ends[0]) & (wanted <= ends[1])
        return np.asarray(np.where(is_known, 0.5 * (low + high), np.nan))
