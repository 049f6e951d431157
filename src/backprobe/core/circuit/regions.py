"""Regions of piecewise-linear elements, and the walk from region to region until they fit.

A regulator at its current limit, a current sink or an output short of supply: each is linear
within a region, and the region follows from one node difference of the answer. The circuit is
solved, the regions that the answer lies in are looked up, and what changed is solved again. Most
circuits settle at once. Where two answers fit, it is the one that is found from region 0, in which
every element starts and through which it goes from one outer region to the other: a regulator at
its limit, hardly loaded, would otherwise be thrown far above its voltage, and from there back to
its limit. What does not settle soon goes on with one element at a time, first the first that has
to move, in another attempt the last. Where an element lets go because it starves and starves
because it holds on, no answer fits: the circuit is left at rest, all elements in region 0, and
flagged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.nodal import invert, invert_each
from backprobe.core.circuit.stamping import Circuits, equations
from backprobe.core.circuit.wiring import Edges

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

MAX_WALK = 7  # solutions of one circuit before it starts afresh, twice, and then is left at rest
ONE_BY_ONE = 3  # from this step on only one element of a circuit moves
# Nodes as plans number them: the first row of a matrix is node 1.
NODE_NAMES = tuple(f"node {number}" for number in range(1, 1000))
EDGE_VOLT = 1e-9  # V; a region is left only when the answer lies beyond its edge by more


@dataclass(frozen=True, slots=True)
class Limits:
    """Edges of the regions of V solutions with G groups.

    low, high : ndarray, shape (V, G)
        Region 1 lies below ``low``, region 2 above ``high``, V; infinite where there is none.
    """

    low: Array
    high: Array


@dataclass(frozen=True, slots=True)
class Walked:
    """Where the walk ended: V solutions, N nodes, G groups.

    impedance : ndarray, shape (V, 1 + N, 1 + N), ohm; voltage : (V, 1 + N, 2), direct and
        alternating, V. The first node is the reference, all zero.
    region : ndarray of int, shape (V, G): regions that the answer was found in.
    settled : ndarray of bool, shape (V,): whether the answer lies in them.
    """

    impedance: Array
    voltage: Array
    region: IntArray
    settled: Bools


def limits_of(edges: Edges, values: Array) -> Limits:
    """Edges of the regions at given values.

    Parameters
    ----------
    edges : Edges
        Of V solutions.
    values : ndarray, shape (..., P)
        Sets of values by slot, SI units.

    Returns
    -------
    Limits
        Their edges, V.
    """
    low, high = values.ravel().take(edges.low), values.ravel().take(edges.high)
    return Limits(
        np.where(edges.is_low, low[0] - low[1] * low[2], -np.inf),
        np.where(edges.is_high, high[0] - high[1] * high[2], np.inf),
    )


def walk(circuits: Circuits, limits: Limits, start: IntArray) -> Walked:
    """Solve circuits in the regions that their own answers lie in.

    Parameters
    ----------
    circuits : Circuits
        V solutions.
    limits : Limits
        Edges of their regions.
    start : ndarray of int, shape (V, G)
        Regions to try first.

    Returns
    -------
    Walked
        The last answers.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.

    Notes
    -----
    Regions are but a hint: a regulator that is taken to be at its limit may hold up nothing, and an
    amplifier fed by what it drives may have no answer at all there. Such a circuit goes back to
    the regions of a sound one.
    """
    wiring, region = circuits.wiring, start.copy()
    size = wiring.n_node + 1
    impedance, voltage = np.zeros((wiring.count, size, size)), np.zeros((wiring.count, size, 2))
    impedance[:, 1:, 1:], voltage[:, 1:] = _solved(circuits, region, None)
    found = _found(circuits, limits, voltage, region)
    settled = (found == region).all(axis=1)
    left = np.flatnonzero(~settled)  # solutions that are still walking
    for step in range(1, 3 * MAX_WALK + 1):
        if not left.size:
            break
        # Once from the start, twice more from the middle regions, the second time with the last
        # element that has to move before the first; with no end, it is left there.
        one_by_one = step % MAX_WALK >= ONE_BY_ONE
        last_first = step > 2 * MAX_WALK
        afresh = step % MAX_WALK == 0
        region[left] = 0 if afresh else _next(region[left], found[left], one_by_one, last_first)
        impedance[left, 1:, 1:], voltage[left, 1:] = _solved(circuits, region, left)
        found = _found(circuits, limits, voltage, region)
        settled[left] = (found[left] == region[left]).all(axis=1)
        left = left[~settled[left]]
    return Walked(impedance, voltage, region, settled)


def _solved(circuits: Circuits, region: IntArray, which: IntArray | None) -> tuple[Array, Array]:
    """Impedances (n, N, N) and voltages (n, N, 2) of some circuits, or all, in their regions.

    Where these have no answer, ``region`` is set to the usual ones, and they are solved in those.
    """
    wiring = circuits.wiring
    matrix, injection = equations(circuits, wiring.live(region, circuits.chosen), which)
    impedance, found = invert_each(matrix)
    lost = np.flatnonzero(~found)
    if lost.size:
        back = lost if which is None else which[lost]
        region[back] = wiring.edges.usual[back]
        live = wiring.live(region, circuits.chosen)
        matrix, injection[lost] = equations(circuits, live, back)
        impedance[lost] = invert(matrix, NODE_NAMES)
    return impedance, impedance @ injection


def _found(circuits: Circuits, limits: Limits, voltage: Array, now: IntArray) -> IntArray:
    """Regions that the answers lie in, (V, G); a group that is not there keeps its own."""
    plus, minus = voltage[:, :, 0].ravel().take(circuits.wiring.edges.ends)
    across = plus - minus
    above = np.where(across > limits.high + EDGE_VOLT, 2, 0)
    found = np.where(across < limits.low - EDGE_VOLT, 1, above)
    return np.where(circuits.deciding, found, now)


def _next(now: IntArray, wanted: IntArray, one_by_one: bool, last_first: bool) -> IntArray:
    """Regions to try next: those wanted, the middle one where two would be crossed at once.

    Elements that let each other go would swap for ever where all move together.
    """
    if one_by_one or last_first:
        moving = now != wanted
        order = np.flip(np.flip(moving, axis=1).cumsum(axis=1), axis=1)
        order = order if last_first else moving.cumsum(axis=1)
        wanted = np.where(moving & (order > 1), now, wanted)
    return np.where((now > 0) & (wanted > 0) & (now != wanted), 0, wanted)
