"""Solve a table of circuits for many sets of values at once, with sensitivities."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.circuit.regions import limits_of, walk
from backprobe.core.circuit.sensitivity import (
    Wanted,
    moved_entries,
    pair_slopes,
    voltage_slopes,
    wanted_entries,
)
from backprobe.core.circuit.stamping import circuits_of
from backprobe.core.circuit.wiring import Extra, Wiring, wire

__all__ = ["Evaluation", "Extra", "evaluate", "evaluate_wired"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

_CHUNK = 60_000  # solutions in one piece: bounds the memory that the matrices take


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Solved circuits. M circuits (rows of the table), I solutions each, T terminals.

    voltage, unit_voltage, alternating : ndarray, shape (M, I, T)
        Direct voltage at the probe points and at the control unit's ends of the wires, and
        alternating voltage (rms) at the probe points, V.
    thevenin : ndarray, shape (M, I, T, T)
        Bus impedance matrix between probe points, ohm.
    settled : ndarray of bool, shape (M, I)
        Whether the piecewise-linear elements found regions that fit the answer.
    region : ndarray of int, shape (M, I, G)
        Regions that the answer was found in.
    pair_by : ndarray, shape (M, I, T, T, W), or None
        Sensitivity of the resistance between two terminals; (M, I, n_pair, W) for some pairs.
    voltage_by, unit_by, alternating_by, thevenin_by : ndarray, shape (M, I, T, W), or None
        Sensitivities to the W wanted values; ``thevenin_by`` is that of the diagonal.
    """

    voltage: Array
    unit_voltage: Array
    alternating: Array
    thevenin: Array
    settled: Bools
    region: IntArray
    pair_by: Array | None = None
    voltage_by: Array | None = None
    unit_by: Array | None = None
    alternating_by: Array | None = None
    thevenin_by: Array | None = None

    def solutions(self, index: IntArray) -> "Evaluation":
        """Some of the solutions of each circuit, repeats allowed."""
        parts = {name: getattr(self, name) for name in Evaluation.__dataclass_fields__}
        there = {name: part for name, part in parts.items() if part is not None}
        return replace(self, **{n: part.take(index, axis=1) for n, part in there.items()})


def evaluate(
    table: CircuitTable,
    values: Array,
    mode: IntArray,
    level: IntArray,
    *,
    extra: Extra | None = None,
    wanted: IntArray | None = None,
    region: IntArray | None = None,
    pairs: bool = False,
) -> Evaluation:
    """Solve each circuit for each of its sets of values.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    values : ndarray, shape (M, I, P)
        Values by slot, SI units; slots 0 and 1 hold 0 and 1.
    mode : ndarray of int, shape (I,)
        `Mode` of each solution.
    level : ndarray of int, shape (I, N_SWITCH)
        Level (0 or 1) of each switching element.
    extra : Extra, optional
        Fitted resistors.
    wanted : ndarray of int, shape (M, W), optional
        Value slots to return derivatives by, each once; -1 pads.
    region : ndarray of int, shape (M, I, G), optional
        Regions to start the walk from (those of a like solution), for speed.
    pairs : bool
        Whether to return the derivatives of resistances between terminals instead.

    Returns
    -------
    Evaluation
        See there.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.
    """
    shape = (*values.shape[:2], table.group_nodes.shape[1])
    if region is None or region.shape != shape:
        region = np.zeros(shape, dtype=np.int64)
    step = max(1, _CHUNK // max(1, table.kind.shape[0]))
    pieces = []
    for start in range(0, values.shape[1], step):
        part = slice(start, start + step)
        fitted = None if extra is None else extra.part(part)
        own = np.arange(mode[part].size)
        wiring = wire(table, mode[part], level[part], own, (own.size, values.shape[2]), fitted)
        entries = None if wanted is None else wanted_entries(wiring, wanted)
        ends = _all_pairs(wiring) if pairs else None
        pieces.append(
            evaluate_wired(wiring, values[:, part], entries, region=region[:, part], pairs=ends)
        )
    found = pieces[0] if len(pieces) == 1 else _joined(pieces)
    if found.pair_by is None:
        return found
    n_t = found.thevenin.shape[2]
    return replace(found, pair_by=found.pair_by.reshape(*values.shape[:2], n_t, n_t, -1))


def _all_pairs(wiring: Wiring) -> tuple[IntArray, IntArray]:
    """Probe points of every two terminals, (V, T * T) each."""
    n_t = wiring.terminal.shape[1] // 2
    probe = wiring.terminal[:, :n_t]
    return np.repeat(probe, n_t, axis=1), np.tile(probe, (1, n_t))


def evaluate_wired(
    wiring: Wiring,
    values: Array,
    wanted: Wanted | None = None,
    *,
    region: IntArray | None = None,
    pairs: tuple[IntArray, IntArray] | None = None,
) -> Evaluation:
    """Solve circuits that are wired up already.

    Parameters
    ----------
    wiring : Wiring
        Of M circuits, I solutions each.
    values : ndarray, shape (M, J, P)
        Sets of values by slot, SI units.
    wanted : Wanted, optional
        Entries of the values to return derivatives by.
    region : ndarray of int, shape (M, I, G), optional
        Regions to start the walk from.
    pairs : two ndarrays of int, shape (V, n_pair), optional
        Nodes between which to derive the resistance, instead of what is read at the terminals.

    Returns
    -------
    Evaluation
        See there; ``pair_by`` has the shape (M, I, n_pair, W).

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.
    """
    n_m, n_i, n_t = wiring.value_shape[0], wiring.n_solution, wiring.terminal.shape[1] // 2
    start = np.zeros((wiring.count, wiring.n_group), dtype=np.int64)
    if region is not None and region.size == start.size:
        start = region.reshape(start.shape)
    circuits = circuits_of(wiring, values)
    walked = walk(circuits, limits_of(wiring.edges, values), start)
    size, place, probe = wiring.n_node + 1, wiring.terminal_place, wiring.terminal[:, :n_t]
    at = walked.voltage.reshape(-1, 2).take(place, axis=0)  # (V, 2T, 2)
    thevenin = walked.impedance.ravel().take(place[:, :n_t, None] * size + probe[:, None])

    def shaped(found: Array) -> Array:
        return found.reshape(n_m, n_i, *found.shape[1:])

    found = Evaluation(
        voltage=shaped(at[:, :n_t, 0]),
        unit_voltage=shaped(at[:, n_t:, 0]),
        alternating=shaped(np.abs(at[:, :n_t, 1])),
        thevenin=shaped(thevenin),
        settled=walked.settled.reshape(n_m, n_i),
        region=walked.region.reshape(n_m, n_i, -1),
    )
    if wanted is None:
        return found
    moved = moved_entries(circuits, walked, wanted)
    if pairs is not None:
        return replace(found, pair_by=shaped(pair_slopes(moved, *pairs)))
    ends_by = voltage_slopes(moved)
    alternating_by = np.zeros_like(ends_by[:, :n_t])
    if wiring.is_alternating.any():
        sign = np.sign(at[:, :n_t, 1, None])
        alternating_by = sign * voltage_slopes(moved, alternating=True)[:, :n_t]
    return replace(
        found,
        voltage_by=shaped(ends_by[:, :n_t]),
        unit_by=shaped(ends_by[:, n_t:]),
        alternating_by=shaped(alternating_by),
        thevenin_by=shaped(pair_slopes(moved, probe, np.zeros_like(probe))),
    )


def _joined(pieces: Sequence[Evaluation]) -> Evaluation:
    """Evaluations of the same circuits, one after the other."""

    def join(values: Sequence[Array | None]) -> Array | None:
        there = [value for value in values if value is not None]
        return np.concatenate(there, axis=1) if there else None

    return Evaluation(
        voltage=np.concatenate([p.voltage for p in pieces], axis=1),
        unit_voltage=np.concatenate([p.unit_voltage for p in pieces], axis=1),
        alternating=np.concatenate([p.alternating for p in pieces], axis=1),
        thevenin=np.concatenate([p.thevenin for p in pieces], axis=1),
        settled=np.concatenate([p.settled for p in pieces], axis=1),
        region=np.concatenate([p.region for p in pieces], axis=1),
        pair_by=join([p.pair_by for p in pieces]),
        voltage_by=join([p.voltage_by for p in pieces]),
        unit_by=join([p.unit_by for p in pieces]),
        alternating_by=join([p.alternating_by for p in pieces]),
        thevenin_by=join([p.thevenin_by for p in pieces]),
    )
