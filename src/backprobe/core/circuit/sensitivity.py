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
    solution, nodes : ndarray of int, shapes (X,) and (4, X): as in `Wiring`, of these entries.
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
        Of M circuits.
    slots : ndarray of int, shape (M, W)
        Value slots to derive by, each once; -1 pads.

    Returns
    -------
    Wanted
        See there.
    """
    (n_m, _, n_value), n_wanted = wiring.value_shape, slots.shape[1]
    number = np.full((n_m, n_value + 1), -1)  # the last column takes the pads
    number[np.arange(n_m)[:, None], slots] = np.arange(n_wanted)
    number[:, -1] = -1
    circuit = wiring.solution // wiring.n_solution  # (E,)
    found = number[circuit, wiring.slots % n_value]  # (3, E)
    which, entry = np.nonzero(found >= 0)
    return Wanted(
        n_wanted=n_wanted,
        entry=entry,
        which=which,
        value=found[which, entry],
        solution=wiring.solution[entry],
        nodes=wiring.nodes[:, entry],
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
    v = walked.voltage[:, :, int(alternating)]
    across = v[wanted.solution, wp] - v[wanted.solution, wm]
    mine = wiring.is_alternating[wanted.entry] == alternating
    ampere = np.where(moved.injecting, mine, -across) * moved.slope
    start = wanted.solution * size
    place = np.concatenate([start + up, start + um]) * n_w + np.tile(wanted.value, 2)
    weights = np.concatenate([ampere, -ampere])
    flow = np.bincount(place, weights=weights, minlength=wiring.count * size * n_w)
    rows = walked.impedance[np.arange(wiring.count)[:, None], wiring.terminal]  # (V, 2T, 1 + N)
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
    every = np.arange(count)[:, None]
    rows = z[every, first] - z[every, second]  # (V, n_pair, 1 + N)
    columns = z[every, :, first] - z[every, :, second]
    at, pair = wanted.solution[:, None], np.arange(n_pair)
    seen = rows[at, pair, up[:, None]] - rows[at, pair, um[:, None]]  # (X, n_pair)
    control = columns[at, pair, wp[:, None]] - columns[at, pair, wm[:, None]]
    slope = np.where(moved.injecting, 0.0, moved.slope)
    weights = -seen * control * slope[:, None]
    place = (at * n_pair + pair) * n_w + wanted.value[:, None]
    found = np.bincount(place.ravel(), weights=weights.ravel(), minlength=count * n_pair * n_w)
    return found.reshape(count, n_pair, n_w).astype(np.float64)
