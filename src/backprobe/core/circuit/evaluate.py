"""Solve a table of circuits for many sets of values at once, with sensitivities."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

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
from backprobe.core.circuit.wiring import Extra, Solutions, Wiring, wire

__all__ = ["Evaluation", "Extra", "evaluate", "evaluate_wired"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

SLOPES = ("voltage_by", "unit_by", "alternating_by", "thevenin_by")
_CHUNK = 600  # solutions in one piece: so many fit the processor's cache


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Solved circuits: V solutions, T terminals. `evaluate` lays them out by circuit, (M, I, ...).

    voltage, unit_voltage, alternating : ndarray, shape (V, T)
        Direct voltage at the probe points and at the control unit's ends of the wires, and
        alternating voltage (rms) at the probe points, V.
    thevenin : ndarray, shape (V, T, T)
        Bus impedance matrix between probe points, ohm.
    settled : ndarray of bool, shape (V,)
        Whether the piecewise-linear elements found regions that fit the answer.
    region : ndarray of int, shape (V, G)
        Regions that the answer was found in.
    pair_by : ndarray, shape (V, n_pair, W), or None
        Sensitivity of the resistance between two terminals; (M, I, T, T, W) from `evaluate`.
    voltage_by, unit_by, alternating_by, thevenin_by : ndarray, shape (V, T, W), or None
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
    (n_m, n_i, n_value), n_group = values.shape, table.group_nodes.shape[1]
    if region is None or region.shape != (n_m, n_i, n_group):
        region = np.zeros((n_m, n_i, n_group), dtype=np.int64)
    step = max(1, _CHUNK // max(1, n_m))
    pieces = []
    for start in range(0, n_i, step):
        own = np.arange(start, min(start + step, n_i))
        each = np.tile(own, n_m)
        circuit = np.repeat(np.arange(n_m), own.size)
        solutions = Solutions(circuit, mode[each], level[each], circuit * n_i + each)
        fitted = None if extra is None else Extra(*(p[circuit, each] for p in _fields(extra)))
        wiring = wire(table, solutions, n_value, fitted)
        entries = None if wanted is None else wanted_entries(wiring, wanted)
        ends = _all_pairs(wiring) if pairs else None
        found = evaluate_wired(wiring, values, entries, region=region[circuit, each], pairs=ends)
        pieces.append([None if p is None else _by_circuit(p, n_m) for p in _fields(found)])
    joined = Evaluation(*(_joined(parts) for parts in zip(*pieces, strict=True)))
    if joined.pair_by is None:
        return joined
    n_t = joined.thevenin.shape[2]
    return replace(joined, pair_by=joined.pair_by.reshape(n_m, n_i, n_t, n_t, -1))


def _fields(of: Extra | Evaluation) -> list[Any]:
    return [getattr(of, field.name) for field in fields(of)]


def _by_circuit(part: Array, n_m: int) -> Array:
    return part.reshape(n_m, -1, *part.shape[1:])


def _joined(parts: Sequence[Any]) -> Any:
    """Pieces (M, i, ...) one after the other along the solutions; None where there is none."""
    return None if parts[0] is None else np.concatenate(parts, axis=1)


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
    slopes: Collection[str] = SLOPES,
) -> Evaluation:
    """Solve circuits that are wired up already.

    Parameters
    ----------
    wiring : Wiring
        Of V solutions.
    values : ndarray, shape (..., P)
        Sets of values by slot, SI units.
    wanted : Wanted, optional
        Entries of the values to return derivatives by.
    region : ndarray of int, shape (V, G), optional
        Regions to start the walk from.
    pairs : two ndarrays of int, shape (V, n_pair), optional
        Nodes between which to derive the resistance, instead of what is read at the terminals.
    slopes : collection of str
        Which of `SLOPES` to derive.

    Returns
    -------
    Evaluation
        See there.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.
    """
    n_t = wiring.terminal.shape[1] // 2
    circuits = circuits_of(wiring, values)
    start = wiring.edges.usual if region is None else region
    walked = walk(circuits, limits_of(wiring.edges, values), start)
    size, place, probe = wiring.n_node + 1, wiring.terminal_place, wiring.terminal[:, :n_t]
    at = walked.voltage.reshape(-1, 2).take(place, axis=0)  # (V, 2T, 2)
    found = Evaluation(
        voltage=at[:, :n_t, 0],
        unit_voltage=at[:, n_t:, 0],
        alternating=np.abs(at[:, :n_t, 1]),
        thevenin=walked.impedance.ravel().take(place[:, :n_t, None] * size + probe[:, None]),
        settled=walked.settled,
        region=walked.region,
    )
    if wanted is None:
        return found
    moved = moved_entries(circuits, walked, wanted)
    if pairs is not None:
        return replace(found, pair_by=pair_slopes(moved, *pairs))
    ends_by, alternating_by, thevenin_by = voltage_slopes(moved), None, None
    if "alternating_by" in slopes:
        sign = np.sign(at[:, :n_t, 1, None])
        alternating_by = sign * voltage_slopes(moved, alternating=True)[:, :n_t]
    if "thevenin_by" in slopes:
        thevenin_by = pair_slopes(moved, probe, np.zeros_like(probe))
    return replace(
        found,
        voltage_by=ends_by[:, :n_t],
        unit_by=ends_by[:, n_t:],
        alternating_by=alternating_by,
        thevenin_by=thevenin_by,
    )
