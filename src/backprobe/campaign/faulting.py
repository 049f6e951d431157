"""Every fault that a simulated connector can have, by name and severity."""

from collections.abc import Mapping
from dataclasses import dataclass

from backprobe.campaign.block import FaultOption, Wire, changed, set_to
from backprobe.campaign.circuit import Circuit
from backprobe.campaign.rails import OPEN_OHM
from backprobe.campaign.spreads import Random, log_even
from backprobe.vocabulary import NO_FAULT, ROLES, fault_name

SIGNALS = ("signal-analogue", "signal-switching", "signal-thermistor", "signal-switch")
LOADS = ("heater-control", "driver-control", "motor")

# Unwanted series resistance that a technician is called for, ohm: between the least that matters
# at this wire's current and a nearly broken wire.
RESISTANCE_LIMITS: Mapping[str, tuple[float, float]] = {
    "supply-regulated": (8.0, 2e4),
    "supply-battery": (0.8, 3e3),
    "sensor-ground": (3.0, 1e4),
    "signal-analogue": (200.0, 5e5),
    "signal-switching": (100.0, 5e4),
    "signal-thermistor": (40.0, 2e4),
    "signal-switch": (40.0, 2e4),
    "generator-signal": (200.0, 5e5),
    "generator-return": (200.0, 5e5),
    "heater-control": (0.6, 60.0),
    "driver-control": (0.8, 200.0),
    "motor": (0.4, 30.0),
}
SHORT_LIMITS = (0.02, 30.0)
LEAK_LIMITS = (0.02, 1.5e4)  # damp between two terminals as well, where nothing holds the wire hard
# A break, from one that damp bridges a little to clean air.
OPEN_LIMITS = (3e6, 3e12)
SHORTED_TO_GROUND = (*SIGNALS, *LOADS, "supply-regulated", "supply-battery", "generator-signal")
SHORTED_TO_SUPPLY = (*SIGNALS, "generator-signal")
SHORTED_TO_BATTERY = (*SIGNALS, *LOADS, "supply-regulated", "generator-signal")


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault as it is: its name, the wires it sits on, and how bad it is."""

    name: str
    wires: tuple[str, ...]
    severity: float
    option: FaultOption | None = None


NONE = Fault(NO_FAULT, (), 0.0)


def option_name(circuit: Circuit, option: FaultOption) -> str:
    """Name a fault; the roles of exchanged wires stand in the vocabulary's order."""
    roles = sorted((circuit.role(key) for key in option.wires), key=ROLES.index)
    return fault_name(option.kind, "+".join(roles) if option.swap else roles[0])


def options(circuit: Circuit) -> tuple[FaultOption, ...]:
    """Every fault that makes sense on this connector."""
    found: list[FaultOption] = []
    for wire in circuit.wires:
        found += _wire_options(circuit, wire)
    found += _exchanges(circuit)
    merged: dict[tuple[str, tuple[str, ...]], FaultOption] = {}
    for block in circuit.blocks:
        for option in block.faults(circuit.values):
            shared = (option.kind, tuple(sorted(option.edits(option.low))))
            before = merged.get(shared)
            # Two wires on one rail share that rail's fault.
            wires = (*before.wires, *option.wires) if before else option.wires
            merged[shared] = FaultOption(
                option.kind, wires, option.edits, option.low, option.high, option.swap
            )
    return (*found, *merged.values())


def apply(circuit: Circuit, option: FaultOption, severity: float) -> Circuit:
    """The connector with that fault."""
    return circuit.with_edits(option.edits(severity), option.swap)


def draw_fault(circuit: Circuit, rng: Random, kinds: tuple[str, ...] = ()) -> Fault | None:
    """Draw a fault: its kind first, then the wire; None where no such kind fits the connector."""
    by_kind: dict[str, list[FaultOption]] = {}
    for option in options(circuit):
        if not kinds or option.kind in kinds:
            by_kind.setdefault(option.kind, []).append(option)
    if not by_kind:
        return None
    names = sorted(by_kind)
    option = _one_of(by_kind[names[int(rng.integers(len(names)))]], rng)
    severity = draw_severity(option, rng)
    return Fault(option_name(circuit, option), option.wires, severity, option)


def draw_severity(option: FaultOption, rng: Random) -> float:
    """Draw how bad it is; factors about one and shifts evenly, ohms in the logarithm."""
    if option.low >= option.high:
        return option.low
    if option.low <= 0.0 or option.high / option.low < 30.0:
        while True:
            severity = float(rng.uniform(option.low, option.high))
            # A sensor a few percent off its curve isn't faulty.
            if option.kind != "sensor-drift" or abs(severity - 1.0) > 0.12:
                return severity
    return log_even(rng, option.low, option.high)


def at_share(option: FaultOption, share: float) -> float:
    """Severity at a share, 0 to 1, of the fault's range: even as `draw_severity` is."""
    if option.low >= option.high:
        return option.low
    if option.low <= 0.0 or option.high / option.low < 30.0:
        return option.low + share * (option.high - option.low)
    return float(option.low * (option.high / option.low) ** share)


def _one_of(found: list[FaultOption], rng: Random) -> FaultOption:
    return found[int(rng.integers(len(found)))]


def _wire_options(circuit: Circuit, wire: Wire) -> list[FaultOption]:
    key, role = (wire.key,), wire.role
    if role not in RESISTANCE_LIMITS:
        return []
    sound = circuit.values[f"{wire.key}.wire"]
    low, high = RESISTANCE_LIMITS[role]
    found = [
        FaultOption("open", key, set_to(f"{wire.key}.wire"), *OPEN_LIMITS),
        FaultOption("resistance", key, lambda s: {f"{wire.key}.wire": sound + s}, low, high),
    ]

    limits = LEAK_LIMITS if role in (*SIGNALS, "generator-signal") else SHORT_LIMITS

    def short(kind: str, name: str, extra: Mapping[str, float]) -> FaultOption:
        return FaultOption(kind, key, lambda s: {f"{wire.key}.{name}": s, **extra}, *limits)

    if role in SHORTED_TO_GROUND:
        # A battery feed that touches the body blows its fuse.
        blown = {f"{wire.key}.wire": OPEN_OHM} if role == "supply-battery" else {}
        found.append(short("short-to-ground", "to-ground", blown))
    if role in SHORTED_TO_SUPPLY:
        found.append(short("short-to-supply", "to-supply", {}))
    if role in SHORTED_TO_BATTERY:
        found.append(short("short-to-battery", "to-battery", {}))
    return found


def _exchanges(circuit: Circuit) -> list[FaultOption]:
    live = [wire for wire in circuit.wires if wire.role not in {"not-used", "shield"}]
    return [
        FaultOption("swapped", (a.key, b.key), changed(), swap=(a.key, b.key))
        for number, a in enumerate(live)
        for b in live[number + 1 :]
        if a.role != b.role
    ]
