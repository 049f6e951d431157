"""Values of every slot in every round, and the chain rule back to the coordinates."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, base_index
from backprobe.core.inference.prior import PriorTable, to_values
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RoundValues:
    """Values of M hypotheses in R rounds; S sets a round (two where a round spans a movement).

    value : ndarray, shape (M, R, S, P)
    static_slope : ndarray, shape (M, F): d value / d z of the static ones.
    base_slope, change_slope : ndarray, shape (M, R, S, Q): of the driven ones by their base
        coordinate (at a limit, towards its inside) and by their change.
    base_at : ndarray of int, shape (M, R, S, Q): where the base coordinates lie.
    change_at : ndarray of int, shape (R, Q): where the changes lie.
    n_z : number of coordinates.
    """

    value: Array
    static_slope: Array
    base_slope: Array
    change_slope: Array
    base_at: IntArray
    change_at: IntArray
    n_z: int

    def rounds(self, which: list[int]) -> "RoundValues":
        """Some of the rounds, the first set of each."""
        return RoundValues(
            self.value[:, which, :1],
            self.static_slope,
            self.base_slope[:, which, :1],
            self.change_slope[:, which, :1],
            self.base_at[:, which, :1],
            self.change_at[which],
            self.n_z,
        )

    def chain(self, by_value: Array) -> Array:
        """Chain rule from wanted values to coordinates.

        Parameters
        ----------
        by_value : ndarray, shape (M, R, S, X, F + Q)
            Derivatives of X quantities by the wanted values of each set.

        Returns
        -------
        ndarray, shape (M, R, X, n_z)
        """
        n_m, n_r, n_s, n_x, _ = by_value.shape
        n_f = self.static_slope.shape[1]
        out = np.zeros((n_m, n_r, n_x, self.n_z))
        static = by_value[..., :n_f].sum(axis=2) if n_s > 1 else by_value[:, :, 0, :, :n_f]
        out[..., :n_f] = static * self.static_slope[:, None, None, :]
        for s in range(n_s):
            driven = by_value[:, :, s, :, n_f:]
            change_at = np.broadcast_to(self.change_at, (n_m, n_r, self.change_at.shape[1]))
            for at, slope in (
                (self.base_at[:, :, s], self.base_slope[:, :, s]),
                (change_at, self.change_slope[:, :, s]),
            ):
                index = np.broadcast_to(at[:, :, None], driven.shape)
                added = np.take_along_axis(out, index, axis=3) + driven * slope[:, :, None]
                np.put_along_axis(out, index, added, axis=3)
        return out


def round_values(table: HypothesisTable, layout: Layout, sheet: Sheet, z: Array) -> RoundValues:
    """Values of every slot in every round of a sheet.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    layout : Layout
        Of the coordinates.
    sheet : Sheet
        Its rounds.
    z : ndarray, shape (M, n_z)
        Coordinates.

    Returns
    -------
    RoundValues
    """
    static, static_slope = to_values(table.static, z[:, : layout.n_free])
    n_set = 2 if any(r.spans for r in sheet.rounds) else 1
    states = np.array([(r.state, r.state_high)[:n_set] for r in sheet.rounds]).reshape(-1, n_set)
    n_m, n_r = z.shape[0], len(sheet.rounds)
    n_q = layout.n_driven
    index = {int(s): base_index(table, layout, int(s)) for s in np.unique(states)}
    base_at = np.empty((n_m, n_r, n_set, n_q), dtype=np.int64)
    for r in range(n_r):
        for s in range(n_set):
            base_at[:, r, s] = index[int(states[r, s])]
    prior = PriorTable(
        *(getattr(table.driven_prior, n)[:, states] for n in PriorTable.__dataclass_fields__)
    )
    rows = np.arange(n_m)[:, None, None, None]
    level, slope = to_values(prior, z[rows, base_at])
    change_at = np.array([np.arange(n_q) + layout.change(r).start for r in range(n_r)])
    change_at = change_at.reshape(n_r, n_q)
    step = np.where(prior.is_choice, 0.0, table.driven_step[:, None, None])
    moved = level + step * z[:, change_at][:, :, None]
    limited = np.clip(moved, prior.lowest, prior.highest)
    free = limited == moved
    value = np.empty((n_m, n_r, n_set, table.fixed.shape[1] + 1))  # a last slot takes the pads
    value[..., :-1] = table.fixed[:, None, None]
    for slots, given in ((table.free_slot, static[:, None, None]), (table.driven_slot, limited)):
        at = np.where(slots < 0, value.shape[3] - 1, slots)[:, None, None]
        shape = (n_m, n_r, n_set, slots.shape[1])
        np.put_along_axis(value, np.broadcast_to(at, shape), np.broadcast_to(given, shape), axis=3)
    return RoundValues(
        value=value[..., :-1],
        static_slope=static_slope,
        base_slope=slope,
        change_slope=np.where(free, np.broadcast_to(step, free.shape), 0.0),
        base_at=base_at,
        change_at=change_at,
        n_z=layout.size,
    )
