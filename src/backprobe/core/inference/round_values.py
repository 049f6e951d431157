"""Values of every slot in every round, and the chain rule back to the coordinates."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.choices import track_of
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, base_index
from backprobe.core.inference.prior import PriorTable, to_values
from backprobe.core.inference.sheet import Sheet

BATTERY_SLOT = 0  # place of the battery among the driven quantities
STANDING = 0  # state of the driven quantities while the engine stands

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """What values in R rounds follow from, apart from the coordinates; S sets a round.

    prior : PriorTable, (M, F + R S Q)
        Of the static values, then of the driven quantities in each set.
    at : ndarray of int, shape (M, F + R S Q)
        Places of their coordinates among z (M, n_z) laid flat.
    step : ndarray, shape (M, R, S, Q): change of a driven quantity by its coordinate.
    base_at : ndarray of int, shape (M, R, S, Q): coordinates of the driven quantities; a choice has
        its own in each round.
    change_at : ndarray of int, shape (R, Q): coordinates of their changes.
    fixed : ndarray, shape (M, P): values known beforehand.
    source : ndarray of int, shape (M, R, S, P)
        Where the value of each slot comes from, among (M, P + F + R S Q) laid flat.
    n_z : number of coordinates.
    spared : ndarray of bool, shape (R, S): where the fault that comes and goes isn't there.
    severity_at, severity_slot : ndarray of int, shape (M,)
        Place of the severity of such a fault among the free values, and its slot; -1: none.
    absent : ndarray, shape (M,): its value there.
    """

    prior: PriorTable
    at: IntArray
    step: Array
    base_at: IntArray
    change_at: IntArray
    fixed: Array
    source: IntArray
    n_z: int
    spared: Bools
    severity_at: IntArray
    severity_slot: IntArray
    absent: Array

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
    static_slope : ndarray, shape (M, R, S, F): d value / d z of the static ones; (M, 1, 1, F) where
        it is the same everywhere.
    base_slope, change_slope : ndarray, shape (M, R, S, Q): of the driven ones by their base
        coordinate (at a limit, towards its inside) and by their change.
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
        static_slope = self.static_slope
        n_f, is_same = static_slope.shape[3], static_slope.shape[1:3] == (1, 1)
        out = np.zeros((n_m, n_r, n_x, plan.n_z))
        static = by_value[..., :n_f]
        if is_same:
            static = static.sum(axis=2) if n_s > 1 else static[:, :, 0]
            out[..., :n_f] = static * static_slope[:, :, 0, None, :]
        else:
            out[..., :n_f] = (static * static_slope[:, which, :n_s, None]).sum(axis=2)
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
    n_set = sheet.n_end
    states = np.array([(r.state, r.state_high)[:n_set] for r in sheet.rounds], dtype=np.int64)
    states = states.reshape(-1, n_set)
    n_m, n_r, n_q = table.n_wire.size, len(sheet.rounds), layout.n_driven
    known, number = np.unique(states, return_inverse=True)
    bases = [base_index(table, layout, int(s)) for s in known]
    stacked = np.stack(bases, axis=1) if bases else np.zeros((n_m, 0, n_q), dtype=np.int64)
    base_at = stacked.take(number.reshape(states.shape), axis=1)  # (M, R, S, Q)
    driven = table.driven_prior.in_states(states)
    # A choice is drawn afresh, what a state fixes is always that: neither changes by a step.
    is_steady = driven.is_choice | (driven.scale == 0.0)
    base_at = _with_choices(table, layout, base_at, driven.is_choice)
    starts = np.array([layout.change(r).start for r in range(n_r)], dtype=np.int64)
    change_at = starts[:, None] + np.arange(n_q)
    own = [q for q in range(n_q) if q != BATTERY_SLOT]
    change_at[:, own] = change_at[_as_before(sheet)][:, own]
    row = np.arange(n_m)[:, None]
    comes = np.where(np.isnan(table.absent), -1, table.severity_at)
    static_at = np.broadcast_to(np.arange(layout.n_free), (n_m, layout.n_free))
    return RoundPlan(
        prior=table.static.followed_by(driven.laid_out()),
        at=np.concatenate([static_at, base_at.reshape(n_m, -1)], axis=1) + row * layout.size,
        step=np.where(is_steady, 0.0, _steps(table, sheet)[:, None, None]),
        base_at=base_at,
        change_at=change_at,
        fixed=table.fixed,
        source=_sources(table, base_at.shape),
        n_z=layout.size,
        spared=sheet.spared_ends,
        severity_at=comes,
        severity_slot=np.where(comes < 0, -1, table.free_slot[row[:, 0], comes]),
        absent=table.absent,
    )


def _as_before(sheet: Sheet) -> IntArray:
    """Round whose changes each round shares, (R,): with the engine standing, wiggling has none."""
    found = np.arange(len(sheet.rounds))
    for r, item in enumerate(sheet.rounds):
        if item.wiggled and item.state == item.state_high == STANDING:
            ends = item.state, item.state_high
            like = [k for k, o in enumerate(sheet.rounds) if (o.state, o.state_high) == ends]
            still = [k for k in like if not sheet.rounds[k].wiggled] or like
            found[r] = max((k for k in still if k < r), default=still[0])
    return found


def _steps(table: HypothesisTable, sheet: Sheet) -> Array:
    """Standard deviations of the changes from round to round, (M, Q).

    A sensor that was put into hot water on purpose changes by more than one on the engine does.
    """
    step = table.driven_step
    if sheet.warming > 0.0:
        step = step.copy()
        has = np.flatnonzero(table.celsius >= 0)
        place = has, table.celsius[has]
        step[place] = np.maximum(step[place], sheet.warming)
    return step


def _with_choices(
    table: HypothesisTable, layout: Layout, base_at: IntArray, is_choice: Bools
) -> IntArray:
    """Coordinates of the driven quantities, a choice's in each round being its own."""
    track = track_of(table, layout)
    shape = (*base_at.shape[:3], table.choice_at.shape[1])
    own = np.broadcast_to(track.at.reshape(shape[1:]), shape)
    # An end that shares the value of the first one shares its coordinate.
    own = np.where(track.used.reshape(shape), own, own[:, :, :1])
    out = base_at.copy()
    row = np.arange(len(base_at))
    for c in range(shape[3]):
        place = np.maximum(table.choice_at[:, c], 0)
        here = is_choice[row, :, :, place] & (table.choice_at[:, c] >= 0)[:, None, None]
        out[row, :, :, place] = np.where(here, own[..., c], out[row, :, :, place])
    return out


def _sources(table: HypothesisTable, shape: tuple[int, ...]) -> IntArray:
    """`RoundPlan.source`; ``shape`` is (M, R, S, Q)."""
    n_m, n_r, n_s, n_q = shape
    n_p, n_f = table.fixed.shape[1], table.free_slot.shape[1]
    row = np.arange(n_m)[:, None]
    own = np.empty((n_m, n_p + 1), dtype=np.int64)  # a last slot takes the pads
    own[:] = np.arange(n_p + 1)
    own[row, table.free_slot] = n_p + np.arange(n_f)  # slot -1 is the last one
    own[row, table.driven_slot] = n_p + n_f + np.arange(n_q)
    own = own[:, None, :-1]  # (M, 1, P), of the first set
    later = np.arange(n_r * n_s)[:, None] * n_q
    source = np.where(own >= n_p + n_f, own + later, own)  # (M, R S, P)
    source += row[:, :, None] * (n_p + n_f + n_r * n_s * n_q)
    return np.asarray(source.reshape(n_m, n_r, n_s, n_p))


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
    n_m, n_f = z.shape[0], plan.at.shape[1] - plan.base_at[0].size
    found, slope = to_values(plan.prior, z.ravel().take(plan.at))
    moved = found[:, n_f:].reshape(plan.base_at.shape)
    moved = moved + plan.step * z.take(plan.change_at, axis=1)[:, :, None]
    lowest, highest = plan.prior.lowest[:, n_f:], plan.prior.highest[:, n_f:]
    limited = np.clip(moved.reshape(n_m, -1), lowest, highest)
    # At a limit no change is told: half of all changes leave the value where it is.
    free = ((limited > lowest) & (limited < highest)).reshape(moved.shape)
    given = np.concatenate([plan.fixed, found[:, :n_f], limited], axis=1)
    value, static_slope = given.ravel().take(plan.source), slope[:, None, None, :n_f]
    if plan.spared.any():
        static_slope = np.tile(static_slope, (1, *plan.spared.shape, 1))
        some, (rounds, ends) = np.flatnonzero(plan.severity_at >= 0)[:, None], plan.spared.nonzero()
        value[some, rounds, ends, plan.severity_slot[some]] = plan.absent[some]
        static_slope[some, rounds, ends, plan.severity_at[some]] = 0.0
    return RoundValues(
        plan=plan,
        value=value,
        static_slope=static_slope,
        base_slope=slope[:, n_f:].reshape(moved.shape),
        change_slope=np.where(free, plan.step, 0.0),
    )
