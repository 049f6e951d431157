"""The sound circuit of a family as a netlist that faults can edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from backprobe.families.faults import COMMON_PRACTICE
from backprobe.families.schema import Driven, Element, Family, Prior

# What an unpowered control unit shows an ohmmeter at its supplies: a few kilohms of what hangs on
# them, or next to nothing behind a regulator that blocks; common practice, no source.
OFF_OHM = Prior("log_uniform", 300.0, 3e7, source=COMMON_PRACTICE)
# Fed from outside, some regulators hold their voltage down, others hardly take any current.
REVERSE_OHM = Prior("log_uniform", 3.0, 2e4, source=COMMON_PRACTICE)
# A silicon junction, and what an output without supply leaves of itself.
JUNCTION_VOLT = Prior(
    "normal", 0.58, 0.13, source="textbook: 0.6 V at a milliampere, 0.4 V at a microampere"
)
JUNCTION_OHM = Prior("log_uniform", 0.1, 6.0, source=COMMON_PRACTICE)
RELEASED_OHM = Prior("fixed", 2e6, source=COMMON_PRACTICE)
SATURATED_OHM = Prior("fixed", 1.0, source=COMMON_PRACTICE)  # the rest is in closed_ohm
ABSENT_OHM = Prior("fixed", 1e9, source="more than a meter can measure")
STARVED_OHM = Prior("fixed", 2e7, source="common practice: beside electronics that draw nothing")
# Roles whose wires carry enough current for their resistance to show.
WITH_CURRENT = (
    "supply-battery",
    "supply-regulated",
    "sensor-ground",
    "heater-control",
    "driver-control",
    "motor",
)
# Elements of common.toml that a circuit may do without.
SHARED = (
    "feed-wiring",
    "feed-loads",
    "cu-battery-wiring",
    "ground-rail",
    "body-ground",
    "vcc-regulator",
    "ref-regulator",
)


@dataclass
class Netlist:
    """A circuit being drawn up: elements, wires and priors that a fault may still edit."""

    family: Family
    values: dict[str, Prior]
    driven: dict[str, Driven]
    elements: list[Element]
    series: dict[str, str]  # wire -> value name of its series resistance
    contact: dict[str, str]  # wire -> value name of its contact
    pin_of: dict[str, str]  # wire -> pin node that its contact reaches
    unit_node_of: dict[str, str]  # wire -> node of the control unit's side that it comes from
    # wire -> value name of its contact while plugged in, where it isn't the same by itself
    mated: dict[str, str] = field(default_factory=dict)
    bridges: list[tuple[str, str, str, bool]] = field(default_factory=list)  # a, b, value, sensor
    # Of the sensor: anode, cathode, and the choice that it depends on.
    junctions: list[tuple[str, str, tuple[str, str] | None]] = field(default_factory=list)

    def own_pin(self, wire: str) -> str:
        """The pin that the family means for a wire, whichever its contact reaches."""
        return next(w.pin for w in self.family.wires if w.name == wire)

    def drop_unused(self) -> None:
        """Leave out shared supplies and rails that nothing in this circuit hangs on."""
        while True:
            used = {n for a, b, _, _ in self.bridges for n in (a, b)}
            used |= set(self.unit_node_of.values())
            for e in self.elements:
                used |= set(e.nodes) - ({_far_end(e)} if e.name in SHARED else set())
            idle = [e for e in self.elements if e.name in SHARED and _far_end(e) not in used]
            if not idle:
                return
            self.elements = [e for e in self.elements if e not in idle]


def netlist_of(family: Family) -> Netlist:
    """The sound circuit of a family as an editable netlist."""
    values = dict(family.values)
    series, contact = {}, {}
    for wire in family.wires:
        series[wire.name], contact[wire.name] = f"{wire.name}.wire-ohm", f"{wire.name}.contact-ohm"
        own = family.values["wire-ohm"]
        values[series[wire.name]] = own if wire.role in WITH_CURRENT else _typical(own)
        # A sound contact, sound insulation and the wire of a mere signal are far below what a
        # meter can tell apart: one typical value serves, and spares every fit coordinates.
        values[contact[wire.name]] = _typical(family.values["contact-ohm"])
        values[f"{wire.name}.insulation-ohm"] = _typical(family.values["insulation-ohm"])
    values["off-ohm"] = OFF_OHM
    values["reverse-ohm"], values["absent-ohm"] = REVERSE_OHM, ABSENT_OHM
    values["starved-ohm"] = STARVED_OHM
    values["junction-volt"], values["junction-ohm"] = JUNCTION_VOLT, JUNCTION_OHM
    values["released-ohm"], values["saturated-ohm"] = RELEASED_OHM, SATURATED_OHM
    return Netlist(
        family=family,
        values=values,
        driven=dict(family.driven),
        elements=list(family.elements),
        series=series,
        contact=contact,
        pin_of={w.name: w.pin for w in family.wires},
        unit_node_of={w.name: w.to for w in family.wires},
    )


def _far_end(element: Element) -> str:
    """The node that a shared element feeds."""
    return element.nodes[1] if element.kind == "resistor" else element.nodes[0]


def _typical(prior: Prior) -> Prior:
    """The geometric middle of a log-uniform prior as a fixed value."""
    if prior.kind != "log_uniform":
        return prior
    return Prior("fixed", (prior.a * prior.b) ** 0.5, source=prior.source)
