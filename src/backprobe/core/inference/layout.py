"""Where each unknown of a hypothesis lies among its standard normal coordinates.

Coordinates ``z`` are laid out as: static values; driven quantities by state; their change from
round to round; driven choices by round and its ends; black-lead offset and gain by round; the
meter's gain error and its ranges' offsets; the offset of each black-lead point.
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
    """Where each kind of coordinate lies in z. P, S, Q, R, C as in `HypothesisTable`.

    ends : state of the driven quantities in each round, or the two states that it moves between
        (all have two where one has).
    held : whether nothing but wire and connector was moved in each round; empty: in none.
    """

    n_free: int
    states: tuple[int, ...]
    n_driven: int
    ends: tuple[tuple[int, ...], ...]
    n_point: int = 1
    n_choice: int = 0
    held: tuple[bool, ...] = ()

    @property
    def n_round(self) -> int:
        """Rounds."""
        return len(self.ends)

    @property
    def n_end(self) -> int:
        """Ends of each round: 2 where one of them spans a movement."""
        return len(self.ends[0]) if self.ends else 1

    @property
    def size(self) -> int:
        """Number of coordinates."""
        per_round = self.n_round * (self.n_driven + self.n_end * self.n_choice + 2)
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

    def choice(self, r: int, end: int = 0) -> slice:
        """Coordinates of the driven choices in a round, at one of its ends."""
        start = self.n_free + (len(self.states) + self.n_round) * self.n_driven
        start += (r * self.n_end + end) * self.n_choice
        return slice(start, start + self.n_choice)

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
        tuple((r.state, r.state_high)[: sheet.n_end] for r in sheet.rounds),
        sheet.n_point,
        table.choice_at.shape[1],
        tuple(r.wiggled for r in sheet.rounds),
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


def start_choices(table: HypothesisTable, hypothesis: IntArray, layout: Layout, z: Array) -> Array:
    """Coordinates with the driven choices in all rounds as the bases of their states say.

    Parameters
    ----------
    table : HypothesisTable
        All hypotheses.
    hypothesis : ndarray of int, shape (M,)
        Hypothesis of each row.
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)

    Returns
    -------
    ndarray, shape (M, n_z)
    """
    out = z.copy()
    place, row = np.maximum(table.choice_at, 0), np.arange(len(z))[:, None]
    for state in layout.states:
        at = np.take_along_axis(base_index(table, layout, state), place, axis=1)[hypothesis]
        for r, ends in enumerate(layout.ends):
            for end, own in enumerate(ends):
                if own == state:
                    out[:, layout.choice(r, end)] = z[row, at]
    return out


def last_choices(
    rows: HypothesisTable, known: Array, old: Layout, state: int
) -> tuple[Array, IntArray]:
    """Coordinates of the driven choices in the last round of an old layout that shares a state.

    Parameters
    ----------
    rows : HypothesisTable
        M hypotheses.
    known : ndarray, shape (M, n_z of old)
    old : Layout
    state : int

    Returns
    -------
    z : ndarray, shape (M, C): 0 where there is no such round.
    at : ndarray of int, shape (M, C): where it was among the old coordinates, -1: nowhere.
    """
    place, row = np.maximum(rows.choice_at, 0), np.arange(rows.n_wire.size)[:, None]
    own = rows.driven_alias[row, state, place]
    at = np.full(own.shape, -1)
    for r, ends in enumerate(old.ends):
        # Where both ends share a value, the first one holds it.
        for end, other in reversed(list(enumerate(ends))):
            choice = old.choice(r, end)
            same = rows.driven_alias[row, other, place] == own
            at = np.where(same, np.arange(choice.start, choice.stop), at)
    return np.where(at >= 0, known[row, np.maximum(at, 0)], 0.0), at
