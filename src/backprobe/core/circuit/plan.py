"""Circuits as padded arrays: many different circuits solved in one batch.

A `CircuitPlan` is one circuit (one family with one fault) as stamps over numbered nodes and
numbered values. `stack_plans` pads plans of unlike size into a `CircuitTable`, so that
hundreds of rival circuits are solved by the same few array operations (`evaluate.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import ValueOutOfRange

IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_SWITCH = 2  # elements of one circuit that may switch independently of each other
NO_VALUE = -1
ZERO_SLOT = 0  # value slot that always holds 0
ONE_SLOT = 1  # value slot that always holds 1
FIRST_SLOT = 2  # first slot that a circuit may use for its own values


class Mode(IntEnum):
    """What is connected and powered while a reading is taken."""

    UNPLUGGED = 0
    PLUGGED = 1
    SENSOR_ALONE = 2  # an ohmmeter on the unplugged sensor
    UNPLUGGED_OFF = 3
    PLUGGED_OFF = 4


@dataclass(frozen=True, slots=True)
class Stamp:
    """One coefficient and where it enters the nodal equations.

    Attributes
    ----------
    kind : int
        `Coefficient` code.
    values : tuple of 3 int
        Value slots of p0, p1, p2.
    nodes : tuple of 4 int
        u+, u-, w+, w-; 0 is the reference node, i the i-th node (from 1).
    modes : frozenset of Mode
        Modes in which the stamp is there.
    switch, level : int
        Switching element (-1: none) and the level (0 or 1) at which the stamp is there.
    group, region : int
        Piecewise-linear group (-1: none) and the region in which the stamp is there.
    alternating : bool
        A source of the alternating solution instead of the direct one.
    only_slot, only_code : int
        Value slot of a choice (-1: none) and the code at which the stamp is there.
    """

    kind: int
    values: tuple[int, int, int]
    nodes: tuple[int, int, int, int]
    modes: frozenset[Mode]
    switch: int = -1
    level: int = 0
    group: int = -1
    region: int = 0
    alternating: bool = False
    only_slot: int = -1
    only_code: int = 0


@dataclass(frozen=True, slots=True)
class Group:
    """A piecewise-linear element: which region it is in follows from one node difference.

    Region 1 where V(nodes) is below ``low``, region 2 where it is above ``high``, else 0.
    A limit is ``value[first] - value[second] * value[third]``; ``None`` means no limit. ``usual``
    is the region of a sound circuit, from which answers are sought.
    """

    nodes: tuple[int, int]
    low: tuple[int, int, int] | None = None
    high: tuple[int, int, int] | None = None
    usual: int = 0


@dataclass(frozen=True, slots=True)
class CircuitPlan:
    """One circuit as stamps; see the module text."""

    node_names: tuple[str, ...]
    stamps: tuple[Stamp, ...]
    groups: tuple[Group, ...]
    probe_nodes: tuple[int, ...]
    unit_nodes: tuple[int, ...]
    switch_share: tuple[int, ...]
    switch_hertz: tuple[int, ...]
    n_value: int


@dataclass(frozen=True, slots=True)
class CircuitTable:
    """Stacked plans. Letters: H circuits, K stamps, N nodes, G groups, T terminals, P values.

    Node 0 is the reference in every index array; ``-1`` marks "not there".
    """

    kind: NDArray[np.int8]  # (H, K)
    value: IntArray  # (H, K, 3)
    nodes: IntArray  # (H, K, 4)
    active: Bools  # (H, K, n_mode)
    switch: IntArray  # (H, K)
    level: IntArray  # (H, K)
    group: IntArray  # (H, K)
    region: IntArray  # (H, K)
    alternating: Bools  # (H, K)
    only_slot: IntArray  # (H, K)
    only_code: IntArray  # (H, K)
    group_nodes: IntArray  # (H, G, 2)
    group_low: IntArray  # (H, G, 3), -1: none
    group_high: IntArray  # (H, G, 3)
    group_usual: IntArray  # (H, G)
    probe: IntArray  # (H, T)
    unit: IntArray  # (H, T)
    switch_share: IntArray  # (H, N_SWITCH)
    switch_hertz: IntArray  # (H, N_SWITCH)
    n_node: IntArray  # (H,)
    n_value: int

    def rows(self, index: IntArray) -> "CircuitTable":
        """The circuits of ``index`` (shape (M,)), trimmed to the nodes and stamps they use."""
        n_stamp = max(int((self.kind[index] > 0).sum(axis=1).max(initial=1)), 1)
        n_group = max(int((self.group_nodes[index] >= 0).all(axis=2).sum(axis=1).max(initial=1)), 1)
        return CircuitTable(
            kind=self.kind[index, :n_stamp],
            value=self.value[index, :n_stamp],
            nodes=self.nodes[index, :n_stamp],
            active=self.active[index, :n_stamp],
            switch=self.switch[index, :n_stamp],
            level=self.level[index, :n_stamp],
            group=self.group[index, :n_stamp],
            region=self.region[index, :n_stamp],
            alternating=self.alternating[index, :n_stamp],
            only_slot=self.only_slot[index, :n_stamp],
            only_code=self.only_code[index, :n_stamp],
            group_nodes=self.group_nodes[index, :n_group],
            group_low=self.group_low[index, :n_group],
            group_high=self.group_high[index, :n_group],
            group_usual=self.group_usual[index, :n_group],
            probe=self.probe[index],
            unit=self.unit[index],
            switch_share=self.switch_share[index],
            switch_hertz=self.switch_hertz[index],
            n_node=self.n_node[index],
            n_value=self.n_value,
        )


def stack_plans(plans: Sequence[CircuitPlan], n_terminal: int = 0) -> CircuitTable:
    """Pad plans to one size and stack them.

    Parameters
    ----------
    plans : sequence of CircuitPlan
        Circuits; those with fewer terminals are padded with terminals at the reference.
    n_terminal : int
        Terminals to pad to, at least.

    Returns
    -------
    CircuitTable
        One row a plan, in the same order.

    Raises
    ------
    ValueOutOfRange
        No plan, or more than `N_SWITCH` switching elements in one.
    """
    if not plans:
        raise ValueOutOfRange(what="No circuit to solve was given.", remedy="Give at least one.")
    most = max(len(plan.switch_share) for plan in plans)
    if most > N_SWITCH:
        raise ValueOutOfRange(
            what=f"A circuit has {most} switching elements.",
            remedy=f"At most {N_SWITCH} can be solved.",
        )
    table = _blank(
        n_circuit=len(plans),
        n_stamp=max(len(plan.stamps) for plan in plans),
        n_group=max(1, *(len(plan.groups) for plan in plans)),
        n_terminal=max(n_terminal, *(len(plan.probe_nodes) for plan in plans)),
        n_value=max(plan.n_value for plan in plans),
    )
    for row, plan in enumerate(plans):
        _fill(table, row, plan)
    return table


def _blank(
    n_circuit: int, n_stamp: int, n_group: int, n_terminal: int, n_value: int
) -> CircuitTable:
    """A table of circuits in which nothing is connected yet."""

    def zeros(*shape: int) -> IntArray:
        return np.zeros((n_circuit, *shape), dtype=np.int64)

    def missing(*shape: int) -> IntArray:
        return np.full((n_circuit, *shape), NO_VALUE, dtype=np.int64)

    return CircuitTable(
        kind=np.zeros((n_circuit, n_stamp), dtype=np.int8),
        value=zeros(n_stamp, 3),
        nodes=zeros(n_stamp, 4),
        active=np.zeros((n_circuit, n_stamp, len(Mode)), dtype=bool),
        switch=missing(n_stamp),
        level=zeros(n_stamp),
        group=missing(n_stamp),
        region=zeros(n_stamp),
        alternating=np.zeros((n_circuit, n_stamp), dtype=bool),
        only_slot=missing(n_stamp),
        only_code=zeros(n_stamp),
        group_nodes=missing(n_group, 2),
        group_low=missing(n_group, 3),
        group_high=missing(n_group, 3),
        group_usual=zeros(n_group),
        probe=zeros(n_terminal),
        unit=zeros(n_terminal),
        switch_share=missing(N_SWITCH),
        switch_hertz=missing(N_SWITCH),
        n_node=zeros(),
        n_value=n_value,
    )


def _fill(table: CircuitTable, row: int, plan: CircuitPlan) -> None:
    """Write a plan into a row of a blank table, in place."""
    for k, stamp in enumerate(plan.stamps):
        table.kind[row, k] = stamp.kind
        table.value[row, k] = stamp.values
        table.nodes[row, k] = stamp.nodes
        table.active[row, k, [int(mode) for mode in stamp.modes]] = True
        table.switch[row, k], table.level[row, k] = stamp.switch, stamp.level
        table.group[row, k], table.region[row, k] = stamp.group, stamp.region
        table.alternating[row, k] = stamp.alternating
        table.only_slot[row, k], table.only_code[row, k] = stamp.only_slot, stamp.only_code
    for g, group in enumerate(plan.groups):
        table.group_nodes[row, g], table.group_usual[row, g] = group.nodes, group.usual
        if group.low is not None:
            table.group_low[row, g] = group.low
        if group.high is not None:
            table.group_high[row, g] = group.high
    table.probe[row, : len(plan.probe_nodes)] = plan.probe_nodes
    table.unit[row, : len(plan.unit_nodes)] = plan.unit_nodes
    table.switch_share[row, : len(plan.switch_share)] = plan.switch_share
    table.switch_hertz[row, : len(plan.switch_hertz)] = plan.switch_hertz
    table.n_node[row] = len(plan.node_names)
