"""What a sheet of readings would show under many hypotheses at once.

All rounds of all hypotheses are solved in one batch. What does not depend on the coordinates is
looked up once (`prepare`) and serves every step of a fit.
"""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import evaluate_wired
from backprobe.core.circuit.plan import N_SWITCH, Mode
from backprobe.core.circuit.sensitivity import Wanted, wanted_entries
from backprobe.core.circuit.wiring import Extra, Solutions, Wiring, wire
from backprobe.core.inference.black_lead import lead_at
from backprobe.core.inference.combine import combine
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.level_plan import LevelPlan, plan_levels, slopes_needed
from backprobe.core.inference.lone_sensor import SensorPlan, plan_sensor, sensor_ohm
from backprobe.core.inference.prediction import AT_WIRES, OF_ROUND, Field, Prediction
from backprobe.core.inference.round_values import (
    BATTERY_SLOT,
    RoundPlan,
    plan_rounds,
    round_values,
)
from backprobe.core.inference.sheet import N_RANGE, Sheet, SheetRound

__all__ = ["BATTERY_SLOT", "Field", "Prediction", "PredictionPlan", "predict", "prepare"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]
Walk = dict[str, IntArray]

ALL_FIELDS = (*AT_WIRES, *OF_ROUND)


@dataclass(frozen=True, slots=True)
class PredictionPlan:
    """What predictions of M hypotheses in the rounds of a sheet share at all coordinates.

    layout : of the coordinates.
    rounds : what the values follow from.
    levels : how levels are combined.
    wiring : the circuits, a solution for each round, set and combination of levels that matters.
    wanted : entries to derive by, or None.
    slopes : quantities to derive.
    sensor : the lone sensor for the ohmmeter, or None.
    """

    layout: Layout
    rounds: RoundPlan
    levels: LevelPlan
    wiring: Wiring
    wanted: Wanted | None
    slopes: frozenset[str]
    sensor: SensorPlan | None


def prepare(
    table: HypothesisTable,
    sheet: Sheet,
    *,
    assigned: IntArray | None = None,
    sensitivities: bool = False,
    ohm_rounds: Collection[int] = (),
    slopes: Collection[str] = ALL_FIELDS,
) -> PredictionPlan:
    """Look up all that a prediction needs but the coordinates.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    sheet : Sheet
        Rounds; of its readings only the pairs of an ohmmeter are looked at.
    assigned, sensitivities, ohm_rounds
        As for `predict`.
    slopes : collection of str
        Quantities whose derivatives are wanted, where sensitivities are.

    Returns
    -------
    PredictionPlan
        For `predict`.
    """
    layout = layout_of(table, sheet)
    rounds = plan_rounds(table, layout, sheet)
    mode = np.array([int(_mode(r)) for r in sheet.rounds], dtype=np.int64)
    level = np.array(list(product((0, 1), repeat=_n_switch(table, sheet))), dtype=np.int64)
    kept, solution = _distinct(table, mode, level, rounds.shape)
    (_, n_r, n_s), n_c = rounds.shape, len(level)
    row_round = kept // (n_s * n_c)
    circuit = row_round // n_r // table.repeats
    both = np.zeros((n_c, N_SWITCH), dtype=np.int64)
    both[:, : level.shape[1]] = level
    wiring = wire(
        table.circuits,
        Solutions(circuit, mode.take(row_round % max(n_r, 1)), both[kept % n_c], kept // n_c),
        table.fixed.shape[1],
        _fitted(table, sheet, assigned, row_round),
    )
    return PredictionPlan(
        layout=layout,
        rounds=rounds,
        levels=plan_levels(table, level, solution),
        wiring=wiring,
        wanted=wanted_entries(wiring, table.wanted) if sensitivities else None,
        slopes=frozenset(slopes) if sensitivities else frozenset(),
        sensor=plan_sensor(table, rounds, sheet, sorted(ohm_rounds), assigned, sensitivities),
    )


def predict(
    table: HypothesisTable,
    z: Array,
    sheet: Sheet,
    *,
    assigned: IntArray | None = None,
    sensitivities: bool = False,
    ohm_rounds: Collection[int] = (),
    lead_kind: IntArray | None = None,
    walk: Walk | None = None,
    plan: PredictionPlan | None = None,
) -> Prediction:
    """Predict everything that a meter could show of each hypothesis in each round.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    z : ndarray, shape (M, n_z)
        Coordinates, see `Layout`.
    sheet : Sheet
        Rounds (of its readings only the pairs of an ohmmeter are looked at).
    assigned : ndarray of int, shape (M, n_terminal), optional
        Wire at each terminal; needed only where a round has fitted resistors.
    sensitivities : bool
        Whether to return derivatives by z.
    ohm_rounds : collection of int
        Rounds in which to solve the lone sensor for an ohmmeter.
    lead_kind : ndarray of int, shape (M, R), optional
        `LeadKind` that each round is explained with; sound by default.
    walk : dict, optional
        Regions of piecewise-linear elements, kept between calls with like z, for speed.
    plan : PredictionPlan, optional
        Made by `prepare` of the same arguments, for speed.

    Returns
    -------
    Prediction
        See there.
    """
    if plan is None:
        plan = prepare(
            table, sheet, assigned=assigned, sensitivities=sensitivities, ohm_rounds=ohm_rounds
        )
    values, layout = round_values(plan.rounds, z), plan.layout
    found = evaluate_wired(
        plan.wiring,
        values.value,
        plan.wanted,
        region=None if walk is None else walk.get("volts"),
        slopes=slopes_needed(plan.slopes),
    )
    if walk is not None:
        walk["volts"] = found.region
    ohm, ohm_by = sensor_ohm(plan.sensor, values, table.role.shape[1])
    if lead_kind is None:
        lead_kind = np.zeros((z.shape[0], len(sheet.rounds)), dtype=np.int64)
    lead = lead_at(layout, sheet, z, lead_kind, sensitivities=plan.wanted is not None)
    return Prediction(
        **combine(plan.levels, values, found, plan.slopes),
        ohm=ohm,
        ohm_by=ohm_by,
        lead_kind=lead_kind,
        meter=z[:, layout.meter : layout.meter + 1 + N_RANGE],
        meter_at=layout.meter,
        lead_offset=lead[0],
        lead_ohm=lead[1],
        values=values.value[:, :, 0],
    )


def _mode(item: SheetRound) -> Mode:
    if item.powered:
        return Mode.PLUGGED if item.plugged else Mode.UNPLUGGED
    return Mode.PLUGGED_OFF if item.plugged else Mode.UNPLUGGED_OFF


def _n_switch(table: HypothesisTable, sheet: Sheet) -> int:
    """Switching elements whose levels matter in some round of the sheet."""
    circuits = table.circuits
    plugged = any(r.plugged for r in sheet.rounds)
    powered = any(r.powered for r in sheet.rounds)
    own = circuits.active[:, :, int(Mode.UNPLUGGED)] & (circuits.switch >= 0)
    if not plugged and not (powered and own.any()):
        return 0
    return int((circuits.switch_share >= 0).sum(axis=1).max(initial=0))


def _distinct(
    table: HypothesisTable, mode: IntArray, level: IntArray, shape: tuple[int, int, int]
) -> tuple[IntArray, IntArray]:
    """Solutions that differ, of all rounds, sets and combinations of levels of M hypotheses.

    Combinations that differ in a switching element which is not there in a round's mode are one.

    Parameters
    ----------
    mode : ndarray of int, shape (R,)
    level : ndarray of int, shape (C, n_switch)
    shape : M, R and S

    Returns
    -------
    kept : ndarray of int, shape (V,)
        Which of all, laid flat, are solved.
    solution : ndarray of int, shape (M, R, S, C)
        The one of these that each is.
    """
    (n_m, n_r, n_s), (n_c, n_switch) = shape, level.shape
    if n_switch == 0:
        every = np.arange(n_m * n_r * n_s)
        return every, every.reshape(n_m, n_r, n_s, 1)
    circuits = table.circuits
    own = circuits.switch[:, :, None] == np.arange(n_switch)  # (M, K, n_switch)
    there = np.swapaxes(circuits.active[:, :, mode], 1, 2).astype(np.int64) @ own > 0
    there = np.repeat(there, table.repeats, axis=0)  # (M, R, n_switch)
    place = 2 ** np.arange(n_switch)[::-1]  # of a switch among the combinations
    same = (there * place) @ level.T  # (M, R, C), the first combination that is alike
    same = np.broadcast_to(same[:, :, None], (n_m, n_r, n_s, n_c))
    is_first = same == np.arange(n_c)
    number = (np.cumsum(is_first) - 1).reshape(same.shape)
    return np.flatnonzero(is_first), np.take_along_axis(number, same, axis=3)


def _fitted(
    table: HypothesisTable, sheet: Sheet, assigned: IntArray | None, row_round: IntArray
) -> Extra | None:
    """Resistors fitted in some rounds, for solutions of hypotheses in rounds (M, R) laid flat."""
    most = max((len(r.fitted) for r in sheet.rounds), default=0)
    if most == 0 or assigned is None:
        return None
    n_m, n_r = table.n_wire.size, len(sheet.rounds)
    nodes = np.zeros((n_m, n_r, most, 2), dtype=np.int64)
    siemens = np.zeros((n_m, n_r, most))
    full = np.pad(table.circuits.probe, ((0, 0), (0, 1)))  # the last one is the reference
    full = np.repeat(full, table.repeats, axis=0)
    for r, item in enumerate(sheet.rounds):
        for f, (a, b, ohm) in enumerate(item.fitted):
            for side, terminal in enumerate((a, b)):
                if terminal >= 0:
                    wire = assigned[:, terminal]
                    wire = np.where(wire < table.n_wire, wire, full.shape[1] - 1)
                    nodes[:, r, f, side] = np.take_along_axis(full, wire[:, None], axis=1)[:, 0]
            siemens[:, r, f] = 1.0 / ohm
    return Extra(nodes.reshape(-1, most, 2)[row_round], siemens.reshape(-1, most)[row_round])
