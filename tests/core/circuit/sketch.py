"""Small circuits drawn by hand as plans: named nodes, numbers in place of value names."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.evaluate import Evaluation, Extra, evaluate
from backprobe.core.circuit.plan import (
    FIRST_SLOT,
    N_SWITCH,
    ONE_SLOT,
    ZERO_SLOT,
    CircuitPlan,
    CircuitTable,
    Group,
    Mode,
    Stamp,
    stack_plans,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ALL_MODES = frozenset(Mode)


@dataclass(frozen=True)
class When:
    """When a stamp is there; fields as those of `Stamp`."""

    modes: frozenset[Mode] = ALL_MODES
    switch: int = -1
    level: int = 0
    group: int = -1
    region: int = 0
    only_slot: int = -1
    only_code: int = 0


ALWAYS = When()


class Sketch:
    """A circuit being drawn; each number given becomes a value slot of its own."""

    def __init__(self) -> None:
        self.nodes: dict[str, int] = {"0": 0}
        self.values: list[float] = []
        self.stamps: list[Stamp] = []
        self.groups: list[Group] = []
        self.shares: list[int] = []

    def value(self, number: float) -> int:
        """Slot of a new value."""
        self.values.append(number)
        return FIRST_SLOT + len(self.values) - 1

    def node(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def stamp(
        self,
        kind: Coefficient,
        slots: Sequence[int],
        ends: tuple[str, str],
        when: When = ALWAYS,
        *,
        control: tuple[str, str] | None = None,
        alternating: bool = False,
    ) -> None:
        padded = [*slots, ZERO_SLOT, ZERO_SLOT, ZERO_SLOT][:3]
        seen = control if control is not None else ends
        self.stamps.append(
            Stamp(
                kind=int(kind),
                values=(padded[0], padded[1], padded[2]),
                nodes=(
                    self.node(ends[0]),
                    self.node(ends[1]),
                    self.node(seen[0]),
                    self.node(seen[1]),
                ),
                modes=when.modes,
                switch=when.switch,
                level=when.level,
                group=when.group,
                region=when.region,
                alternating=alternating,
                only_slot=when.only_slot,
                only_code=when.only_code,
            )
        )

    def resistor(self, a: str, b: str, ohm: float, when: When = ALWAYS) -> int:
        """A resistor; the slot of its ohms."""
        slot = self.value(ohm)
        self.stamp(Coefficient.CONDUCTANCE, [slot], (a, b), when)
        return slot

    def source(
        self, plus: str, minus: str, volt: float, ohm: float, alternating: bool = False
    ) -> tuple[int, int]:
        """A voltage behind a resistance; the slots of its volts and ohms."""
        volts, ohms = self.value(volt), self.resistor(plus, minus, ohm)
        slots = [volts, ohms]
        self.stamp(Coefficient.SOURCE, slots, (plus, minus), alternating=alternating)
        return volts, ohms

    def regulator(
        self, plus: str, minus: str, volt: float, ohm: float, limit: float, reverse: float
    ) -> None:
        """A source that gives no more than its limit and takes little back."""
        volts, ohms, most = self.value(volt), self.value(ohm), self.value(limit)
        back, ends = self.value(reverse), (plus, minus)
        pair = (self.node(plus), self.node(minus))
        self.groups.append(Group(pair, (volts, most, ohms), (volts, ZERO_SLOT, ZERO_SLOT)))
        group = len(self.groups) - 1
        self.stamp(Coefficient.CONDUCTANCE, [ohms], ends, When(group=group, region=0))
        self.stamp(Coefficient.SOURCE, [volts, ohms], ends, When(group=group, region=0))
        self.stamp(Coefficient.CURRENT, [most], ends, When(group=group, region=1))
        self.stamp(Coefficient.CONDUCTANCE, [back], ends, When(group=group, region=2))
        self.stamp(Coefficient.SOURCE, [volts, back], ends, When(group=group, region=2))

    def fed_output(
        self, output: str, supply: str, ground: str, volt: float, ohm: float, full: float
    ) -> None:
        """An output with its own regulator, which lets go with a short supply."""
        volts, ohms, enough = self.value(volt), self.value(ohm), self.value(full)
        released = self.value(2e6)
        self.groups.append(
            Group((self.node(supply), self.node(ground)), (enough, ZERO_SLOT, ZERO_SLOT))
        )
        group, ends = len(self.groups) - 1, (output, ground)
        self.stamp(Coefficient.CONDUCTANCE, [ohms], ends, When(group=group, region=0))
        self.stamp(Coefficient.SOURCE, [volts, ohms], ends, When(group=group, region=0))
        self.stamp(Coefficient.CONDUCTANCE, [released], ends, When(group=group, region=1))

    def sink(self, start: str, end: str, ampere: float, full: float) -> None:
        """A current that gives way below its full voltage."""
        amperes, enough = self.value(ampere), self.value(full)
        pair = (self.node(start), self.node(end))
        self.groups.append(Group(pair, (enough, ZERO_SLOT, ZERO_SLOT)))
        group = len(self.groups) - 1
        self.stamp(Coefficient.CURRENT, [amperes], (end, start), When(group=group, region=0))
        self.stamp(
            Coefficient.SINK_STARVED, [amperes, enough], (start, end), When(group=group, region=1)
        )

    def plan(self, *probes: str) -> CircuitPlan:
        """The plan, read at some nodes."""
        at = tuple(self.nodes[name] for name in probes)
        return CircuitPlan(
            node_names=tuple(self.nodes)[1:],
            stamps=tuple(self.stamps),
            groups=tuple(self.groups),
            probe_nodes=at,
            unit_nodes=at,
            switch_share=tuple(self.shares),
            switch_hertz=tuple(-1 for _ in self.shares),
            n_value=FIRST_SLOT + len(self.values),
        )

    def row(self, table: CircuitTable) -> Array:
        """The values by slot, as wide as a table's."""
        row = np.zeros(table.n_value)
        row[ONE_SLOT] = 1.0
        row[FIRST_SLOT : FIRST_SLOT + len(self.values)] = self.values
        return row


def solved(
    sketch: Sketch,
    *probes: str,
    mode: Mode = Mode.PLUGGED,
    levels: tuple[int, int] = (0, 0),
    extra: Extra | None = None,
    wanted: IntArray | None = None,
    pairs: bool = False,
    region: tuple[int, ...] | None = None,
) -> Evaluation:
    """One sketch, solved once: shapes (1, 1, ...); from regions to try first where given."""
    table = stack_plans([sketch.plan(*probes)])
    level = np.array([levels], dtype=np.int64)
    assert level.shape == (1, N_SWITCH)
    values = sketch.row(table)[None, None]
    mode_of = np.array([int(mode)])
    start = None if region is None else np.array([[region]], dtype=np.int64)
    return evaluate(
        table, values, mode_of, level, extra=extra, wanted=wanted, region=start, pairs=pairs
    )
