"""What each kind of element contributes to the nodal equations of a family's circuit.

`StampWriter` numbers nodes and values as they are named; `write_element` writes the stamps of one
element (`core.circuit.elements` says what each coefficient is).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.plan import FIRST_SLOT, NO_VALUE, ZERO_SLOT, Group, Mode, Stamp
from backprobe.families.schema import Element

POWERED = frozenset((Mode.UNPLUGGED, Mode.PLUGGED))
SWITCHED_OFF = frozenset((Mode.UNPLUGGED_OFF, Mode.PLUGGED_OFF))
CONNECTED = frozenset((Mode.PLUGGED, Mode.PLUGGED_OFF))
UNPLUGGED = frozenset((Mode.UNPLUGGED, Mode.UNPLUGGED_OFF))
UNIT_SIDE = POWERED | SWITCHED_OFF
ALONE = frozenset((Mode.SENSOR_ALONE,))
GROUNDS = ("battery-", "body", "cu-inner", "cu-ground")  # apart by what flows between them
ALWAYS_THERE = ("battery", *GROUNDS)  # what lies between these no key switches
# What lies between these is open with the key off.
SWITCHED_FEEDS = (frozenset(("battery", "feed")), frozenset(("battery", "cu-battery")))

Ends = tuple[str, str]
Limit = tuple[str, str | None, str | None]  # value names a, b, c of the limit a - b c


@dataclass(frozen=True, slots=True)
class Where:
    """When a stamp is there; fields as those of `Stamp`."""

    modes: frozenset[Mode]
    switch: int = -1
    level: int = 0
    group: int = -1
    region: int = 0
    only_slot: int = -1
    only_code: int = 0
    alternating: bool = False

    def during(self, modes: frozenset[Mode]) -> Where:
        """The same in other modes."""
        return replace(self, modes=modes)

    def in_region(self, group: int, region: int) -> Where:
        """The same in one region of a piecewise-linear group."""
        return replace(self, group=group, region=region)

    def at_level(self, switch: int, level: int) -> Where:
        """The same at one level of a switching element."""
        return replace(self, switch=switch, level=level)


@dataclass
class StampWriter:
    """Stamps being written, and the numbering of nodes, value slots, groups and switches."""

    nodes: dict[str, int] = field(default_factory=lambda: {"battery-": 0})
    slots: dict[str, int] = field(default_factory=dict)
    stamps: list[Stamp] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)
    shares: list[int] = field(default_factory=list)
    hertz: list[int] = field(default_factory=list)
    alternating_hertz: int = NO_VALUE

    def node(self, name: str) -> int:
        """Number of a node, new ones as they come."""
        return self.nodes.setdefault(name, len(self.nodes))

    def slot(self, name: str) -> int:
        """Slot of a value, new ones as they come."""
        return self.slots.setdefault(name, FIRST_SLOT + len(self.slots))

    def stamp(
        self,
        kind: Coefficient,
        values: tuple[str, ...],
        ends: Ends,
        where: Where,
        control: Ends | None = None,
    ) -> None:
        """Write one stamp: current from node to node, steered by ``control`` where given."""
        slots = [self.slot(name) for name in values] + [ZERO_SLOT] * (3 - len(values))
        seen = ends if control is None else control
        self.stamps.append(
            Stamp(
                kind=int(kind),
                values=(slots[0], slots[1], slots[2]),
                nodes=(
                    self.node(ends[0]),
                    self.node(ends[1]),
                    self.node(seen[0]),
                    self.node(seen[1]),
                ),
                modes=where.modes,
                switch=where.switch,
                level=where.level,
                group=where.group,
                region=where.region,
                alternating=where.alternating,
                only_slot=where.only_slot,
                only_code=where.only_code,
            )
        )

    def conductance(self, ends: Ends, ohm: str, where: Where) -> None:
        """Write a resistance between two nodes."""
        self.stamp(Coefficient.CONDUCTANCE, (ohm,), ends, where)

    def group(
        self, ends: Ends, low: Limit | None = None, high: Limit | None = None, usual: int = 0
    ) -> int:
        """Number of a new piecewise-linear group that a node difference decides."""
        pair = (self.node(ends[0]), self.node(ends[1]))
        self.groups.append(Group(pair, self._limit(low), self._limit(high), usual))
        return len(self.groups) - 1

    def _limit(self, limit: Limit | None) -> tuple[int, int, int] | None:
        if limit is None:
            return None
        a, b, c = (ZERO_SLOT if name is None else self.slot(name) for name in limit)
        return a, b, c

    def switch(self, share: str, hertz: str | None) -> int:
        """Number of a new element that switches."""
        self.shares.append(self.slot(share))
        self.hertz.append(NO_VALUE if hertz is None else self.slot(hertz))
        return len(self.shares) - 1


def write_element(writer: StampWriter, element: Element, where: Where) -> None:
    """Write the stamps of one element, there in the modes and at the choice of ``where``."""
    _KINDS[element.kind](writer, element, where)


def write_junction(writer: StampWriter, ends: Ends, where: Where) -> None:
    """Write a silicon junction: nothing below its volts, these behind a little resistance beyond.

    Two straight lines in place of an exponential law; the prior of its volts spans the difference.
    """
    group = writer.group(ends, high=("junction-volt", None, None))
    conducting = where.in_region(group, 2)
    writer.conductance(ends, "junction-ohm", conducting)
    writer.stamp(Coefficient.SOURCE, ("junction-volt", "junction-ohm"), ends, conducting)


def _ends(element: Element) -> Ends:
    return element.nodes[0], element.nodes[1]


def _resistor(writer: StampWriter, e: Element, where: Where) -> None:
    if set(e.nodes) in SWITCHED_FEEDS:
        where = where.during(where.modes & POWERED)
    writer.conductance(_ends(e), e.parameters["ohm"], where)


def _source(writer: StampWriter, e: Element, where: Where) -> None:
    ends, volt, ohm = _ends(e), e.parameters["volt"], e.parameters["ohm"]
    if e.side == "control-unit" and not all(node in ALWAYS_THERE for node in ends):
        if set(ends) not in SWITCHED_FEEDS:
            # What it feeds from is dead; its own resistance is still there.
            off = where.during(where.modes & SWITCHED_OFF)
            writer.stamp(Coefficient.SERIES, (ohm, "off-ohm"), ends, off)
        where = where.during(where.modes & POWERED)
    elif all(node in GROUNDS for node in ends):
        # With the key off nothing flows there: no voltage, the path itself remains.
        writer.conductance(ends, ohm, where.during(where.modes & SWITCHED_OFF))
        where = where.during(where.modes & POWERED)
    inside = where
    if "limit_ampere" in e.parameters:
        # Beyond its limit a regulator is a current; fed from outside it takes some or hardly any.
        limit = e.parameters["limit_ampere"]
        group = writer.group(ends, low=(volt, limit, ohm), high=(volt, None, None))
        writer.stamp(Coefficient.CURRENT, (limit,), ends, where.in_region(group, 1))
        reverse = where.in_region(group, 2)
        writer.conductance(ends, "reverse-ohm", reverse)
        writer.stamp(Coefficient.SOURCE, (volt, "reverse-ohm"), ends, reverse)
        inside = where.in_region(group, 0)
    writer.conductance(ends, ohm, inside)
    writer.stamp(Coefficient.SOURCE, (volt, ohm), ends, inside)


def _sink(writer: StampWriter, e: Element, where: Where) -> None:
    """A current that grows with the voltage, from none at its onset, to its full value."""
    start, end = _ends(e)
    ampere, full = e.parameters["ampere"], e.parameters["full_volt"]
    onset = e.parameters.get("onset_volt")
    low = None if onset is None else (onset, None, None)
    group = writer.group((start, end), low=low, high=(full, None, None), usual=2)
    writer.stamp(Coefficient.CURRENT, (ampere,), (end, start), where.in_region(group, 2))
    growing = where.in_region(group, 0)
    values = (ampere, full) if onset is None else (ampere, full, onset)
    writer.stamp(Coefficient.SINK_STARVED, values, (start, end), growing)
    if onset is not None:
        writer.stamp(Coefficient.SINK_ONSET, values, (start, end), growing)
        writer.conductance((start, end), "starved-ohm", where)


def _thermistor(writer: StampWriter, e: Element, where: Where) -> None:
    p = e.parameters
    values = (p["ohm_25"], p["beta_kelvin"], p["celsius"])
    writer.stamp(Coefficient.THERMISTOR, values, _ends(e), where)


def _platinum(writer: StampWriter, e: Element, where: Where) -> None:
    values = (e.parameters["ohm_0"], e.parameters["celsius"])
    writer.stamp(Coefficient.PLATINUM, values, _ends(e), where)


def _potentiometer(writer: StampWriter, e: Element, where: Where) -> None:
    upper, wiper, lower = e.nodes
    track = f"{e.name}.track"
    values = (e.parameters["ohm"], e.parameters["position"])
    writer.stamp(Coefficient.TRACK_UPPER, values, (upper, track), where)
    writer.stamp(Coefficient.TRACK_LOWER, values, (track, lower), where)
    writer.conductance((track, wiper), e.parameters["wiper_ohm"], where)


def _coil(writer: StampWriter, e: Element, where: Where) -> None:
    writer.conductance(_ends(e), e.parameters["ohm"], where)
    _alternating(writer, e, where)


def _cell(writer: StampWriter, e: Element, where: Where) -> None:
    p = e.parameters
    writer.conductance(_ends(e), p["ohm"], where)
    writer.stamp(Coefficient.SOURCE, (p["volt"], p["ohm"]), _ends(e), where)
    _alternating(writer, e, where)


def _alternating(writer: StampWriter, e: Element, where: Where) -> None:
    if "ac_volt" not in e.parameters:
        return
    values = (e.parameters["ac_volt"], e.parameters["ohm"])
    only_plugged = where.during(where.modes & frozenset((Mode.PLUGGED,)))
    writer.stamp(Coefficient.SOURCE, values, _ends(e), replace(only_plugged, alternating=True))
    if "hertz" in e.parameters:
        writer.alternating_hertz = writer.slot(e.parameters["hertz"])


def _contact(writer: StampWriter, e: Element, where: Where) -> None:
    p, ends = e.parameters, _ends(e)
    switch = writer.switch(p["closed"], p.get("hertz"))
    if "closed_volt" in p:  # a saturated transistor takes no current back below its floor
        floor = f"{e.name}.floor"
        group = writer.group((floor, ends[1]), high=(p["closed_volt"], None, None), usual=2)
        writer.conductance((floor, ends[1]), "released-ohm", where)
        saturated = where.in_region(group, 2)
        writer.conductance((floor, ends[1]), "saturated-ohm", saturated)
        values = (p["closed_volt"], "saturated-ohm")
        writer.stamp(Coefficient.SOURCE, values, (floor, ends[1]), saturated)
        ends = (ends[0], floor)
    if e.side == "control-unit":  # a driver is open when the key is off
        writer.conductance(ends, p["open_ohm"], where.during(where.modes & SWITCHED_OFF))
        where = where.during(where.modes & POWERED)
    writer.conductance(ends, p["open_ohm"], where.at_level(switch, 0))
    closed = where.at_level(switch, 1)
    if "full_volt" in p:  # an output that doesn't pull before its sensor is fed
        supply, ground = e.nodes[2], e.nodes[3]
        group = writer.group((supply, ground), high=(p["full_volt"], None, None))
        writer.conductance(ends, p["open_ohm"], closed.in_region(group, 0))
        closed = closed.in_region(group, 2)
    writer.conductance(ends, p["closed_ohm"], closed)


def _ratiometric(writer: StampWriter, e: Element, where: Where) -> None:
    output, supply, ground = e.nodes
    ohm = e.parameters["ohm"]
    if "full_volt" in e.parameters:
        where = _while_fed(writer, e, where)
    writer.conductance((output, ground), ohm, where)
    for key, level in _levels(writer, e, "ratio", where):
        values = (ohm, e.parameters[key])
        writer.stamp(Coefficient.TRANSFER, values, (output, ground), level, (supply, ground))


def _regulated(writer: StampWriter, e: Element, where: Where) -> None:
    output, _, ground = e.nodes
    ohm = e.parameters["ohm"]
    where = _while_fed(writer, e, where)
    writer.conductance((output, ground), ohm, where)
    for key, level in _levels(writer, e, "volt", where):
        writer.stamp(Coefficient.SOURCE, (e.parameters[key], ohm), (output, ground), level)


def _while_fed(writer: StampWriter, e: Element, where: Where) -> Where:
    """When an output drives; below its full volts of supply it lets go, which is written here."""
    output, supply, ground = e.nodes
    group = writer.group((supply, ground), low=(e.parameters["full_volt"], None, None))
    writer.conductance((output, ground), "released-ohm", where.in_region(group, 1))
    return where.in_region(group, 0)


def _levels(writer: StampWriter, e: Element, key: str, where: Where) -> Iterator[tuple[str, Where]]:
    """Parameters of an output's one level, or of its two, and when each one holds."""
    if "high" not in e.parameters:
        yield key, where
        return
    switch = writer.switch(e.parameters["high"], e.parameters.get("hertz"))
    yield f"{key}_low", where.at_level(switch, 0)
    yield f"{key}_high", where.at_level(switch, 1)


_KINDS: Mapping[str, Callable[[StampWriter, Element, Where], None]] = {
    "resistor": _resistor,
    "source": _source,
    "sink": _sink,
    "thermistor": _thermistor,
    "platinum": _platinum,
    "contact": _contact,
    "potentiometer": _potentiometer,
    "coil": _coil,
    "cell": _cell,
    "ratiometric": _ratiometric,
    "regulated": _regulated,
}
