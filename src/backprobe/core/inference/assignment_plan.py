"""The order in which an assignment of terminals to wires is summed.

A sum over all one-to-one assignments is taken one terminal at a time. After some terminals have
been given their wires, all that the rest of the sum needs to know is *which wires are used up*
and, where a reading was taken between two terminals, *which wire the first of the two has* until
the second one gets its own. Such a piece of knowledge is a state here; giving the next terminal a
wire is a transition to a state of the next layer. Without readings between terminals the states
are the subsets of wires (``2**n`` of them); with a reading between every two terminals they are
all partial assignments. The order of terminals with the fewest transitions is found by dynamic
programming over the sets of terminals already placed.

Nothing here depends on numbers: a plan is made once for a number of terminals and the pairs read,
and kept.

Sources: [held1962] (dynamic programming over subsets); Dechter 1999 (elimination of
variables in a chosen order, states being the values of the variables still needed).

R. Dechter, "Bucket elimination", Artificial Intelligence 113 (1999) 41-85.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import comb, perm
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

IntArray: TypeAlias = NDArray[np.intp]
Pair: TypeAlias = tuple[int, int]
State: TypeAlias = tuple[int, tuple[int, ...]]
"""Wires used up, as a bit mask, and the wires of the terminals that a later pair still needs."""


@dataclass(frozen=True, slots=True)
class Coupling:
    """A pair whose second terminal is placed in this step.

    Attributes
    ----------
    pair : int
        Index of the pair in the caller's list.
    cell : ndarray, shape (n_transition,)
        Where the pair's factor of each transition stands in its table read row by row: wire of
        the first terminal times n plus wire of the second.
    """

    pair: int
    cell: IntArray


@dataclass(frozen=True, slots=True)
class Step:
    """One terminal gets its wire: all transitions from one layer of states to the next.

    Transitions are numbered so that those of one source state stand together, ``n_choice`` to
    each state. By symmetry between the wires every target state has the same number of incoming
    transitions and every wire the same number of uses; the two permutations bring those together,
    so that plain reshaping replaces scattered sums.

    Attributes
    ----------
    terminal : int
        The terminal placed in this step.
    n_choice : int
        Wires still free, the same for every source state.
    n_target : int
        States of the next layer.
    wire, target, source : ndarray, shape (n_transition,)
        Wire given, index of the state reached, index of the state left.
    by_target, by_wire : ndarray, shape (n_transition,)
        Orders of the transitions, grouped by target state and by wire.
    couplings : tuple of Coupling
        Pairs that are complete with this step.
    """

    terminal: int
    n_choice: int
    n_target: int
    wire: IntArray
    target: IntArray
    source: IntArray
    by_target: IntArray
    by_wire: IntArray
    couplings: tuple[Coupling, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps in their order, from the empty assignment to the complete one.

    Attributes
    ----------
    n_terminal : int
        Terminals, and as many wires.
    steps : tuple of Step
        One a terminal; the first layer and the last have one state each.
    """

    n_terminal: int
    steps: tuple[Step, ...]

    @property
    def n_transition(self) -> int:
        """Transitions of all steps together: multiplications for each member of a batch."""
        return sum(step.wire.size for step in self.steps)

    @property
    def widest(self) -> int:
        """Transitions of the largest step: what decides the memory needed."""
        return max(step.wire.size for step in self.steps)


@lru_cache(maxsize=256)
def make_plan(n_terminal: int, pairs: tuple[Pair, ...]) -> Plan:
    """Plan the sum over all assignments of ``n_terminal`` terminals.

    Parameters
    ----------
    n_terminal : int
        Terminals, each >= 1.
    pairs : tuple of (int, int)
        Terminals between which a factor depends on the wires of both; the two differ, repeats are
        allowed.

    Returns
    -------
    Plan
        The steps in the cheapest order; kept for the next call with the same arguments.

    Raises
    ------
    Nothing
        The callers have checked their arguments.
    """
    order = _cheapest_order(n_terminal, pairs)
    layer = _Layer([(0, ())], ())
    steps: list[Step] = []
    for position, terminal in enumerate(order):
        placed = order[: position + 1]
        needed = _held(frozenset(placed), pairs)
        keep = tuple(t for t in placed if t in needed)
        step, layer = _make_step(terminal, layer, keep, pairs, n_terminal)
        steps.append(step)
    return Plan(n_terminal, tuple(steps))


@dataclass(frozen=True, slots=True)
class _Layer:
    """States between two steps, and the terminals whose wires they remember, in that order."""

    states: list[State]
    held: tuple[int, ...]


def _held(placed: frozenset[int], pairs: tuple[Pair, ...]) -> frozenset[int]:
    """Terminals already placed that share a pair with one not yet placed."""
    return frozenset(
        here for one, other in pairs for here, there in ((one, other), (other, one))
        if here in placed and there not in placed
    )  # fmt: skip


def _cheapest_order(n_terminal: int, pairs: tuple[Pair, ...]) -> tuple[int, ...]:
    """Find the order with the fewest transitions, by dynamic programming over sets placed."""
    best: dict[frozenset[int], tuple[int, tuple[int, ...]]] = {frozenset(): (0, ())}
    for size in range(n_terminal):
        reached: dict[frozenset[int], tuple[int, tuple[int, ...]]] = {}
        for placed, (cost, order) in best.items():
            # States: which wires are used, times which of them the held terminals have.
            n_state = comb(n_terminal, size) * perm(size, len(_held(placed, pairs)))
            for terminal in range(n_terminal):
                if terminal not in placed:
                    candidate = (cost + n_state * (n_terminal - size), (*order, terminal))
                    grown = placed | {terminal}
                    reached[grown] = min(reached.get(grown, candidate), candidate)
        best = reached
    return best[frozenset(range(n_terminal))][1]


def _make_step(
    terminal: int,
    layer: _Layer,
    keep: tuple[int, ...],
    pairs: tuple[Pair, ...],
    n_terminal: int,
) -> tuple[Step, _Layer]:
    """List the transitions that place ``terminal``, and the states they lead to."""
    known = (*layer.held, terminal)
    columns_kept = [known.index(t) for t in keep]
    index: dict[State, int] = {}
    targets: list[int] = []
    rows: list[tuple[int, ...]] = []  # wires of the terminals `known`, one row a transition
    for used, remembered in layer.states:
        for wire in range(n_terminal):
            if not used >> wire & 1:
                row = (*remembered, wire)
                reached = (used | 1 << wire, tuple(row[i] for i in columns_kept))
                targets.append(index.setdefault(reached, len(index)))
                rows.append(row)
    wires: IntArray = np.array(rows, dtype=np.intp)  # (n_transition, n_known)
    target: IntArray = np.array(targets, dtype=np.intp)
    n_choice = len(rows) // len(layer.states)
    step = Step(
        terminal=terminal,
        n_choice=n_choice,
        n_target=len(index),
        wire=wires[:, -1].copy(),
        target=target,
        source=np.repeat(np.arange(len(layer.states)), n_choice),
        by_target=np.argsort(target, kind="stable"),
        by_wire=np.argsort(wires[:, -1], kind="stable"),
        couplings=_couplings(known, wires, pairs, n_terminal),
    )
    return step, _Layer(list(index), keep)


def _couplings(
    known: tuple[int, ...], wires: IntArray, pairs: tuple[Pair, ...], n_terminal: int
) -> tuple[Coupling, ...]:
    """Pairs that the terminal placed last, ``known[-1]``, completes."""
    return tuple(
        Coupling(pair, wires[:, known.index(one)] * n_terminal + wires[:, known.index(other)])
        for pair, (one, other) in enumerate(pairs)
        if known[-1] in (one, other) and one in known and other in known
    )
