"""Where each unknown of a hypothesis lies among its standard normal coordinates.

Coordinates ``z`` are laid out as: static values; driven quantities by state; their change from
round to round; black-lead offset and gain by round; the meter's gain error and its ranges'
offsets; the offset of each black-lead point.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.sheet import N_RANGE, Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each kind of coordinate lies in z. P, S, Q, R as in `HypothesisTable`."""

    n_free: int
    states: tuple[int, ...]
    n_driven: int
    n_round: int
    n_point: int = 1

    @property
    def size(self) -> int:
        """Number of coordinates."""
        per_round = self.n_round * (self.n_driven + 2)
        own = 1 + N_RANGE + self.n_point
        return self.n_free + len(self.states) * self.n_driven + per_round + own

    def base(self, state: int) -> slice:
        """Coordinates of the driven quantities in a state."""
        start = self.n_free + self.states.index(state) * self.n_driven
        return slice(start, start + self.n_driven)

    def change(self, r: int) -> slice:
        """Coordinates of their change in a round."""
        start = self.n_free + len(self.states) * self.n_driven + r * self.n_driven
        return slice(start, start + self.n_driven)

    def lead(self, r: int) -> tuple[int, int]:
        """Coordinates of black-lead offset and gain in a round."""
        start = self.meter - 2 * self.n_round + 2 * r
        return start, start + 1

    def point(self, number: int) -> int:
        """Coordinate of a black-lead point's own offset, shared by all rounds on it."""
        return self.size - self.n_point + number

    @property
    def meter(self) -> int:
        """Coordinate of the meter's own gain error; its ranges' offsets follow it."""
        return self.size - self.n_point - N_RANGE - 1


def layout_of(table: HypothesisTable, sheet: Sheet) -> Layout:
    """Layout of the coordinates for a sheet."""
    return Layout(
        table.static.centre.shape[1],
        sheet.states,
        table.driven_slot.shape[1],
        len(sheet.rounds),
        sheet.n_point,
    )


def base_index(table: HypothesisTable, layout: Layout, state: int) -> IntArray:
    """Coordinate of each driven quantity in a state, (M, Q)."""
    start = np.zeros(max(layout.states, default=0) + 1, dtype=np.int64)
    for known in layout.states:
        start[known] = layout.base(known).start
    return start[table.base_of(layout.states, state)] + np.arange(layout.n_driven)


def carry_bases(table: HypothesisTable, known: Array, old: Layout, new: Layout, z: Array) -> Array:
    """Coordinates ``z`` of a new layout with those of the driven quantities that an old one knows.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    known : ndarray, shape (M, n_z of old)
    old, new : Layout
    z : ndarray, shape (M, n_z of new)

    Returns
    -------
    ndarray, shape (M, n_z of new)
    """
    carried = z.copy()
    for state in new.states:
        own = table.driven_alias[:, state]
        for other in reversed(old.states):
            same = table.driven_alias[:, other] == own
            at = new.base(state)
            carried[:, at] = np.where(same, known[:, old.base(other)], carried[:, at])
    return carried
