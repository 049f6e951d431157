"""Regions of piecewise-linear elements, and the walk from region to region until they fit.

A regulator at its current limit, a current sink or an output short of supply: each is linear
within a region, and the region follows from one node difference of the answer. The circuit is
solved, the regions that the answer lies in are looked up, and what changed is solved again. Most
circuits settle at once. Where two answers fit, it is the one that is found from region 0, in which
every element starts and through which it goes from one outer region to the other: a regulator at
its limit, hardly loaded, would otherwise be thrown far above its voltage, and from there back to
its limit. Where an element lets go because it starves and starves because it holds on, no answer
fits: the circuit is left at rest, all elements in region 0, and flagged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.circuit.stamping import Circuits, solve_stamps

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

MAX_WALK = 7  # solutions of one piecewise-linear circuit before it is left at rest
EDGE_VOLT = 1e-9  # V; a region is left only when the answer lies beyond its edge by more


@dataclass(frozen=True, slots=True)
class Limits:
    """Edges of the regions of M circuits, I solutions each, G groups.

    nodes : ndarray of int, shape (M, G, 2)
        Nodes whose difference decides; 0 is the reference, -1 pads.
    low, high : ndarray, shape (M, I, G)
        Region 1 lies below ``low``, region 2 above ``high``, V; infinite where there is none.
    """

    nodes: IntArray
    low: Array
    high: Array

    def rows(self, m: IntArray, i: IntArray) -> "Limits":
        """Single solutions, each as a circuit of its own."""
        return Limits(self.nodes[m], self.low[m, i][:, None], self.high[m, i][:, None])

    def regions(self, voltage: Array) -> IntArray:
        """Region that each group lies in, (M, I, G), at direct node voltages (M, I, N)."""
        full = np.concatenate([np.zeros((*voltage.shape[:-1], 1)), voltage], axis=-1)
        nodes = np.maximum(self.nodes, 0)[:, None]  # (M, 1, G, 2)
        index = np.broadcast_to(nodes, (*voltage.shape[:-1], *nodes.shape[2:]))
        ends = np.take_along_axis(full[..., None, :], index, axis=-1)
        across = ends[..., 0] - ends[..., 1]
        above = np.where(across > self.high + EDGE_VOLT, 2, 0)
        return np.where(across < self.low - EDGE_VOLT, 1, above)


@dataclass(frozen=True, slots=True)
class Walked:
    """Where the walk ended: M circuits, I solutions each, N nodes, G groups.

    impedance : ndarray, shape (M, I, N, N), ohm; voltage : (M, I, N, 2), direct and alternating, V.
    region : ndarray of int, shape (M, I, G): regions that the answer was found in.
    settled : ndarray of bool, shape (M, I): whether the answer lies in them.
    """

    impedance: Array
    voltage: Array
    region: IntArray
    settled: Bools


def limits_of(table: CircuitTable, values: Array) -> Limits:
    """Edges of the regions at given values.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    values : ndarray, shape (M, I, P)
        Values by slot, SI units.

    Returns
    -------
    Limits
        Their edges, V.
    """

    def edge(slots: IntArray, missing: float) -> Array:
        there = slots[:, None, :, 0] >= 0  # (M, 1, G)
        at = np.maximum(slots, 0).reshape(slots.shape[0], 1, -1)
        v = np.take_along_axis(values, at, axis=2).reshape(*values.shape[:2], -1, 3)
        return np.where(there, v[..., 0] - v[..., 1] * v[..., 2], missing)

    return Limits(table.group_nodes, edge(table.group_low, -np.inf), edge(table.group_high, np.inf))


def walk(circuits: Circuits, limits: Limits, start: IntArray) -> Walked:
    """Solve circuits in the regions that their own answers lie in.

    Parameters
    ----------
    circuits : Circuits
        M circuits, I solutions each.
    limits : Limits
        Edges of their regions.
    start : ndarray of int, shape (M, I, G)
        Regions to try first.

    Returns
    -------
    Walked
        The last answers.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.
    """
    region = start.copy()
    impedance, voltage = solve_stamps(circuits, circuits.live(region))
    found = _found(circuits, limits, voltage, region)
    settled = (found == region).all(axis=-1)
    m, i = np.nonzero(~settled)
    found = found[m, i]  # (n, G) from here on: of what is still walking
    for step in range(1, MAX_WALK + 1):
        if not m.size:
            break
        at_rest = step == MAX_WALK
        region[m, i] = now = np.zeros_like(found) if at_rest else _next(region[m, i], found)
        some = circuits.rows(m, i)
        z, v = solve_stamps(some, some.live(now[:, None]))
        impedance[m, i], voltage[m, i] = z[:, 0], v[:, 0]
        found = _found(some, limits.rows(m, i), v, now[:, None])[:, 0]
        done = (found == now).all(axis=-1)
        settled[m[done], i[done]] = True
        m, i, found = m[~done], i[~done], found[~done]
    return Walked(impedance, voltage, region, settled)


def _found(circuits: Circuits, limits: Limits, voltage: Array, now: IntArray) -> IntArray:
    """Regions that an answer lies in; a group that is not there keeps its own."""
    return np.where(circuits.deciding, limits.regions(voltage[..., 0]), now)


def _next(now: IntArray, wanted: IntArray) -> IntArray:
    """Regions to try next: those wanted, the middle one where two would be crossed at once."""
    return np.where((now > 0) & (wanted > 0) & (now != wanted), 0, wanted)
