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
from backprobe.core.circuit.plan import CircuitTable, Mode

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

_IS_CURRENT = np.isin(np.arange(len(Coefficient)), [int(kind) for kind in CURRENT_KINDS])


@dataclass(frozen=True, slots=True)
class Solutions:
    """What is solved: V solutions, each of a circuit in a mode, at a level, with a set of values.

    circuit : ndarray of int, shape (V,): row of the table.
    mode : ndarray of int, shape (V,): `Mode`.
    level : ndarray of int, shape (V, N_SWITCH): level (0 or 1) of each switching element.
    value_set : ndarray of int, shape (V,): number of the set of values.
    """

    circuit: IntArray
    mode: IntArray
    level: IntArray
    value_set: IntArray


@dataclass(frozen=True, slots=True)
class Extra:
    """Resistors fitted for some solutions only.

    nodes : ndarray of int, shape (V, F, 2); 0 is the reference.
    siemens : ndarray, shape (V, F); 0 is "not fitted".
    """

    nodes: IntArray
    siemens: Array

    def matrices(self, number: IntArray, n_node: int) -> Array:
        """What they add to the conductance matrices, S, (V, N, N); ``number`` as nodes count."""
        eye = np.vstack([np.zeros((1, n_node)), np.eye(n_node)])
        nodes = number[np.arange(len(number))[:, None, None], self.nodes]
        e = eye[nodes[..., 0]] - eye[nodes[..., 1]]  # (V, F, N)
        return np.asarray(np.matmul(np.swapaxes(e, -1, -2), self.siemens[..., None] * e))


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges of the regions of the piecewise-linear groups; V solutions, G groups.

    ends : ndarray of int, shape (2, V, G)
        Places of the nodes whose difference decides, among voltages (V, 1 + N) laid flat.
    low, high : ndarray of int, shape (3, V, G)
        Places of the values that make up the limits, among all values laid flat.
    is_low, is_high : ndarray of bool, shape (V, G): whether there is such a limit.
    usual : ndarray of int, shape (V, G): regions of a sound circuit.
    """

    ends: IntArray
    low: IntArray
    high: IntArray
    is_low: Bools
    is_high: Bools
    usual: IntArray


@dataclass(frozen=True, eq=False)  # no slots: what follows from the fields is kept once made
class Wiring:
    """Entries of V solutions with N nodes and G groups.

    E entries, in order of solution and stamp. "Place among values" is that in an array of sets of
    P values each, laid flat; solutions may share a set. Nodes are numbered afresh in each solution,
    those left out that nothing touches there: what is left to solve is smaller by a third.

    circuit : ndarray of int, shape (V,): row of the table that each solution is of.
    n_value : P.
    n_node : nodes of the solution that has most.
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

    circuit: IntArray
    n_value: int
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
        """Entries that the choices among values (..., P) leave, (E,); None: all of them."""
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
    table: CircuitTable, solutions: Solutions, n_value: int, extra: Extra | None = None
) -> Wiring:
    """Wire up circuits of a table.

    Parameters
    ----------
    table : CircuitTable
        M circuits.
    solutions : Solutions
        What is to be solved.
    n_value : int
        How many slots a set of values has, P.
    extra : Extra, optional
        Fitted resistors.

    Returns
    -------
    Wiring
        See there.
    """
    n_stamp, n_group, circuit = table.kind.shape[1], table.group_nodes.shape[1], solutions.circuit
    solution, k = np.nonzero(_present(table, solutions))
    stamp = circuit.take(solution) * n_stamp + k  # (E,), place in arrays (M, K) laid flat
    base = (solutions.value_set * n_value).take(solution)  # (E,), where the set of values begins
    kind, group = table.kind.ravel().take(stamp), table.group.ravel().take(stamp)
    grouped, choosing = np.flatnonzero(group >= 0), _choosing(table, stamp)
    is_current = _IS_CURRENT.take(kind)
    codes = [code for code in np.unique(table.kind).tolist() if code != Coefficient.NONE]
    own = [np.flatnonzero(kind == code) for code in codes]
    slots = _columns(table.value).take(stamp, axis=1) + base
    nodes = _columns(table.nodes).take(stamp, axis=1)
    terminal = np.concatenate([table.probe, table.unit], axis=1).take(circuit, axis=0)  # (V, 2T)
    number = _numbered(table, solution, nodes, terminal, extra)
    row = np.arange(circuit.size)[:, None]
    n_node = int(number.max(initial=0))
    return Wiring(
        circuit=circuit,
        n_value=n_value,
        n_node=n_node,
        solution=solution,
        nodes=number.ravel().take(solution * number.shape[1] + nodes),
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
        edges=_edges(table, solutions, n_value, number, n_node),
        terminal=number[row, terminal],
        added=None if extra is None else extra.matrices(number, n_node),
    )


def _numbered(
    table: CircuitTable,
    solution: IntArray,
    nodes: IntArray,
    terminal: IntArray,
    extra: Extra | None,
) -> IntArray:
    """New numbers of the nodes that are there in each solution, (V, 1 + N); the others get 0."""
    count, size = terminal.shape[0], int(table.n_node.max()) + 1
    there = np.zeros((count, size), dtype=bool)
    there.ravel()[solution * size + nodes] = True
    row = np.arange(count)[:, None]
    there[row, terminal] = True
    if extra is not None:
        there[row, extra.nodes.reshape(count, -1)] = True
    there[:, 0] = False
    return np.where(there, np.cumsum(there, axis=1), 0)


def _columns(table: IntArray) -> IntArray:
    """Numbers (M, K, n) of stamps as (n, M * K)."""
    return np.ascontiguousarray(table.reshape(-1, table.shape[2]).T)


def _choosing(table: CircuitTable, stamp: IntArray) -> IntArray:
    """Entries that a choice decides, given their stamps (E,)."""
    if (table.only_slot < 0).all():
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(table.only_slot.ravel()[stamp] >= 0)


def _present(table: CircuitTable, solutions: Solutions) -> Bools:
    """Stamps present by mode and by the level of the switching elements, (V, K)."""
    key = solutions.circuit * len(Mode) + solutions.mode
    for switch in range(solutions.level.shape[1]):
        key = 2 * key + solutions.level[:, switch]
    _, first, place = np.unique(key, return_index=True, return_inverse=True)
    # A few make up all solutions.
    circuit, level = solutions.circuit[first], solutions.level[first]
    own, wanted = table.switch.take(circuit, axis=0), table.level.take(circuit, axis=0)
    present = table.active[circuit, :, solutions.mode[first]]
    present = present & (table.kind.take(circuit, axis=0) > 0)
    for switch in range(level.shape[1]):
        present &= (own != switch) | (wanted == level[:, switch, None])
    return np.asarray(present.take(place, axis=0))


def _edges(
    table: CircuitTable, solutions: Solutions, n_value: int, number: IntArray, n_node: int
) -> Edges:
    circuit, row = solutions.circuit, np.arange(len(number))[:, None, None]
    first = (solutions.value_set * n_value)[:, None, None]

    def flat(places: IntArray) -> IntArray:
        """Places (V, G, n) as (n, V, G)."""
        return np.ascontiguousarray(np.moveaxis(places, 2, 0))

    ends = number[row, np.maximum(table.group_nodes[circuit], 0)]  # (V, G, 2)
    low, high = table.group_low[circuit], table.group_high[circuit]
    return Edges(
        ends=flat(ends + row * (n_node + 1)),
        low=flat(np.maximum(low, 0) + first),
        high=flat(np.maximum(high, 0) + first),
        is_low=low[:, :, 0] >= 0,
        is_high=high[:, :, 0] >= 0,
        usual=table.group_usual[circuit],
    )
