"""The lone sensor under an ohmmeter: resistance between its terminals, and how it moves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import evaluate_wired
from backprobe.core.circuit.plan import N_SWITCH, Mode
from backprobe.core.circuit.sensitivity import Wanted, wanted_entries
from backprobe.core.circuit.wiring import Solutions, Wiring, wire
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.round_values import RoundPlan, RoundValues
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

SMALLEST_OHM = 1e-3
THROUGH_ELECTRONICS_OHM = 5e3  # above it a reading between two active ends tells nothing


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """What is solved of the lone sensor of M hypotheses, in r of the sheet's R rounds.

    rounds : the r rounds.
    same, active, both : ndarray of bool, shape (M, 1, T, T): terminals of one passive group; with
        electronics at either of them; at both.
    wiring : of the circuits, r solutions a hypothesis, or 2 r where a sensor has a contact (open,
        closed).
    contact : ndarray of int, shape (M,): value slot of its contact's share of time closed, -1:
        none; or None where no sensor has one.
    wanted : entries to derive by, or None.
    first, second : ndarray of int, shape (M, n_pair): wires of the pairs to derive.
    """

    rounds: list[int]
    same: Bools
    active: Bools
    both: Bools
    wiring: Wiring
    contact: IntArray | None
    wanted: Wanted | None
    first: IntArray
    second: IntArray


def plan_sensor(
    table: HypothesisTable,
    plan: RoundPlan,
    sheet: Sheet,
    rounds: list[int],
    assigned: IntArray | None,
    sensitivities: bool,
) -> SensorPlan | None:
    """Wire up the lone sensors for an ohmmeter in some rounds; None without rounds."""
    if not rounds:
        return None
    n_m, n_r, n_s = plan.shape
    first_set = (np.arange(n_m)[:, None] * n_r + rounds) * n_s  # (M, r)
    contact = _contact(table)
    levels = np.array([1] if contact is None else [0, 1])
    count = first_set.size * levels.size
    solutions = Solutions(
        np.repeat(np.arange(n_m) // table.repeats, count // n_m),
        np.full(count, int(Mode.SENSOR_ALONE)),
        np.repeat(np.tile(levels, first_set.size)[:, None], N_SWITCH, axis=1),
        np.repeat(first_set.ravel(), levels.size),
    )
    wiring = wire(table.circuits, solutions, plan.fixed.shape[1])
    one, other = table.active_end[:, None, :, None], table.active_end[:, None, None, :]
    first, second = _pairs(table, sheet, assigned)
    return SensorPlan(
        rounds=rounds,
        same=(table.component[:, :, None] == table.component[:, None, :])[:, None],
        active=one | other,
        both=one & other,
        wiring=wiring,
        contact=contact,
        wanted=wanted_entries(wiring, table.wanted) if sensitivities else None,
        first=first,
        second=second,
    )


def _contact(table: HypothesisTable) -> IntArray | None:
    """Value slot of what closes the lone sensor's own contact, (M,), or None without any."""
    circuits = table.circuits
    own = circuits.active[:, :, int(Mode.SENSOR_ALONE)] & (circuits.switch >= 0)
    if not own.any():
        return None
    number = np.where(own, circuits.switch, N_SWITCH).min(axis=1)
    rows = np.arange(number.size)
    slot = circuits.switch_share[rows, np.minimum(number, N_SWITCH - 1)]
    return np.repeat(np.where(number < N_SWITCH, slot, -1), table.repeats)


def _pairs(
    table: HypothesisTable, sheet: Sheet, assigned: IntArray | None
) -> tuple[IntArray, IntArray]:
    """Wires of the pairs that are read, or of all pairs, (M, n_pair) each."""
    n_m, n_t = table.role.shape
    if assigned is None:
        every = np.broadcast_to(np.arange(n_t * n_t), (n_m, n_t * n_t))
        return every // n_t, every % n_t
    is_pair = sheet.is_pair
    ends = np.stack([sheet.terminal[is_pair], sheet.other[is_pair]], axis=1)
    ends = np.unique(ends, axis=0)
    wires = np.minimum(assigned[:, ends], n_t - 1)  # (M, n_pair, 2)
    return wires[..., 0], wires[..., 1]


def sensor_ohm(
    plan: SensorPlan | None, values: RoundValues, n_t: int
) -> tuple[Array, Array | None]:
    """Log resistance between the lone sensor's terminals.

    Parameters
    ----------
    plan : SensorPlan, optional
        Of M hypotheses.
    values : RoundValues
        R rounds.
    n_t : int
        Number of wires, T.

    Returns
    -------
    ohm : ndarray, shape (M, R, T, T)
        See `Prediction`; NaN in rounds without an ohmmeter.
    ohm_by : ndarray, shape (M, R, T, T, n_z), or None
        Derivatives by z, of the plan's pairs.
    """
    n_m, n_r, _ = values.plan.shape
    ohm = np.full((n_m, n_r, n_t, n_t), np.nan)
    if plan is None:
        return ohm, None
    count = len(plan.rounds)
    n_level = 1 if plan.contact is None else 2
    pairs = None
    if plan.wanted is not None:
        nodes, row = plan.wiring.terminal[:, :n_t], np.arange(n_m * count * n_level)[:, None]
        first, second = (np.repeat(p, count * n_level, axis=0) for p in (plan.first, plan.second))
        pairs = nodes[row, first], nodes[row, second]
    found = evaluate_wired(plan.wiring, values.value, plan.wanted, pairs=pairs)
    thevenin = _standing(plan, values, found.thevenin.reshape(n_m, count, n_level, n_t, n_t))
    own = np.diagonal(thevenin, axis1=2, axis2=3)
    across = own[..., :, None] + own[..., None, :] - thevenin - np.swapaxes(thevenin, 2, 3)
    safe = np.maximum(across, SMALLEST_OHM)
    result = np.where(plan.same, np.log(safe), np.where(plan.active, np.nan, np.inf))
    blind = plan.both & plan.same & (across > THROUGH_ELECTRONICS_OHM)
    ohm[:, plan.rounds] = np.where(blind, np.nan, result)
    if found.pair_by is None:
        return ohm, None
    by = found.pair_by.reshape(n_m, count, n_level, plan.first.shape[1], -1)
    by = values.chain(_standing(plan, values, by)[:, :, None], plan.rounds)
    m = np.arange(n_m)[:, None]
    ohm_by = np.zeros((n_m, n_r, n_t, n_t, values.plan.n_z))
    for number, r in enumerate(plan.rounds):
        pair_ohm = safe[m, number, plan.first, plan.second]
        ohm_by[m, r, plan.first, plan.second] = by[:, number] / pair_ohm[..., None]
    return ohm, ohm_by


def _standing(plan: SensorPlan, values: RoundValues, both: Array) -> Array:
    """Of a contact's two positions, the one it stands in: (M, r, n_level, ...) to (M, r, ...)."""
    if plan.contact is None:
        return both[:, :, 0]
    n_m, rounds = both.shape[0], np.array(plan.rounds)
    rows = np.arange(n_m)[:, None]
    share = values.value[rows, rounds, 0, np.maximum(plan.contact, 0)[:, None]]
    closed = (plan.contact[:, None] < 0) | (share > 0.5)
    return np.asarray(both[rows, np.arange(rounds.size), closed.astype(np.int64)])
