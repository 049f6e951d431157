"""A family, with or without a fault, as a circuit plan and the priors of its values.

Wires get what every wire has: series resistance between control unit and probe, insulation, and
the contact to the sensor's pin. Elements become stamps (`element_stamps.py`). A fault is an edit of
the netlist or of a prior (`fault_edits.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.plan import (
    FIRST_SLOT,
    ONE_SLOT,
    ZERO_SLOT,
    CircuitPlan,
    Mode,
    Stamp,
)
from backprobe.families.element_stamps import (
    ALONE,
    CONNECTED,
    SWITCHED_OFF,
    UNIT_SIDE,
    UNPLUGGED,
    StampWriter,
    Where,
    write_element,
    write_junction,
)
from backprobe.families.fault_edits import apply_fault
from backprobe.families.faults import HEALTHY, Fault
from backprobe.families.netlist import Netlist, netlist_of
from backprobe.families.output_edits import SOUND_OHM
from backprobe.families.schema import Driven, Element, Family, Prior, options_of

CONNECTOR = "connector"  # value of common.toml that says whether the sensor is plugged in


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
    writer = StampWriter()
    _write_wires(writer, netlist)
    for element in netlist.elements:
        write_element(writer, element, _where(writer, netlist, element))
        _write_absence(writer, netlist, element)
    for anode, cathode, only_if in netlist.junctions:
        where = _only_if(writer, netlist, only_if, CONNECTED)
        write_junction(writer, (anode, cathode), where)
    for a, b, value, on_sensor in netlist.bridges:
        modes = CONNECTED | ALONE if on_sensor else UNIT_SIDE
        writer.conductance((a, b), value, Where(modes))
    _write_off_load(writer)
    if SOUND_OHM in netlist.values:
        writer.slot(SOUND_OHM)  # in no circuit, but in what a control unit makes of it
    component = _anchored(writer, family)
    return FamilyCircuit(
        family=family,
        fault=fault,
        plan=_plan(writer, netlist),
        slots=tuple(writer.slots),
        values={n: p for n, p in netlist.values.items() if n in writer.slots},
        driven={n: d for n, d in netlist.driven.items() if n in writer.slots},
        component=component,
        active_ends=tuple(_is_active_end(netlist, wire.pin) for wire in family.wires),
        alternating_hertz=writer.alternating_hertz,
    )


def _plan(writer: StampWriter, netlist: Netlist) -> CircuitPlan:
    names = sorted(writer.nodes, key=lambda name: writer.nodes[name])[1:]
    wires = netlist.family.wires
    return CircuitPlan(
        node_names=tuple(names),
        stamps=tuple(writer.stamps),
        groups=tuple(writer.groups),
        probe_nodes=tuple(writer.nodes[wire.name] for wire in wires),
        unit_nodes=tuple(writer.nodes[netlist.unit_node_of[wire.name]] for wire in wires),
        switch_share=tuple(writer.shares),
        switch_hertz=tuple(writer.hertz),
        n_value=FIRST_SLOT + len(writer.slots),
    )


def _write_wires(writer: StampWriter, netlist: Netlist) -> None:
    for wire in netlist.family.wires:
        name, pin = wire.name, netlist.pin_of[wire.name]
        start = netlist.unit_node_of[name]
        writer.conductance((start, name), netlist.series[name], Where(UNIT_SIDE))
        writer.conductance((name, "battery-"), f"{name}.insulation-ohm", Where(UNIT_SIDE))
        mated, alone = netlist.mated.get(name), netlist.contact[name]
        if mated is not None:
            writer.conductance((name, pin), mated, Where(CONNECTED))
        modes = CONNECTED | ALONE if mated is None else ALONE
        writer.conductance((name, pin), alone, Where(modes))


def _where(writer: StampWriter, netlist: Netlist, element: Element) -> Where:
    """When an element is there: by side, and by a choice where it depends on one."""
    if element.side == "control-unit":
        modes = UNIT_SIDE
    else:
        modes = CONNECTED | ALONE if element.passive else CONNECTED
    return _only_if(writer, netlist, element.only_if, modes)


def _only_if(
    writer: StampWriter, netlist: Netlist, only_if: tuple[str, str] | None, modes: frozenset[Mode]
) -> Where:
    """Modes, and the choice that something depends on."""
    if only_if is None:
        return Where(modes)
    name, word = only_if
    if name == CONNECTOR:  # not a choice of the vehicle but a state of the connector
        return Where(modes & (CONNECTED if word == "plugged" else UNPLUGGED))
    return Where(modes, only_slot=writer.slot(name), only_code=_codes(netlist, name)[word])


def _codes(netlist: Netlist, name: str) -> Mapping[str, int]:
    """What stands for each option of a choice: its own number where it is driven, or its place."""
    if name in netlist.driven:
        return {option: int(option) for option in options_of(netlist.driven[name])}
    return {option: place for place, option in enumerate(options_of(netlist.values[name]))}


def _write_absence(writer: StampWriter, netlist: Netlist, element: Element) -> None:
    """To an ohmmeter, a part that this vehicle does not have is an open circuit.

    Without it the pins that it would join would hang in the air, and have no voltage at all.
    """
    if element.side != "sensor" or not element.passive or element.only_if is None:
        return
    name, word = element.only_if
    if name == CONNECTOR:
        return
    for other, code in _codes(netlist, name).items():
        if other != word:
            where = Where(ALONE, only_slot=writer.slot(name), only_code=code)
            for ends in pairwise(element.nodes):
                writer.conductance(ends, "absent-ohm", where)


def _write_off_load(writer: StampWriter) -> None:
    """With the key off, what else hangs on the feed, or inside the unit, holds it near ground."""
    for node, ohm in (("feed", "off-load-ohm"), ("cu-battery", "off-ohm")):
        if node in writer.nodes:
            writer.conductance((node, "battery-"), ohm, Where(SWITCHED_OFF))


def _is_active_end(netlist: Netlist, pin: str) -> bool:
    return any(pin in e.nodes for e in netlist.elements if e.side == "sensor" and not e.passive)


def _anchored(writer: StampWriter, family: Family) -> tuple[int, ...]:
    """Tie one probe of each passive group of the lone sensor to the reference.

    An ohmmeter needs no reference; the equations do, and one tie a group changes no resistance
    within the group. Returns the group of each wire.
    """
    parent = list(range(len(writer.nodes)))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for stamp in writer.stamps:
        if Mode.SENSOR_ALONE in stamp.modes:
            parent[root(stamp.nodes[0])] = root(stamp.nodes[1])
    seen: dict[int, int] = {}
    component = []
    for wire in family.wires:
        node = writer.nodes[wire.name]
        group = root(node)
        if group not in seen and group != root(0):
            values = (ONE_SLOT, ZERO_SLOT, ZERO_SLOT)
            tie = Stamp(int(Coefficient.CONDUCTANCE), values, (node, 0, node, 0), ALONE)
            writer.stamps.append(tie)
        component.append(seen.setdefault(group, len(seen)))
    return tuple(component)
