"""Which stamps are there in each solution, and where they enter the equations.

All of this depends on the circuits and on what is connected, powered and switched, not on their
values: it is made once and used for every set of values (each step of a fit). A stamp that is
there in one solution is an *entry*; entries are kept as flat lists, since of the stamps that a
padded table holds only some are there in any one mode.

Places are looked up with `take`: on arrays of more than one axis it takes a fifth of the time of
an index in brackets (measured).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import CURRENT_KINDS, Coefficient
from backprobe.core.circuit.plan import CircuitTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

_IS_CURRENT = np.isin(np.arange(len(Coefficient)), [int(kind) for kind in CURRENT_KINDS])


@dataclass(frozen=True, slots=True)
class Extra:
    """Resistors fitted for some solutions only.

    nodes : ndarray of int, shape (M, I, F, 2); 0 is the reference.
    siemens : ndarray, shape (M, I, F); 0 is "not fitted".
    """

    nodes: IntArray
    siemens: Array

    def part(self, solutions: slice | IntArray) -> "Extra":
        """Those of some solutions."""
        return Extra(self.nodes[:, solutions], self.siemens[:, solutions])

    def matrices(self, n_node: int) -> Array:
        """What they add to the conductance matrices, S, (M * I, N, N)."""
        eye = np.vstack([np.zeros((1, n_node)), np.eye(n_node)])
        e = eye[self.nodes[..., 0]] - eye[self.nodes[..., 1]]  # (M, I, F, N)
        added = np.matmul(np.swapaxes(e, -1, -2), self.siemens[..., None] * e)
        return np.asarray(added.reshape(-1, n_node, n_node))


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges of the regions of the piecewise-linear groups; V solutions, G groups.

    ends : ndarray of int, shape (2, V, G)
        Places of the nodes whose difference decides, among voltages (V, 1 + N) laid flat.
    low, high : ndarray of int, shape (3, V, G)
        Places of the values that make up the limits, among values (M, J, P) laid flat.
    is_low, is_high : ndarray of bool, shape (V, G): whether there is such a limit.
    """

    ends: IntArray
    low: IntArray
    high: IntArray
    is_low: Bools
    is_high: Bools


@dataclass(frozen=True, eq=False)  # no slots: what follows from the fields is kept once made
class Wiring:
    """Entries of M circuits with I solutions each: V = M I solutions, N nodes, G groups.

    E entries, in order of solution and stamp. "Place among values" is that in an array of shape
    (M, J, P), laid flat: J sets of values a circuit, P slots; solutions may share a set.

    table : the circuits.
    n_solution : I.
    value_shape : (M, J, P).
    solution : ndarray of int, shape (E,): the solution (0 to V - 1) that an entry is in.
    nodes : ndarray of int, shape (4, E): u+, u-, w+, w-; 0 is the reference.
    slots : ndarray of int, shape (3, E): places of p0, p1, p2 among values.
    kinds : kinds of coefficient that occur, each with its entries and their ``slots``.
    conducting, injecting : ndarray of int, shape (n,): entries by what they are.
    is_alternating : ndarray of bool, shape (E,): current entries of the alternating solution.
    grouped : ndarray of int, shape (n,): entries of a piecewise-linear group;
        group_place (V G laid flat) and region (the one they are there in), same shape.
    choosing : ndarray of int, shape (n,): entries that a choice among the values decides;
        choice_slot (place among values) and choice_code, same shape.
    edges : of the groups' regions.
    terminal : ndarray of int, shape (V, 2T): nodes of probe points, then of the unit's ends.
    added : ndarray, shape (V, N, N), or None: conductance of fitted resistors, S.
    """

    table: CircuitTable
    n_solution: int
    value_shape: tuple[int, int, int]
    n_node: int
    solution: IntArray
    nodes: IntArray
    slots: IntArray
    kinds: tuple[tuple[Coefficient, IntArray, IntArray], ...]
    conducting: IntArray
    injecting: IntArray
    is_alternating: Bools
    grouped: IntArray
    group_place: IntArray
    region: IntArray
    choosing: IntArray
    choice_slot: IntArray
    choice_code: IntArray
    edges: Edges
    terminal: IntArray
    added: Array | None

    @property
    def count(self) -> int:
        """Number of solutions, V."""
        return int(self.terminal.shape[0])

    @property
    def n_group(self) -> int:
        """Number of piecewise-linear groups, G."""
        return int(self.edges.ends.shape[2])

    def live(self, region: IntArray, chosen: Bools | None) -> Bools:
        """Entries that are there while each group is in a region, (E,); ``region`` (V, G)."""
        live = np.ones(self.solution.size, dtype=bool) if chosen is None else chosen.copy()
        live[self.grouped] &= region.ravel().take(self.group_place) == self.region
        return live

    def chosen(self, values: Array) -> Bools | None:
        """Entries that the choices among values (M, J, P) leave, (E,); None: all of them."""
        if not self.choosing.size:
            return None
        left = np.ones(self.solution.size, dtype=bool)
        left[self.choosing] = values.ravel().take(self.choice_slot) == self.choice_code
        return left

    def left(self, chosen: Bools | None) -> tuple[Bools, Bools]:
        """What the choices leave, in whatever region.

        Nodes that no conductance touches, (V, N), and groups of which an entry is there, (V, G).
        """
        key = b"" if chosen is None else chosen[self.choosing].tobytes()
        if key not in self._left:  # a fit moves no choice
            self._left[key] = self._idle(chosen), self._deciding(chosen)
        return self._left[key]

    @cached_property
    def _left(self) -> dict[bytes, tuple[Bools, Bools]]:
        return {}

    def _idle(self, chosen: Bools | None) -> Bools:
        at = self.conducting if chosen is None else self.conducting[chosen[self.conducting]]
        touched = np.zeros((self.count, self.n_node + 1), dtype=bool)
        place, nodes = self.solution.take(at) * (self.n_node + 1), self.nodes.take(at, axis=1)
        controlled = np.flatnonzero((nodes[2:] != nodes[:2]).any(axis=0))
        over = nodes[2:].take(controlled, axis=1)
        for of, (one, other) in ((place, nodes[:2]), (place.take(controlled), over)):
            apart = one != other  # the difference of a node with itself is none
            for end in (one, other):
                touched.ravel()[of + np.where(apart, end, 0)] = True
        return ~touched[:, 1:]

    @cached_property
    def matrix_place(self) -> IntArray:
        """Where conducting entries add to, then take from matrices (V, 1 + N, 1 + N) laid flat.

        Shape (4, n_conducting): two places each.
        """
        up, um, wp, wm = self.nodes.take(self.conducting, axis=1)
        start = self.solution.take(self.conducting) * (self.n_node + 1) ** 2
        up, um = start + up * (self.n_node + 1), start + um * (self.n_node + 1)
        return np.stack([up + wp, um + wm, up + wm, um + wp])

    @cached_property
    def current_place(self) -> IntArray:
        """Where injecting entries flow in and out, among (V, 1 + N, 2) laid flat.

        Shape (2, n_injecting); the last axis is of the direct and the alternating solution.
        """
        at = self.injecting
        start = self.solution.take(at) * 2 * (self.n_node + 1) + self.is_alternating.take(at)
        return start + 2 * self.nodes[:2].take(at, axis=1)

    @cached_property
    def terminal_place(self) -> IntArray:
        """Places of the terminals among (V, 1 + N) laid flat, (V, 2T)."""
        return np.arange(self.count)[:, None] * (self.n_node + 1) + self.terminal

    def _deciding(self, chosen: Bools | None) -> Bools:
        found = np.zeros((self.count, self.n_group), dtype=bool)
        mine = slice(None) if chosen is None else chosen[self.grouped]
        found.ravel()[self.group_place[mine]] = True
        return found


def wire(
    table: CircuitTable,
    mode: IntArray,
    level: IntArray,
    value_set: IntArray,
    sets: tuple[int, int],
    extra: Extra | None = None,
) -> Wiring:
    """Wire up the circuits of a table for some solutions each.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    mode : ndarray of int, shape (I,)
        `Mode` of each solution.
    level : ndarray of int, shape (I, N_SWITCH)
        Level of each switching element.
    value_set : ndarray of int, shape (I,)
        Which of a circuit's sets of values each solution takes.
    sets : tuple of int
        How many sets of values a circuit has, J, and how many slots a set has, P.
    extra : Extra, optional
        Fitted resistors.

    Returns
    -------
    Wiring
        See there.
    """
    (n_m, n_stamp), n_i, (n_set, n_value) = table.kind.shape, mode.size, sets
    n_node, n_group = int(table.n_node.max()), table.group_nodes.shape[1]
    m, i, k = np.nonzero(_present(table, mode, level))
    stamp = m * n_stamp + k  # (E,), place in arrays (M, K) laid flat
    solution = m * n_i + i
    base = (m * n_set + value_set[i]) * n_value  # (E,), where a circuit's set of values begins
    kind, group = table.kind.ravel().take(stamp), table.group.ravel().take(stamp)
    grouped, choosing = np.flatnonzero(group >= 0), _choosing(table, stamp)
    is_current = _IS_CURRENT.take(kind)
    codes = [code for code in np.unique(table.kind).tolist() if code != Coefficient.NONE]
    own = [np.flatnonzero(kind == code) for code in codes]
    slots = _columns(table.value).take(stamp, axis=1) + base
    ends = np.concatenate([table.probe, table.unit], axis=1)  # (M, 2T)
    return Wiring(
        table=table,
        n_solution=n_i,
        value_shape=(n_m, n_set, n_value),
        n_node=n_node,
        solution=solution,
        nodes=_columns(table.nodes).take(stamp, axis=1),
        slots=slots,
        kinds=tuple(
            (Coefficient(code), at, slots.take(at, axis=1))
            for code, at in zip(codes, own, strict=True)
        ),
        conducting=np.flatnonzero(~is_current),
        injecting=np.flatnonzero(is_current),
        is_alternating=table.alternating.ravel().take(stamp),
        grouped=grouped,
        group_place=solution[grouped] * n_group + group[grouped],
        region=table.region.ravel()[stamp[grouped]],
        choosing=choosing,
        choice_slot=base[choosing] + table.only_slot.ravel()[stamp[choosing]],
        choice_code=table.only_code.ravel()[stamp[choosing]],
        edges=_edges(table, value_set, sets, n_node),
        terminal=np.repeat(ends, n_i, axis=0),
        added=None if extra is None else extra.matrices(n_node),
    )


def _columns(table: IntArray) -> IntArray:
    """Numbers (M, K, n) of stamps as (n, M * K)."""
    return np.ascontiguousarray(table.reshape(-1, table.shape[2]).T)


def _choosing(table: CircuitTable, stamp: IntArray) -> IntArray:
    """Entries that a choice decides, given their stamps (E,)."""
    if (table.only_slot < 0).all():
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(table.only_slot.ravel()[stamp] >= 0)


def _present(table: CircuitTable, mode: IntArray, level: IntArray) -> Bools:
    """Stamps present by mode and by the level of the switching elements, (M, I, K)."""
    each = [tuple(row) for row in np.concatenate([mode[:, None], level], axis=1).tolist()]
    settings = list(dict.fromkeys(each))  # a few make up all solutions
    present = np.empty((table.kind.shape[0], len(settings), table.kind.shape[1]), dtype=bool)
    for number, (of_mode, *of_level) in enumerate(settings):
        wanted = np.array([*of_level, 0])[table.switch]  # switch -1 picks the padding
        by_level = (table.switch < 0) | (wanted == table.level)
        present[:, number] = table.active[:, :, of_mode] & by_level & (table.kind > 0)
    place = {setting: number for number, setting in enumerate(settings)}
    return present[:, [place[setting] for setting in each]]


def _edges(table: CircuitTable, value_set: IntArray, sets: tuple[int, int], n_node: int) -> Edges:
    n_m, n_i = table.kind.shape[0], value_set.size
    first = (np.arange(n_m)[:, None] * sets[0] + value_set) * sets[1]  # (M, I)
    item = np.arange(n_m * n_i).reshape(n_m, n_i) * (n_node + 1)

    def flat(numbers: IntArray, start: IntArray) -> IntArray:
        """Numbers (M, G, n) from a start (M, I) on, as (n, V, G)."""
        at = np.maximum(numbers, 0)[:, None] + start[:, :, None, None]  # (M, I, G, n)
        return np.moveaxis(at.reshape(n_m * n_i, *numbers.shape[1:]), 2, 0).copy()

    return Edges(
        ends=flat(table.group_nodes, item),
        low=flat(table.group_low, first),
        high=flat(table.group_high, first),
        is_low=np.repeat(table.group_low[:, :, 0] >= 0, n_i, axis=0),
        is_high=np.repeat(table.group_high[:, :, 0] >= 0, n_i, axis=0),
    )
