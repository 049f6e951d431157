"""A family, with or without a fault, as a circuit plan and the priors of its values.

Wires get what every wire has: series resistance between control unit and probe, insulation, and
the contact to the sensor's pin. Elements become stamps (`core.circuit.elements`). A fault is an
edit of the netlist or of a prior (`fault_edits.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.plan import (
    FIRST_SLOT,
    NO_VALUE,
    ONE_SLOT,
    ZERO_SLOT,
    CircuitPlan,
    Group,
    Mode,
    Stamp,
)
from backprobe.families.fault_edits import apply_fault
from backprobe.families.faults import HEALTHY, Fault
from backprobe.families.netlist import Netlist, netlist_of
from backprobe.families.schema import Driven, Element, Family, Prior

POWERED = frozenset((Mode.UNPLUGGED, Mode.PLUGGED))
SWITCHED_OFF = frozenset((Mode.UNPLUGGED_OFF, Mode.PLUGGED_OFF))
CONNECTED = frozenset((Mode.PLUGGED, Mode.PLUGGED_OFF))
UNIT_SIDE = POWERED | SWITCHED_OFF
ALONE = frozenset((Mode.SENSOR_ALONE,))
ALWAYS_THERE = ("battery", "battery-", "cu-inner", "cu-ground")  # sources that no key switches


@dataclass(frozen=True, slots=True)
class FamilyCircuit:
    """One family with one fault, ready to be stacked and solved.

    slots : names of the value slots, in order from `FIRST_SLOT`.
    values : prior of each static slot; driven : how each driven slot moves.
    component : which passive group each wire of the lone sensor belongs to (ohmmeter).
    active_ends : wires at which an ohmmeter would find electronics.
    alternating_hertz : slot of the frequency of the alternating sources, or -1.
    """

    family: Family
    fault: Fault
    plan: CircuitPlan
    slots: tuple[str, ...]
    values: Mapping[str, Prior]
    driven: Mapping[str, Driven]
    component: tuple[int, ...]
    active_ends: tuple[bool, ...]
    alternating_hertz: int


def compile_family(family: Family, fault: Fault = HEALTHY) -> FamilyCircuit:
    """Draw up a family with one fault.

    Returns the plan of the circuit and the priors of its values; `faults_of` gives the faults.
    """
    netlist = netlist_of(family)
    apply_fault(netlist, fault)
    netlist.drop_unused()
    return _Compiler(netlist).circuit(fault)


class _Compiler:
    """Turns a netlist into stamps; holds the numbering of nodes, slots and groups."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.nodes: dict[str, int] = {"battery-": 0}
        self.slots: dict[str, int] = {}
        self.stamps: list[Stamp] = []
        self.groups: list[Group] = []
        self.shares: list[int] = []
        self.hertz: list[int] = []
        self.alternating_hertz = NO_VALUE

    def circuit(self, fault: Fault) -> FamilyCircuit:
        family = self.netlist.family
        for wire in family.wires:
            self._wire(wire.name, wire.to)
        for element in self.netlist.elements:
            self._element(element)
        for a, b, value, on_sensor in self.netlist.bridges:
            modes = CONNECTED | ALONE if on_sensor else UNIT_SIDE
            self._conductance(a, b, value, modes)
        self._off_loads()
        component = self._anchors()
        names = sorted(self.nodes, key=lambda n: self.nodes[n])[1:]
        plan = CircuitPlan(
            node_names=tuple(names),
            stamps=tuple(self.stamps),
            groups=tuple(self.groups),
            probe_nodes=tuple(self.nodes[w.name] for w in family.wires),
            unit_nodes=tuple(self.nodes[w.to] for w in family.wires),
            switch_share=tuple(self.shares),
            switch_hertz=tuple(self.hertz),
            n_value=FIRST_SLOT + len(self.slots),
        )
        used = tuple(self.slots)
        return FamilyCircuit(
            family=family,
            fault=fault,
            plan=plan,
            slots=used,
            values={n: p for n, p in self.netlist.values.items() if n in self.slots},
            driven={n: d for n, d in self.netlist.driven.items() if n in self.slots},
            component=component,
            active_ends=tuple(self._is_active_end(w.pin) for w in family.wires),
            alternating_hertz=self.alternating_hertz,
        )

    # numbering -------------------------------------------------------------------------------
    def _node(self, name: str) -> int:
        return self.nodes.setdefault(name, len(self.nodes))

    def _slot(self, name: str) -> int:
        return self.slots.setdefault(name, FIRST_SLOT + len(self.slots))

    # stamps ----------------------------------------------------------------------------------
    def _stamp(
        self,
        kind: Coefficient,
        values: tuple[str, ...],
        u: tuple[str, str],
        modes: frozenset[Mode],
        *,
        w: tuple[str, str] | None = None,
        **extra: int | bool,
    ) -> None:
        slots = [self._slot(v) for v in values] + [ZERO_SLOT] * (3 - len(values))
        v = w if w is not None else u
        self.stamps.append(
            Stamp(
                kind=int(kind),
                values=(slots[0], slots[1], slots[2]),
                nodes=(self._node(u[0]), self._node(u[1]), self._node(v[0]), self._node(v[1])),
                modes=modes,
                **extra,  # type: ignore[arg-type]  # switch, level, group, region, alternating
            )
        )

    def _conductance(
        self, a: str, b: str, value: str, modes: frozenset[Mode], **extra: int | bool
    ) -> None:
        self._stamp(Coefficient.CONDUCTANCE, (value,), (a, b), modes, **extra)

    def _wire(self, name: str, to: str) -> None:
        self._conductance(to, name, self.netlist.series[name], UNIT_SIDE)
        self._conductance(name, "battery-", f"{name}.insulation-ohm", UNIT_SIDE)
        pin, value = self.netlist.pin_of[name], self.netlist.contact[name]
        self._conductance(name, pin, value, CONNECTED | ALONE)

    def _modes(self, element: Element) -> frozenset[Mode]:
        if element.side == "control-unit":
            return UNIT_SIDE
        return CONNECTED | ALONE if element.passive else CONNECTED

    def _element(self, element: Element) -> None:
        condition = self._condition(element)
        getattr(self, f"_{element.kind}")(element, self._modes(element), condition)

    def _condition(self, element: Element) -> dict[str, int]:
        if element.only_if is None:
            return {}
        name, word = element.only_if
        return {
            "only_slot": self._slot(name),
            "only_code": self.netlist.values[name].choices.index(word),
        }

    # kinds of element ------------------------------------------------------------------------
    def _resistor(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        value = e.parameters["ohm"]
        if e.name == "feed-wiring":
            modes = POWERED
        self._conductance(e.nodes[0], e.nodes[1], value, modes, **only)

    def _source(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        plus, minus = e.nodes[0], e.nodes[1]
        volt, ohm = e.parameters["volt"], e.parameters["ohm"]
        switched = e.side == "control-unit" and not (plus in ALWAYS_THERE and minus in ALWAYS_THERE)
        if switched:
            self._conductance(plus, minus, "off-ohm", SWITCHED_OFF, **only)
            modes = POWERED
        region: dict[str, int] = dict(only)
        if "limit_ampere" in e.parameters:
            limit = e.parameters["limit_ampere"]
            group = self._group((plus, minus), low=(volt, limit, ohm), high=(volt, None, None))
            self._stamp(
                Coefficient.CURRENT, (limit,), (plus, minus), modes, group=group, region=1, **only
            )
            self._conductance(plus, minus, "reverse-ohm", modes, group=group, region=2, **only)
            self._stamp(
                Coefficient.SOURCE,
                (volt, "reverse-ohm"),
                (plus, minus),
                modes,
                group=group,
                region=2,
                **only,
            )
            region |= {"group": group, "region": 0}
        self._conductance(plus, minus, ohm, modes, **region)
        self._stamp(Coefficient.SOURCE, (volt, ohm), (plus, minus), modes, **region)

    def _sink(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        start, end = e.nodes[0], e.nodes[1]
        ampere, full = e.parameters["ampere"], e.parameters["full_volt"]
        group = self._group((start, end), low=(full, None, None))
        self._stamp(
            Coefficient.CURRENT, (ampere,), (end, start), modes, group=group, region=0, **only
        )
        self._stamp(
            Coefficient.SINK_STARVED,
            (ampere, full),
            (start, end),
            modes,
            group=group,
            region=1,
            **only,
        )

    def _thermistor(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        p = e.parameters
        values = (p["ohm_25"], p["beta_kelvin"], p["celsius"])
        self._stamp(Coefficient.THERMISTOR, values, (e.nodes[0], e.nodes[1]), modes, **only)

    def _platinum(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        values = (e.parameters["ohm_0"], e.parameters["celsius"])
        self._stamp(Coefficient.PLATINUM, values, (e.nodes[0], e.nodes[1]), modes, **only)

    def _potentiometer(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        upper, wiper, lower = e.nodes
        track = f"{e.name}.track"
        values = (e.parameters["ohm"], e.parameters["position"])
        self._stamp(Coefficient.TRACK_UPPER, values, (upper, track), modes, **only)
        self._stamp(Coefficient.TRACK_LOWER, values, (track, lower), modes, **only)
        self._conductance(track, wiper, e.parameters["wiper_ohm"], modes, **only)

    def _coil(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        self._conductance(e.nodes[0], e.nodes[1], e.parameters["ohm"], modes, **only)
        self._alternating(e, modes, only)

    def _cell(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        ends, p = (e.nodes[0], e.nodes[1]), e.parameters
        self._conductance(*ends, p["ohm"], modes, **only)
        self._stamp(Coefficient.SOURCE, (p["volt"], p["ohm"]), ends, modes, **only)
        self._alternating(e, modes, only)

    def _alternating(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        if "ac_volt" not in e.parameters:
            return
        values = (e.parameters["ac_volt"], e.parameters["ohm"])
        ends = (e.nodes[0], e.nodes[1])
        powered = modes & frozenset((Mode.PLUGGED,))
        self._stamp(Coefficient.SOURCE, values, ends, powered, alternating=True, **only)
        if "hertz" in e.parameters:
            self.alternating_hertz = self._slot(e.parameters["hertz"])

    def _contact(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        switch = self._switch(e.parameters["closed"], e.parameters.get("hertz"))
        ends = (e.nodes[0], e.nodes[1])
        if e.side == "control-unit":  # a driver is open when the key is off
            self._conductance(*ends, e.parameters["open_ohm"], SWITCHED_OFF, **only)
            modes = POWERED
        levels = ((1, e.parameters["closed_ohm"]), (0, e.parameters["open_ohm"]))
        for level, ohm in levels:
            self._conductance(*ends, ohm, modes, switch=switch, level=level, **only)

    def _ratiometric(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        output, supply, ground = e.nodes
        ohm = e.parameters["ohm"]
        self._conductance(output, ground, ohm, modes, **only)
        for key, switching in self._levels(e, "ratio"):
            self._stamp(
                Coefficient.TRANSFER,
                (ohm, e.parameters[key]),
                (output, ground),
                modes,
                w=(supply, ground),
                **switching,
                **only,
            )

    def _regulated(self, e: Element, modes: frozenset[Mode], only: dict[str, int]) -> None:
        output, supply, ground = e.nodes
        ohm, full = e.parameters["ohm"], e.parameters["full_volt"]
        group = self._group((supply, ground), low=(full, None, None))
        self._conductance(output, ground, ohm, modes, **only)
        for key, switching in self._levels(e, "volt"):
            volt = e.parameters[key]
            self._stamp(
                Coefficient.SOURCE,
                (volt, ohm),
                (output, ground),
                modes,
                group=group,
                region=0,
                **switching,
                **only,
            )
            self._stamp(
                Coefficient.TRANSFER_STARVED,
                (ohm, volt, full),
                (output, ground),
                modes,
                w=(supply, ground),
                group=group,
                region=1,
                **switching,
                **only,
            )

    # helpers of the kinds --------------------------------------------------------------------
    def _levels(self, e: Element, key: str) -> list[tuple[str, dict[str, int]]]:
        if "high" not in e.parameters:
            return [(key, {})]
        switch = self._switch(e.parameters["high"], e.parameters.get("hertz"))
        return [
            (f"{key}_low", {"switch": switch, "level": 0}),
            (f"{key}_high", {"switch": switch, "level": 1}),
        ]

    def _switch(self, share: str, hertz: str | None) -> int:
        self.shares.append(self._slot(share))
        self.hertz.append(self._slot(hertz) if hertz is not None else NO_VALUE)
        return len(self.shares) - 1

    def _group(
        self,
        nodes: tuple[str, str],
        low: tuple[str, str | None, str | None] | None = None,
        high: tuple[str, str | None, str | None] | None = None,
    ) -> int:
        def slots(limit: tuple[str, str | None, str | None] | None) -> tuple[int, int, int] | None:
            if limit is None:
                return None
            a, b, c = (ZERO_SLOT if n is None else self._slot(n) for n in limit)
            return a, b, c

        pair = (self._node(nodes[0]), self._node(nodes[1]))
        self.groups.append(Group(pair, slots(low), slots(high)))
        return len(self.groups) - 1

    def _off_loads(self) -> None:
        """With the key off, what else hangs on the feed holds it near ground."""
        if "feed" in self.nodes:
            self._conductance("feed", "battery-", "off-load-ohm", SWITCHED_OFF)

    def _is_active_end(self, pin: str) -> bool:
        return any(
            pin in e.nodes for e in self.netlist.elements if e.side == "sensor" and not e.passive
        )

    def _anchors(self) -> tuple[int, ...]:
        """Tie one probe of each passive group of the lone sensor to the reference.

        An ohmmeter needs no reference; the equations do, and one tie a group changes no
        resistance within the group.
        """
        parent = list(range(len(self.nodes)))

        def root(i: int) -> int:
            while parent[i] != i:
                i = parent[i]
            return i

        for stamp in self.stamps:
            if Mode.SENSOR_ALONE in stamp.modes:
                parent[root(stamp.nodes[0])] = root(stamp.nodes[1])
        seen: dict[int, int] = {}
        component = []
        for wire in self.netlist.family.wires:
            group = root(self.nodes[wire.name])
            if group not in seen and group != root(0):
                node = self.nodes[wire.name]
                self.stamps.append(
                    Stamp(
                        int(Coefficient.CONDUCTANCE),
                        (ONE_SLOT, ZERO_SLOT, ZERO_SLOT),
                        (node, 0, node, 0),
                        ALONE,
                    )
                )
            component.append(seen.setdefault(group, len(seen)))
        return tuple(component)
