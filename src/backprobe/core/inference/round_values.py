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
class RoundPlan:
    """What values in R rounds follow from, apart from the coordinates; S sets a round.

    static, driven : priors, (M, F) and (M, R, S, Q).
    step : ndarray, shape (M, 1 or R, 1 or S, Q): change of a driven quantity by its coordinate.
    base_at : ndarray of int, shape (M, R, S, Q): coordinates of the driven quantities.
    change_at : ndarray of int, shape (R, Q): coordinates of their changes.
    fixed : ndarray, shape (M, 1, 1, P + 1): values known beforehand; the last slot takes the pads.
    static_slot, driven_slot : ndarray of int, shapes (M, F) and (M, Q): P where there is none.
    n_z : number of coordinates.
    """

    static: PriorTable
    driven: PriorTable
    step: Array
    base_at: IntArray
    change_at: IntArray
    fixed: Array
    static_slot: IntArray
    driven_slot: IntArray
    n_z: int

    @property
    def shape(self) -> tuple[int, int, int]:
        """M, R and S."""
        n_m, n_r, n_s, _ = self.base_at.shape
        return n_m, n_r, n_s


@dataclass(frozen=True, slots=True)
class RoundValues:
    """Values of M hypotheses in R rounds; S sets a round (two where a round spans a movement).

    plan : what they follow from.
    value : ndarray, shape (M, R, S, P)
    static_slope : ndarray, shape (M, F): d value / d z of the static ones.
    base_slope, change_slope : ndarray, shape (M, R, S, Q): of the driven ones by their base
        coordinate and by their change.
    """

    plan: RoundPlan
    value: Array
    static_slope: Array
    base_slope: Array
    change_slope: Array

    def chain(self, by_value: Array, rounds: list[int] | None = None) -> Array:
        """Chain rule from wanted values to coordinates.

        Parameters
        ----------
        by_value : ndarray, shape (M, R, S, X, F + Q)
            Derivatives of X quantities by the wanted values of each set.
        rounds : list of int, optional
            The rounds that these are of; all of them by default.

        Returns
        -------
        ndarray, shape (M, R, X, n_z)
        """
        plan = self.plan
        which = np.arange(plan.base_at.shape[1]) if rounds is None else np.array(rounds)
        n_m, n_r, n_s, n_x, _ = by_value.shape
        n_f = self.static_slope.shape[1]
        out = np.zeros((n_m, n_r, n_x, plan.n_z))
        static = by_value[..., :n_f].sum(axis=2) if n_s > 1 else by_value[:, :, 0, :, :n_f]
        out[..., :n_f] = static * self.static_slope[:, None, None, :]
        driven = by_value[..., n_f:]
        hypothesis, place = np.arange(n_m)[:, None, None], np.arange(n_r)[:, None]
        for s in range(n_s):
            at = plan.base_at[:, which, s]  # (M, R, Q), each once in a round
            moved = driven[:, :, s] * self.base_slope[:, which, s][:, :, None]
            moved = np.swapaxes(moved, 2, 3)
            # Advanced indices on both sides of a slice: the slice's axis goes last.
            if s > 0:
                moved = moved + out[hypothesis, place, :, at]
            out[hypothesis, place, :, at] = moved
        changed = (driven * self.change_slope[:, which][:, :, :n_s, None]).sum(axis=2)
        for number, r in enumerate(which):
            out[:, number][..., plan.change_at[r]] = changed[:, number]
        return out


def plan_rounds(table: HypothesisTable, layout: Layout, sheet: Sheet) -> RoundPlan:
    """Look up what the values in the rounds of a sheet follow from.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    layout : Layout
        Of the coordinates.
    sheet : Sheet
        Its rounds.

    Returns
    -------
    RoundPlan
        See there.
    """
    n_set = 2 if any(r.spans for r in sheet.rounds) else 1
    states = np.array([(r.state, r.state_high)[:n_set] for r in sheet.rounds], dtype=np.int64)
    states = states.reshape(-1, n_set)
    n_m, n_r, n_q = table.n_wire.size, len(sheet.rounds), layout.n_driven
    known, number = np.unique(states, return_inverse=True)
    bases = [base_index(table, layout, int(s)) for s in known]
    stacked = np.stack(bases, axis=1) if bases else np.zeros((n_m, 0, n_q), dtype=np.int64)
    driven = table.driven_prior.in_states(states)
    starts = np.array([layout.change(r).start for r in range(n_r)], dtype=np.int64)
    n_p = table.fixed.shape[1]
    return RoundPlan(
        static=table.static,
        driven=driven,
        step=np.where(driven.is_choice, 0.0, table.driven_step[:, None, None]),
        base_at=stacked[:, number.reshape(states.shape)],
        change_at=starts[:, None] + np.arange(n_q),
        fixed=np.concatenate([table.fixed, np.zeros((n_m, 1))], axis=1)[:, None, None],
        static_slot=np.where(table.free_slot < 0, n_p, table.free_slot),
        driven_slot=np.where(table.driven_slot < 0, n_p, table.driven_slot),
        n_z=layout.size,
    )


def round_values(plan: RoundPlan, z: Array) -> RoundValues:
    """Values of every slot in every round.

    Parameters
    ----------
    plan : RoundPlan
        Of M hypotheses in R rounds.
    z : ndarray, shape (M, n_z)
        Coordinates.

    Returns
    -------
    RoundValues
    """
    (n_m, n_r, n_s), n_p = plan.shape, plan.fixed.shape[3] - 1
    static, static_slope = to_values(plan.static, z[:, : plan.static.centre.shape[1]])
    rows = np.arange(n_m)[:, None]
    level, slope = to_values(plan.driven, z[rows[:, :, None, None], plan.base_at])
    moved = level + plan.step * z[:, plan.change_at][:, :, None]
    limited = np.clip(moved, plan.driven.lowest, plan.driven.highest)
    free = limited == moved
    value = np.empty((n_m, n_r, n_s, n_p + 1))
    value[...] = plan.fixed
    # Advanced indices on both sides of a slice: their axes go first, (M, F or Q, R, S).
    value[rows, :, :, plan.static_slot] = static[:, :, None, None]
    value[rows, :, :, plan.driven_slot] = np.moveaxis(limited, 3, 1)
    return RoundValues(
        plan=plan,
        value=np.ascontiguousarray(value[..., :-1]),
        static_slope=static_slope,
        base_slope=np.where(free, slope, 0.0),
        change_slope=np.where(free, plan.step, 0.0),
    )
