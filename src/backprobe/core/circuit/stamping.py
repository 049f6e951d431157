"""From stamps to nodal equations: which stamps are there, the matrices, their solution."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import CURRENT_KINDS
from backprobe.core.circuit.nodal import invert
from backprobe.core.circuit.plan import CircuitTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Nodes as plans number them: the first row of a matrix is node 1.
_NODE_NAMES = tuple(f"node {number}" for number in range(1, 1000))


@dataclass(frozen=True, slots=True)
class Extra:
    """Resistors fitted for some solutions only.

    nodes : ndarray of int, shape (M, I, F, 2); 0 is the reference.
    siemens : ndarray, shape (M, I, F); 0 is "not fitted".
    """

    nodes: IntArray
    siemens: Array

    def part(self, solutions: slice) -> "Extra":
        """Those of some solutions."""
        return Extra(self.nodes[:, solutions], self.siemens[:, solutions])

    def matrix(self, n_node: int) -> Array:
        """What they add to the conductance matrices, S, (M, I, N, N)."""
        e = differences(self.nodes, n_node)  # (M, I, F, N)
        return np.asarray(np.matmul(np.swapaxes(e, -1, -2), self.siemens[..., None] * e))


@dataclass(frozen=True, slots=True)
class Circuits:
    """M circuits with I sets of values each. K stamps, N nodes.

    nodes : ndarray of int, shape (M, K, 4): u+, u-, w+, w-; 0 is the reference.
    group, region : ndarray of int, shape (M, K): piecewise-linear group (-1: none) and region.
    is_current, is_alternating : ndarray of bool, shape (M, K)
        Stamps that inject a current, and those that do so in the alternating solution.
    coefficient : ndarray, shape (M, I, K), S or A.
    there : ndarray of bool, shape (M, I, K)
        Stamps present by mode, switching level and choice; the region still decides.
    idle : ndarray of bool, shape (M, I, N): nodes that nothing touches, solved as 0 V.
    deciding : ndarray of bool, shape (M, I, G): groups of which a stamp is there.
    added : ndarray, shape (M, I, N, N), or None: conductance of fitted resistors, S.
    """

    nodes: IntArray
    group: IntArray
    region: IntArray
    is_current: Bools
    is_alternating: Bools
    coefficient: Array
    there: Bools
    idle: Bools
    deciding: Bools
    added: Array | None

    def rows(self, m: IntArray, i: IntArray) -> "Circuits":
        """Single solutions, each as a circuit of its own."""
        return Circuits(
            nodes=self.nodes[m],
            group=self.group[m],
            region=self.region[m],
            is_current=self.is_current[m],
            is_alternating=self.is_alternating[m],
            coefficient=self.coefficient[m, i][:, None],
            there=self.there[m, i][:, None],
            idle=self.idle[m, i][:, None],
            deciding=self.deciding[m, i][:, None],
            added=None if self.added is None else self.added[m, i][:, None],
        )

    def live(self, now: IntArray) -> Bools:
        """Stamps present while each group is in a region, (M, I, K); ``now`` (M, I, G)."""
        own = np.concatenate([now, np.zeros((*now.shape[:-1], 1), dtype=now.dtype)], axis=-1)
        # Group -1 picks the padding column, whose region no stamp without a group minds.
        group = np.broadcast_to(self.group[:, None], (*now.shape[:-1], self.group.shape[-1]))
        fits = np.take_along_axis(own, group, axis=-1) == self.region[:, None]
        return np.asarray(self.there & ((self.group < 0)[:, None] | fits))


def differences(nodes: IntArray, n_node: int) -> Array:
    """Node differences e+ - e- of pairs of nodes, (..., 2) to (..., N); 0 is the reference."""
    eye = np.vstack([np.zeros((1, n_node)), np.eye(n_node)])
    return eye[nodes[..., 0]] - eye[nodes[..., 1]]


def circuits_of(
    table: CircuitTable,
    coefficient: Array,
    values: Array,
    mode: IntArray,
    level: IntArray,
    extra: Extra | None,
) -> Circuits:
    """Circuits of a table with what is there in each solution.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    coefficient : ndarray, shape (M, I, K)
        Coefficients of its stamps, S or A.
    values : ndarray, shape (M, I, P)
        Values by slot; the choices among them are looked at.
    mode : ndarray of int, shape (I,)
        `Mode` of each solution.
    level : ndarray of int, shape (I, N_SWITCH)
        Level of each switching element.
    extra : Extra, optional
        Fitted resistors.

    Returns
    -------
    Circuits
        Ready to be solved.
    """
    n_node = int(table.n_node.max())
    is_current = np.isin(table.kind, [int(kind) for kind in CURRENT_KINDS])
    there = _present(table, mode, level) & _chosen(table, values)
    return Circuits(
        nodes=table.nodes,
        group=table.group,
        region=table.region,
        is_current=is_current,
        is_alternating=table.alternating,
        coefficient=coefficient,
        there=there,
        idle=_idle(table, there & ~is_current[:, None], n_node),
        deciding=_deciding(table, there),
        added=None if extra is None else extra.matrix(n_node),
    )


def _present(table: CircuitTable, mode: IntArray, level: IntArray) -> Bools:
    """Stamps present by mode and by the level of the switching elements, (M, I, K)."""
    by_mode = np.moveaxis(table.active[:, :, mode], 2, 1)
    wanted = np.concatenate([level, np.zeros((level.shape[0], 1), dtype=level.dtype)], axis=1)
    own = wanted[:, table.switch]  # switch -1 picks the padding column: (I, M, K)
    by_level = (table.switch[:, None] < 0) | (np.moveaxis(own, 0, 1) == table.level[:, None])
    return np.asarray(by_mode & by_level & (table.kind[:, None] > 0))


def _chosen(table: CircuitTable, values: Array) -> Bools:
    """Stamps present by a choice among the values, (M, I, K)."""
    if (table.only_slot < 0).all():
        return np.ones((1, 1, 1), dtype=bool)
    code = np.take_along_axis(values, np.maximum(table.only_slot, 0)[:, None], axis=2)
    return np.asarray((table.only_slot < 0)[:, None] | (code == table.only_code[:, None]))


def _idle(table: CircuitTable, conducting: Bools, n_node: int) -> Bools:
    """Nodes that no stamp of this circuit and mode touches, (M, I, N)."""
    touches = np.abs(differences(table.nodes[:, :, :2], n_node))  # (M, K, N)
    touches += np.abs(differences(table.nodes[:, :, 2:], n_node))
    return np.asarray(np.matmul(conducting.astype(float), touches) == 0)


def _deciding(table: CircuitTable, there: Bools) -> Bools:
    """Groups of which a stamp is there, (M, I, G)."""
    is_in = table.group[:, :, None] == np.arange(table.group_nodes.shape[1])  # (M, K, G)
    return np.asarray(np.matmul(there.astype(float), is_in.astype(float)) > 0)


def solve_stamps(circuits: Circuits, live: Bools) -> tuple[Array, Array]:
    """Bus impedance matrices and node voltages.

    Parameters
    ----------
    circuits : Circuits
        M circuits, I solutions each.
    live : ndarray of bool, shape (M, I, K)
        Stamps that are there.

    Returns
    -------
    impedance : ndarray, shape (M, I, N, N)
        Ohm.
    voltage : ndarray, shape (M, I, N, 2)
        Direct and alternating (rms), V.

    Raises
    ------
    NoUniqueAnswer
        A node of a circuit floats.

    Notes
    -----
    Each stamp touches at most four entries: adding them up entry by entry is far less work than
    a matrix product over the incidence (measured: about 20 times).
    """
    matrix = _conductance(circuits, live)
    n_node = matrix.shape[-1]
    diagonal = np.arange(n_node)
    matrix[..., diagonal, diagonal] += circuits.idle
    if circuits.added is not None:
        matrix += circuits.added
    impedance = invert(matrix, _NODE_NAMES)
    return impedance, np.matmul(impedance, _injection(circuits, live, n_node))


def _conductance(circuits: Circuits, live: Bools) -> Array:
    """Conductance matrices (M, I, N, N), S, of the stamps that are there."""
    n_m, n_i, _ = circuits.coefficient.shape
    size = circuits.idle.shape[2] + 1  # row and column 0 are the reference and are dropped
    item = np.arange(n_m * n_i).reshape(n_m, n_i, 1)
    conducting = live & ~circuits.is_current[:, None]
    siemens = circuits.coefficient[conducting]
    up, um, wp, wm = (circuits.nodes[:, None, :, k] for k in range(4))
    at = np.concatenate(
        [
            (item * size * size + (a * size + b))[conducting]
            for a, b in ((up, wp), (um, wm), (up, wm), (um, wp))
        ]
    )
    weight = np.concatenate([siemens, siemens, -siemens, -siemens])
    full = np.bincount(at, weights=weight, minlength=n_m * n_i * size * size)
    return full.astype(np.float64, copy=False).reshape(n_m, n_i, size, size)[:, :, 1:, 1:].copy()


def _injection(circuits: Circuits, live: Bools, n_node: int) -> Array:
    """Injected currents (M, I, N, 2), A: direct, alternating."""
    n_m, n_i, _ = circuits.coefficient.shape
    size = n_node + 1
    item = np.arange(n_m * n_i).reshape(n_m, n_i, 1)
    injecting = live & circuits.is_current[:, None]
    ampere = circuits.coefficient[injecting]
    place = circuits.is_alternating[:, None].astype(np.int64)
    up, um = circuits.nodes[:, None, :, 0], circuits.nodes[:, None, :, 1]
    at = np.concatenate([(item * size * 2 + (2 * a + place))[injecting] for a in (up, um)])
    flow = np.concatenate([ampere, -ampere])
    full = np.bincount(at, weights=flow, minlength=n_m * n_i * size * 2)
    return full.astype(np.float64, copy=False).reshape(n_m, n_i, size, 2)[:, :, 1:]
