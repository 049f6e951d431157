"""How what is read at the terminals moves with the circuit's values.

With the bus impedance matrix Z at hand, derivatives need no further factorisation: from
``G V = I``, a stamp ``c u w'`` moves voltages by ``dV/dc = -(Z u)(w' V)``, a current stamp ``c u``
by ``+(Z u)``, and impedances move by ``dZ/dc = -(Z u)(w' Z)`` ([grainger1994] ch. 8).

Entries that a wanted value enters are listed once (`Wanted`): what they inject as the value moves
is added up by node and value, and Z takes it to all terminals in one product.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.regions import Walked
from backprobe.core.circuit.stamping import Circuits
from backprobe.core.circuit.wiring import Wiring

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Entries that wanted values enter: X of them, W values.

    n_wanted : W.
    entry : ndarray of int, shape (X,): number of the entry.
    which : ndarray of int, shape (X,): as which of its values, 0 to 2.
    value : ndarray of int, shape (X,): which of the wanted values that is, 0 to W - 1.
    solution : ndarray of int, shape (X,): the solution that the entry is in.
    nodes : ndarray of int, shape (4, X): places of u+, u-, w+, w- among (V, 1 + N) laid flat.
    """

    n_wanted: int
    entry: IntArray
    which: IntArray
    value: IntArray
    solution: IntArray
    nodes: IntArray


def wanted_entries(wiring: Wiring, slots: IntArray) -> Wanted:
    """Find the entries that wanted values enter.

    Parameters
    ----------
    wiring : Wiring
        Of circuits of a table.
    slots : ndarray of int, shape (M, W)
        Value slots to derive by of each of the table's circuits, each once; -1 pads.

    Returns
    -------
    Wanted
        See there.
    """
    (n_m, n_wanted), n_value = slots.shape, wiring.n_value
    number = np.full((n_m, n_value + 1), -1)  # the last column takes the pads
    number[np.arange(n_m)[:, None], slots] = np.arange(n_wanted)
    number[:, -1] = -1
    circuit = wiring.circuit.take(wiring.solution)  # (E,)
    found = number.ravel().take(circuit * (n_value + 1) + wiring.slots % n_value)  # (3, E)
    which, entry = np.nonzero(found >= 0)
    return Wanted(
        n_wanted=n_wanted,
        entry=entry,
        which=which,
        value=found[which, entry],
        solution=wiring.solution[entry],
        nodes=wiring.nodes[:, entry] + wiring.solution[entry] * (wiring.n_node + 1),
    )


@dataclass(frozen=True, slots=True)
class Moved:
    """What moves with the wanted values in solved circuits.

    circuits, walked : the circuits and their answers.
    wanted : the entries that move.
    slope : ndarray, shape (X,): derivative of each one's coefficient; 0 where it is not there.
    injecting : ndarray of bool, shape (X,): whether it is a current.
    """

    circuits: Circuits
    walked: Walked
    wanted: Wanted
    slope: Array
    injecting: Bools


def moved_entries(circuits: Circuits, walked: Walked, wanted: Wanted) -> Moved:
    """What moves with the wanted values, at the regions that the answers were found in."""
    wiring = circuits.wiring
    live = wiring.live(walked.region, circuits.chosen)
    injecting = np.zeros(live.size, dtype=bool)
    injecting[wiring.injecting] = True
    slope = np.where(live[wanted.entry], circuits.slope[wanted.which, wanted.entry], 0.0)
    return Moved(circuits, walked, wanted, slope, injecting[wanted.entry])


def voltage_slopes(moved: Moved, *, alternating: bool = False) -> Array:
    """Derivatives of the voltages at the terminals.

    Parameters
    ----------
    moved : Moved
        V solutions, W wanted values.
    alternating : bool
        Whether of the alternating (signed, rms) instead of the direct voltages.

    Returns
    -------
    ndarray, shape (V, 2T, W)
        At the probe points, then at the control unit's ends.
    """
    walked, wanted, wiring = moved.walked, moved.wanted, moved.circuits.wiring
    size, n_w = wiring.n_node + 1, wanted.n_wanted
    up, um, wp, wm = wanted.nodes
    v = walked.voltage[:, :, int(alternating)].ravel()
    mine = wiring.is_alternating.take(wanted.entry) == alternating
    ampere = np.where(moved.injecting, mine, v.take(wm) - v.take(wp)) * moved.slope
    place = np.concatenate([up * n_w + wanted.value, um * n_w + wanted.value])
    weights = np.concatenate([ampere, -ampere])
    flow = np.bincount(place, weights=weights, minlength=wiring.count * size * n_w)
    rows = walked.impedance.reshape(-1, size).take(wiring.terminal_place, axis=0)  # (V, 2T, 1 + N)
    return np.asarray(rows @ flow.reshape(wiring.count, size, n_w))


def pair_slopes(moved: Moved, first: IntArray, second: IntArray) -> Array:
    """Derivatives of the resistance between pairs of nodes.

    Parameters
    ----------
    moved : Moved
        V solutions, W wanted values.
    first, second : ndarray of int, shape (V, n_pair)
        Nodes of each pair; 0 is the reference, which gives the Thevenin resistance.

    Returns
    -------
    ndarray, shape (V, n_pair, W)
        -((e_a - e_b)' Z u) (w' Z (e_a - e_b)) dc/dvalue.
    """
    wanted, z = moved.wanted, moved.walked.impedance
    (count, n_pair), n_w = first.shape, wanted.n_wanted
    up, um, wp, wm = wanted.nodes
    rows = _seen_from(np.swapaxes(z, 1, 2), first, second)  # e' Z
    columns = _seen_from(z, first, second)  # Z e
    seen = rows.take(up, axis=0) - rows.take(um, axis=0)  # (X, n_pair)
    control = columns.take(wp, axis=0) - columns.take(wm, axis=0)
    slope = np.where(moved.injecting, 0.0, moved.slope)
    weights = -seen * control * slope[:, None]
    place = (wanted.solution[:, None] * n_pair + np.arange(n_pair)) * n_w + wanted.value[:, None]
    found = np.bincount(place.ravel(), weights=weights.ravel(), minlength=count * n_pair * n_w)
    return found.reshape(count, n_pair, n_w).astype(np.float64)


def _seen_from(z: Array, first: IntArray, second: IntArray) -> Array:
    """Differences of columns of matrices (V, 1 + N, 1 + N), as (V (1 + N), n_pair)."""
    (count, n_pair), size = first.shape, z.shape[1]
    # Columns one after the other: (V (1 + N), 1 + N), a row a column.
    columns = np.ascontiguousarray(np.swapaxes(z, 1, 2)).reshape(-1, size)
    start = np.arange(count)[:, None] * size
    apart = columns.take(start + first, axis=0)  # (V, n_pair, 1 + N)
    if second.any():  # column 0 is all zero
        apart = apart - columns.take(start + second, axis=0)
    return np.ascontiguousarray(np.swapaxes(apart, 1, 2)).reshape(-1, n_pair)
