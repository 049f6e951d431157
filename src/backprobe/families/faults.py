"""Faults of a circuit, generated from the roles of its wires.

Each fault is one edit of the netlist (`circuit.py` makes it) with an unknown severity. Nothing
here depends on a family: a new family gets its faults from its wires' roles.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from backprobe.families.outputs import can_drift, moved_elements
from backprobe.families.schema import Family, Prior, Wire
from backprobe.vocabulary import NO_FAULT, ROLES, fault_name

COMMON_PRACTICE = "common practice"
FAULTY_SHARE = 0.5  # share of connectors looked at that have a fault; the rest are sound

SIGNALS = ("signal-analogue", "signal-switching", "signal-thermistor", "signal-switch")
SUPPLIES = ("supply-regulated", "supply-battery")
DRIVEN_ENDS = ("heater-control", "driver-control", "motor")
OUTPUTS = (*SIGNALS, "generator-signal")
RETURNS = ("sensor-ground", "generator-return")

# How often a wire has each kind of fault, relative to a broken wire: common practice, no source.
KIND_WEIGHT = {
    "open": 1.0,
    "resistance": 0.9,
    "short-to-ground": 0.6,
    "short-to-supply": 0.4,
    "short-to-battery": 0.45,
    "supply-low": 1.0,
    "ground-lifted": 0.8,
    "control-unit-input": 0.5,
    "sensor-open": 0.6,
    "sensor-shorted": 0.5,
    "sensor-stuck": 0.6,
    "sensor-drift": 0.6,
    "swapped": 0.2,
}

FAR_WEIGHT = 0.25  # of a sensor ground, or a track's supply, without contact beyond the probe
POOR_WEIGHT = 0.3  # of a corroded or spread contact beyond the probe, at an output or a load

# Severity at which a fault isn't there, of those that may come and go when wire or connector move:
# a sound wire or contact, nothing between two wires, a rail at its place.
ABSENT_SEVERITY = {
    "open": 0.03,
    "resistance": 0.03,
    "sensor-open": 0.02,
    "short-to-ground": 1e9,
    "short-to-supply": 1e9,
    "short-to-battery": 1e9,
}

# A damp break leaks, a dry one insulates: of 12 V a 10 Mohm meter then shows millivolts. Beyond
# some 10 Gohm it shows no less, and digits get lost beside milliohms.
OPEN_OHM = Prior("log_uniform", 6e6, 2e10, source=COMMON_PRACTICE)
SHORT_OHM = Prior("log_uniform", 0.1, 300.0, source=COMMON_PRACTICE)
# Damp or corrosion between two terminals leaks; a wire that nothing drives hard shows it.
LEAK_OHM = Prior("log_uniform", 0.1, 2e4, source=COMMON_PRACTICE)
LIFT_VOLT = Prior("log_uniform", 0.06, 2.6, source=COMMON_PRACTICE)
LOW_SHARE = Prior("uniform", 0.05, 0.93, source=COMMON_PRACTICE)
# Unwanted series resistance that a technician would call a fault, ohm.
RESISTANCE_OHM = {
    "supply-regulated": (8.0, 2e4),
    "supply-battery": (0.8, 3e3),
    "sensor-ground": (0.5, 4e4),
    "signal-analogue": (200.0, 5e5),
    "signal-switching": (100.0, 5e4),
    "signal-thermistor": (40.0, 5e4),
    "signal-switch": (50.0, 3e4),
    "generator-signal": (300.0, 1e6),
    "generator-return": (300.0, 1e6),
    "heater-control": (0.5, 50.0),
    "driver-control": (1.0, 200.0),
    "motor": (0.5, 50.0),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one family: its kind, the wire it sits on, and how common it is.

    ``other`` is the second wire of an exchange, or of a rail that both return through; ``weight``
    is relative within the family. ``is_poor``: a contact beyond the probe that lets some current
    through; the sensor by itself is sound.
    """

    kind: str
    wire: str = ""
    role: str = ""
    other: str = ""
    weight: float = 1.0
    is_poor: bool = False

    @property
    def name(self) -> str:
        """The fault's name in the answer, "open:sensor-ground"."""
        return fault_name(self.kind, self.role)

    @property
    def title(self) -> str:
        """The name, told apart from that of another fault that the answer calls the same."""
        return f"{self.name} (poor contact)" if self.is_poor else self.name

    @property
    def wires(self) -> tuple[str, ...]:
        """Wires that the fault sits on."""
        return tuple(w for w in (self.wire, self.other) if w)


HEALTHY = Fault(NO_FAULT)


def faults_of(family: Family) -> tuple[Fault, ...]:
    """Every single fault that makes sense on the family's wires, `HEALTHY` first."""
    found = [fault for wire in family.wires for fault in _on_wire(family, wire)]
    found.extend(_lifted_grounds(family))
    found.extend(_exchanges(family))
    total = sum(f.weight for f in found)
    scale = FAULTY_SHARE / total if total else 0.0
    scaled = tuple(replace(f, weight=f.weight * scale) for f in found)
    return (Fault(NO_FAULT, weight=1.0 - FAULTY_SHARE), *scaled)


def _on_wire(family: Family, wire: Wire) -> Iterator[Fault]:
    for kind in _kinds_on(family, wire):
        yield Fault(kind, wire.name, wire.role, weight=KIND_WEIGHT[kind])
        if kind == "sensor-open":
            yield from _poor_contact(family, wire)
    # Of two wires the other end of the part is as open and reads the same. So does an open output
    # where it is the feed that has no contact beyond the probe, but of a track, whose wiper still
    # moves along what is left.
    if wire.role == "sensor-ground" and len(family.wires) > 2:
        yield Fault("sensor-open", wire.name, wire.role, weight=FAR_WEIGHT)
    if wire.role in SUPPLIES and _feeds_a_track(family, wire):
        yield Fault("sensor-open", wire.name, wire.role, weight=FAR_WEIGHT)


def _feeds_a_track(family: Family, wire: Wire) -> bool:
    return any(e.kind == "potentiometer" and wire.pin in e.nodes for e in family.elements)


def _kinds_on(family: Family, wire: Wire) -> list[str]:
    kinds = ["open"]
    if wire.role in RESISTANCE_OHM:
        kinds.append("resistance")
    if wire.role in SUPPLIES or wire.role in OUTPUTS or wire.role in DRIVEN_ENDS:
        kinds.append("short-to-ground")
    if wire.role in OUTPUTS or wire.role == "sensor-ground":
        kinds.append("short-to-supply")
    if wire.role not in {"supply-battery", "shield"}:
        kinds.append("short-to-battery")
    if wire.role == "supply-regulated":
        kinds.append("supply-low")
    if wire.role in OUTPUTS and any(
        wire.to in e.nodes for e in family.elements if e.side == "control-unit"
    ):
        kinds.append("control-unit-input")
    if wire.role in OUTPUTS or wire.role in DRIVEN_ENDS:
        kinds += ["sensor-open", "sensor-shorted"]
    if (
        wire.role in OUTPUTS
        and wire.role != "signal-thermistor"
        and moved_elements(family.elements, family.driven, wire.pin)
    ):
        kinds.append("sensor-stuck")
    if wire.role in OUTPUTS and can_drift(family.elements, family.driven, wire.pin):
        kinds.append("sensor-drift")
    return kinds


def _poor_contact(family: Family, wire: Wire) -> Iterator[Fault]:
    """A contact beyond the probe that lets some current through, where a current flows at all."""
    if wire.role in RESISTANCE_OHM and family.kind != "knock":
        yield Fault("sensor-open", wire.name, wire.role, weight=POOR_WEIGHT, is_poor=True)


def _lifted_grounds(family: Family) -> Iterator[Fault]:
    """One for each rail, on the first two wires that return through it, and one for two rails."""
    rails: dict[str, list[str]] = {}
    for wire in family.wires:
        if wire.role == "sensor-ground":
            rails.setdefault(wire.to, []).append(wire.name)
    weight = KIND_WEIGHT["ground-lifted"]
    for first, *others in rails.values():
        yield Fault("ground-lifted", first, "sensor-ground", others[0] if others else "", weight)
    if len(rails) > 1:
        first, second, *_ = (wires[0] for wires in rails.values())
        yield Fault("ground-lifted", first, "sensor-ground", second, weight)


def _exchanges(family: Family) -> Iterator[Fault]:
    """Two wires changed over; the name has their roles in the vocabulary's order."""
    swappable = (*SIGNALS, *SUPPLIES, *RETURNS, "generator-signal", "heater-control", "motor")
    ordered = sorted(family.wires, key=lambda wire: ROLES.index(wire.role))
    for first, second in combinations(ordered, 2):
        if first.role == second.role:
            continue
        if first.role in swappable and second.role in swappable:
            role = f"{first.role}+{second.role}"
            yield Fault("swapped", first.name, role, second.name, KIND_WEIGHT["swapped"])
