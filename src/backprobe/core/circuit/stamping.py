"""From entries to nodal equations: coefficients, the matrices, their solution."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import coefficient_of
from backprobe.core.circuit.nodal import invert
from backprobe.core.circuit.wiring import Wiring

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Nodes as plans number them: the first row of a matrix is node 1.
_NODE_NAMES = tuple(f"node {number}" for number in range(1, 1000))


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
        Of M circuits.
    values : ndarray, shape (M, J, P)
        Values by slot, SI units.

    Returns
    -------
    Circuits
        Ready to be solved.
    """
    flat = values.ravel()
    coefficient = np.zeros(wiring.solution.size)
    slope = np.zeros((3, wiring.solution.size))
    for kind, at in wiring.kinds:
        found, *by = coefficient_of(kind, *flat[wiring.slots[:, at]])
        coefficient[at] = found
        for row, one in zip(slope, by, strict=False):
            row[at] = one
    chosen = wiring.chosen(values)
    return Circuits(
        wiring, coefficient, slope, chosen, wiring.idle(chosen), wiring.deciding(chosen)
    )


def solve_stamps(
    circuits: Circuits, live: Bools, which: IntArray | None = None
) -> tuple[Array, Array]:
    """Bus impedance matrices and node voltages.

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
    impedance : ndarray, shape (n, N, N)
        Ohm.
    voltage : ndarray, shape (n, N, 2)
        Direct and alternating (rms), V.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.

    Notes
    -----
    Each stamp touches at most four entries of a matrix: adding them up one by one is far less
    work than a matrix product over the incidence (measured: about 20 times).
    """
    wiring = circuits.wiring
    conducting, injecting, number = wiring.conducting, wiring.injecting, wiring.solution
    idle, added, count = circuits.idle, wiring.added, wiring.count
    if which is not None:
        place = np.full(count, -1)
        place[which] = np.arange(which.size)
        number = place[number]
        conducting = conducting[number[conducting] >= 0]
        injecting = injecting[number[injecting] >= 0]
        idle, count = idle[which], which.size
        added = None if added is None else added[which]
    matrix = _conductance(circuits, conducting, live, number, count)
    diagonal = np.arange(wiring.n_node)
    matrix[:, diagonal, diagonal] += idle
    if added is not None:
        matrix += added
    impedance = invert(matrix, _NODE_NAMES)
    return impedance, impedance @ _injection(circuits, injecting, live, number, count)


def _conductance(
    circuits: Circuits, at: IntArray, live: Bools, number: IntArray, count: int
) -> Array:
    """Conductance matrices (count, N, N), S, from the entries ``at``."""
    size = circuits.wiring.n_node + 1  # row and column 0 are the reference and are dropped
    up, um, wp, wm = circuits.wiring.nodes[:, at]
    start = number[at] * size * size
    up, um = start + up * size, start + um * size
    place = np.concatenate([up + wp, um + wm, up + wm, um + wp])
    siemens = np.where(live[at], circuits.coefficient[at], 0.0)
    weight = np.concatenate([siemens, siemens, -siemens, -siemens])
    full = np.bincount(place, weights=weight, minlength=count * size * size)
    return full.reshape(count, size, size)[:, 1:, 1:].astype(np.float64)


def _injection(
    circuits: Circuits, at: IntArray, live: Bools, number: IntArray, count: int
) -> Array:
    """Injected currents (count, N, 2), A, direct and alternating, from the entries ``at``."""
    wiring, size = circuits.wiring, circuits.wiring.n_node + 1
    start = number[at] * size * 2 + wiring.is_alternating[at]
    place = np.concatenate([start + 2 * wiring.nodes[0, at], start + 2 * wiring.nodes[1, at]])
    ampere = np.where(live[at], circuits.coefficient[at], 0.0)
    full = np.bincount(place, weights=np.concatenate([ampere, -ampere]), minlength=count * size * 2)
    return full.reshape(count, size, 2)[:, 1:].astype(np.float64)
