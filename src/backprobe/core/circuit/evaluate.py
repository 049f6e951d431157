"""Solve a table of circuits for many sets of values at once, with sensitivities."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import coefficients
from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.circuit.regions import Walked, limits_of, walk
from backprobe.core.circuit.sensitivity import Solved, Wanted, pair_slopes, reading_slopes
from backprobe.core.circuit.stamping import Circuits, Extra, circuits_of

__all__ = ["Evaluation", "Extra", "evaluate"]

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
        Sensitivity of the resistance between two terminals.
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
        Value slots to return derivatives by; -1 pads.
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
        own = _values_by_stamp(table, values[:, part])
        c, *by_value = coefficients(table.kind[:, None, :], own[..., 0], own[..., 1], own[..., 2])
        fitted = None if extra is None else extra.part(part)
        circuits = circuits_of(table, c, values[:, part], mode[part], level[part], fitted)
        walked = walk(circuits, limits_of(table, values[:, part]), region[:, part])
        slopes = None if wanted is None else Wanted(wanted, (by_value[0], by_value[1], by_value[2]))
        pieces.append(_collected(table, circuits, walked, slopes, pairs))
    return pieces[0] if len(pieces) == 1 else _joined(pieces)


def _values_by_stamp(table: CircuitTable, values: Array) -> Array:
    """Values p0, p1, p2 of every stamp, (M, I, K, 3)."""
    n_m, n_i = values.shape[:2]
    slots = table.value.reshape(n_m, 1, -1)
    return np.take_along_axis(values, slots, axis=2).reshape(n_m, n_i, -1, 3)


def _collected(
    table: CircuitTable, circuits: Circuits, walked: Walked, slopes: Wanted | None, pairs: bool
) -> Evaluation:
    """What is read at the terminals of solved circuits."""
    n_m, n_i, n_node = walked.voltage.shape[:3]
    n_t = table.probe.shape[1]
    ends = np.concatenate([table.probe, table.unit], axis=1)[:, None, :, None]  # (M, 1, 2T, 1)
    voltage = np.concatenate([np.zeros((n_m, n_i, 1, 2)), walked.voltage], axis=2)
    at = np.take_along_axis(voltage, ends, axis=2)  # (M, I, 2T, 2)
    impedance = np.concatenate([np.zeros((n_m, n_i, 1, n_node)), walked.impedance], axis=2)
    rows = np.take_along_axis(impedance, ends, axis=2)  # (M, I, 2T, N)
    probe_rows = np.concatenate([np.zeros((n_m, n_i, n_t, 1)), rows[:, :, :n_t]], axis=3)
    found = Evaluation(
        voltage=at[:, :, :n_t, 0],
        unit_voltage=at[:, :, n_t:, 0],
        alternating=np.abs(at[:, :, :n_t, 1]),
        thevenin=np.take_along_axis(probe_rows, table.probe[:, None, None, :], axis=3),
        settled=walked.settled,
        region=walked.region,
    )
    if slopes is None:
        return found
    live = circuits.live(walked.region)
    solved = Solved(
        impedance=walked.impedance,
        voltage=walked.voltage,
        terminal_rows=rows,
        probe_alternating=at[:, :, :n_t, 1],
        conducting=live & ~circuits.is_current[:, None],
        injecting=live & circuits.is_current[:, None],
    )
    if pairs:
        return replace(found, pair_by=pair_slopes(table, solved, slopes))
    voltage_by, unit_by, alternating_by, thevenin_by = reading_slopes(table, solved, slopes)
    return replace(
        found,
        voltage_by=voltage_by,
        unit_by=unit_by,
        alternating_by=alternating_by,
        thevenin_by=thevenin_by,
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
