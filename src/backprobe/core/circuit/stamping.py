"""From entries to nodal equations: coefficients, the matrices, what is forced into the nodes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import coefficient_of
from backprobe.core.circuit.wiring import Wiring

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Circuits:
    """Circuits with values: V solutions, E entries, N nodes, G groups.

    wiring : which stamps are there.
    coefficient : ndarray, shape (E,): S or A.
    slope : ndarray, shape (3, E): derivatives of the coefficient by p0, p1, p2.
    chosen : ndarray of bool, shape (E,), or None: entries that choices among the values leave.
    idle : ndarray of bool, shape (V, N): nodes that nothing touches, solved as 0 V.
    deciding : ndarray of bool, shape (V, G): groups of which an entry is there.
    """

    wiring: Wiring
    coefficient: Array
    slope: Array
    chosen: Bools | None
    idle: Bools
    deciding: Bools


def circuits_of(wiring: Wiring, values: Array) -> Circuits:
    """Put values into circuits.

    Parameters
    ----------
    wiring : Wiring
        Of V solutions.
    values : ndarray, shape (..., P)
        Sets of values by slot, SI units.

    Returns
    -------
    Circuits
        Ready to be solved.
    """
    flat = values.ravel()
    coefficient = np.zeros(wiring.solution.size)
    slope = np.zeros((3, wiring.solution.size))
    for kind, at, slots in wiring.kinds:
        found, *by = coefficient_of(kind, *flat.take(slots))
        coefficient[at] = found
        for row, one in zip(slope, by, strict=False):
            row[at] = one
    chosen = wiring.chosen(values)
    return Circuits(wiring, coefficient, slope, chosen, *wiring.left(chosen))


def equations(
    circuits: Circuits, live: Bools, which: IntArray | None = None
) -> tuple[Array, Array]:
    """Nodal equations of circuits, the reference node left out.

    Parameters
    ----------
    circuits : Circuits
        V solutions, E entries.
    live : ndarray of bool, shape (E,)
        Entries that are there.
    which : ndarray of int, shape (n,), optional
        Solutions to solve; all of them by default.

    Returns
    -------
    conductance : ndarray, shape (n, N, N)
        S.
    injection : ndarray, shape (n, N, 2)
        Direct and alternating (rms) currents forced into each node, A.

    Notes
    -----
    Each stamp touches at most four entries of a matrix: adding them up one by one is far less
    work than a matrix product over the incidence (measured: about 20 times).
    """
    wiring, siemens, ampere = circuits.wiring, *_live_coefficients(circuits, live)
    size = wiring.n_node + 1  # the first row and column are the reference's and are dropped
    into, through = wiring.matrix_place, wiring.current_place
    idle, added, count = circuits.idle, wiring.added, wiring.count
    if which is not None:
        number = np.full(count, -1)
        number[which] = np.arange(which.size)
        into, siemens = _picked(into, siemens, number, size * size)
        through, ampere = _picked(through, ampere, number, size * 2)
        idle, count = idle[which], which.size
        added = None if added is None else added[which]
    matrix = _summed(into, (siemens, siemens, -siemens, -siemens), (count, size, size))
    matrix = matrix[:, 1:, 1:].copy()
    diagonal = np.arange(wiring.n_node)
    matrix[:, diagonal, diagonal] += idle
    if added is not None:
        matrix += added
    flow = _summed(through, (ampere, -ampere), (count, size, 2))
    return matrix, flow[:, 1:]


def _summed(place: IntArray, weights: tuple[Array, ...], shape: tuple[int, ...]) -> Array:
    """Weights (n_entry,) added up at places (n, n_entry) of an array."""
    length = int(np.prod(shape))
    full = np.bincount(place.ravel(), weights=np.concatenate(weights), minlength=length)
    return full.astype(np.float64, copy=False).reshape(shape)  # integers where there is no entry


def _live_coefficients(circuits: Circuits, live: Bools) -> tuple[Array, Array]:
    """Coefficients of conducting entries, S, and of injecting ones, A; 0 where not there."""
    there = np.where(live, circuits.coefficient, 0.0)
    return there.take(circuits.wiring.conducting), there.take(circuits.wiring.injecting)


def _picked(place: IntArray, weight: Array, number: IntArray, size: int) -> tuple[IntArray, Array]:
    """Places (n, n_entry) and weights (n_entry,) of solutions with a new number (-1: none)."""
    solution = place[0] // size
    moved = number.take(solution)
    mine = np.flatnonzero(moved >= 0)
    shift = (moved - solution)[mine] * size
    return place.take(mine, axis=1) + shift, weight.take(mine)
