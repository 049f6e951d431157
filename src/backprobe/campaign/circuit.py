"""A simulated connector with its harness: drawn once, then put together for each moment."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from backprobe.campaign.block import Block, Moment, Toggle, Values, Wire
from backprobe.campaign.connectors import DESIGNS, Design, rails_of
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.rails import BODY, FEED, REF, Rails, UnusedWire
from backprobe.campaign.spreads import Random, chance, even, log_even, pick

GHOST_VOLT = 4.0
POWER_ROLES = ("supply-battery", "heater-control", "driver-control", "motor")


@dataclass(frozen=True, slots=True)
class Circuit:
    """A connector's blocks, its wires, every component value, and what a fault did to it."""

    design: Design
    blocks: tuple[Block, ...]
    wires: tuple[Wire, ...]
    values: Values
    swap: tuple[str, str] | None = None

    def with_edits(
        self, edits: Mapping[str, float], swap: tuple[str, str] | None = None
    ) -> "Circuit":
        """The same connector with some values changed, or two wires exchanged."""
        return replace(self, values={**self.values, **edits}, swap=swap or self.swap)

    def role(self, key: str) -> str:
        """Role of a wire."""
        return next(wire.role for wire in self.wires if wire.key == key)

    def toggles(self, now: Moment) -> tuple[Toggle, ...]:
        """Everything that switches at such a moment."""
        return tuple(t for block in self.blocks for t in block.toggles(self.values, now))

    def interchangeable(self) -> tuple[frozenset[str], ...]:
        """Groups of wires that no reading tells apart."""
        return tuple(g for block in self.blocks for g in block.interchangeable(self.values))

    def passive_pairs(self) -> tuple[tuple[str, str], ...]:
        """Pairs of wires between whose sensor pins an ohmmeter makes sense."""
        return tuple(pair for block in self.blocks for pair in block.pairs())


def draw_circuit(rng: Random, design: Design | None = None, unused: int | None = None) -> Circuit:
    """Draw a connector: its kind by how common it is, its values, perhaps unused cavities."""
    chosen = design or pick(rng, *((d.weight, d) for d in DESIGNS))
    blocks = chosen.build(rng)
    room = 6 - chosen.wires
    if unused is None:
        unused = pick(rng, (0.86, 0), (0.1, min(1, room)), (0.04, min(2, room)))
    blocks += [UnusedWire(f"unused.{number}") for number in range(unused)]
    everything = (Rails(rails_of(blocks)), *blocks)
    wires = tuple(wire for block in everything for wire in block.wires())
    values: dict[str, float] = {}
    for block in everything:
        values |= block.draw(rng)
    is_fed = any(wire.role == "supply-battery" for wire in wires)
    for wire in wires:
        # What a sensor draws from the battery returns through its ground.
        is_power = wire.role in POWER_ROLES or (is_fed and wire.role == "sensor-ground")
        values |= _draw_wire(rng, wire, thick=is_power)
    return Circuit(chosen, everything, wires, values)


def _draw_wire(rng: Random, wire: Wire, *, thick: bool) -> dict[str, float]:
    """Draw a wire: copper and crimps, a splice, the contact; damp; what it picks up when idle.

    Wires that carry ampere are thicker and better joined; those of signals are thin.
    """
    key = wire.key
    metres = even(rng, 0.3, 4.5)
    copper = metres * log_even(rng, 0.012, 0.036 if thick else 0.06)  # 1.5 to 0.5, 0.35 mm2
    splice = log_even(rng, 1e-3, 0.03 if thick else 0.15) if chance(rng, 0.3) else 0.0
    crimps = log_even(rng, 2e-3, 0.03 if thick else 0.08)
    damp = pick(rng, (0.8, log_even(rng, 1e8, 1e11)), (0.2, log_even(rng, 2e6, 1e8)))
    # What a floating wire shows on 10 Mohm: mostly nothing, at times some ghost millivolts.
    ghost = pick(
        rng, (0.58, 0.0), (0.36, log_even(rng, 1e-10, 3e-9)), (0.06, log_even(rng, 3e-9, 1.5e-8))
    )
    return {
        f"{key}.wire": copper + splice + crimps,
        f"{key}.contact": log_even(rng, 2e-3, 0.08),
        f"{key}.damp": damp,
        f"{key}.ghost": ghost if chance(rng, 0.8) else -ghost,
    }


def control_unit_netlist(circuit: Circuit, now: Moment) -> Netlist:
    """Put together the vehicle's side up to the probes, with the harness."""
    net = Netlist()
    values = circuit.values
    for block in circuit.blocks:
        block.control_unit(net, values, now)
    for wire in circuit.wires:
        net.resistor(wire.to, wire.key, values[f"{wire.key}.wire"])
        net.resistor(wire.key, "battery-", values[f"{wire.key}.damp"])
        if now.awake:
            net.source(wire.key, "battery-", *_ghost(values[f"{wire.key}.ghost"]))
        _add_shorts(net, values, wire.key)
    return net


def _ghost(ampere: float) -> tuple[float, float]:
    """What a floating wire picks up: some volts behind hundreds of megohms."""
    if ampere == 0.0:
        return 0.0, float("inf")
    return math.copysign(GHOST_VOLT, ampere), GHOST_VOLT / abs(ampere)


def _add_shorts(net: Netlist, values: Values, key: str) -> None:
    # The live wire that it touches: one that is always live, or one behind the key.
    live = "battery" if values["rails.short is permanent"] > 0.5 else FEED
    for name, other in (("to-ground", BODY), ("to-supply", REF), ("to-battery", live)):
        ohm = values.get(f"{key}.{name}")
        if ohm is not None:
            net.resistor(key, other, ohm)


def add_sensor(net: Netlist, circuit: Circuit, now: Moment) -> None:
    """Plug the sensor in, with two wires exchanged where they are."""
    exchanged = dict((circuit.swap, circuit.swap[::-1])) if circuit.swap else {}
    for wire in circuit.wires:
        far = exchanged.get(wire.key, wire.key)
        net.resistor(wire.key, f"{far}.s", circuit.values[f"{wire.key}.contact"])
    for block in circuit.blocks:
        block.sensor(net, circuit.values, now)


def netlist(circuit: Circuit, now: Moment) -> Netlist:
    """Put together the whole circuit at a moment."""
    net = control_unit_netlist(circuit, now)
    if now.plugged:
        add_sensor(net, circuit, now)
    return net


def sensor_alone(circuit: Circuit, now: Moment) -> Netlist:
    """Put together the unplugged sensor, floating; two exchanged wires don't exist there."""
    net = Netlist()
    for block in circuit.blocks:
        block.sensor(net, circuit.values, now)
    return net


def behind(circuit: Circuit, keys: tuple[str, str]) -> tuple[str, str]:
    """Sensor pins behind two wires, and wires over two sensor pins: exchanged where they are."""
    if circuit.swap is None:
        return keys
    a, b = circuit.swap
    exchanged = {a: b, b: a}
    return exchanged.get(keys[0], keys[0]), exchanged.get(keys[1], keys[1])
