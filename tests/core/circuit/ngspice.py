"""Circuits as decks for the circuit simulator ngspice, many in one run, and its answers.

A deck is written from a family's netlist (with its fault, if any) by the meaning of each element;
nothing of the program's own stamps, regions or matrices is used here. Every circuit is a block of
its own nodes beside the others, so that one run of ngspice solves some hundred of them.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.plan import Mode
from backprobe.families.element_kinds import is_switching
from backprobe.families.netlist import Netlist
from backprobe.families.schema import Element
from tests.core.circuit.ngspice_run import run

Array = NDArray[np.float64]

BLOCKS_A_RUN = 80
# Slope of a regulator beyond its limit, ohm: what the current then exceeds it by moves no voltage
# by a tenth of what is compared.
GIVING_WAY = 1e7
# Slopes of a sink beyond its full current and below its onset, ohm.
FULL, BLOCKING = 1e9, 1e13
# What is left of a potentiometer's track at either end of its travel, as a share of it.
TRACK_END = 0.002
PLATINUM = (3.9083e-3, -5.775e-7, -4.183e-12)  # IEC 60751:2008
ON = (Mode.UNPLUGGED, Mode.PLUGGED)
CONNECTED = (Mode.PLUGGED, Mode.PLUGGED_OFF)
GROUNDS = {"battery-", "body", "cu-inner", "cu-ground"}
SWITCHED = ({"battery", "feed"}, {"battery", "cu-battery"})  # open while the key is off
FIXED = {"battery", *GROUNDS}  # no key switches what is between these


@dataclass(frozen=True)
class Point:
    """One circuit with one set of values in one state.

    ``levels`` are those of the switching elements, in the order of the netlist. ``probe`` is the
    wire into whose probe point an alternating current of 1 A is fed, to find its resistance.
    """

    netlist: Netlist
    values: Mapping[str, float]
    words: Mapping[str, str]
    mode: Mode
    levels: tuple[int, ...]
    probe: str = ""


class Block:
    """The lines of one circuit; its nodes carry the block's number."""

    def __init__(self, point: Point, number: int) -> None:
        self.point = point
        self.near: Mapping[str, float] = {}  # volts to start from where nothing else finds an end
        self.number = number
        self.lines: list[str] = []
        self.nodes: dict[str, str] = {"battery-": "0"}
        self.on = point.mode in ON
        self.write()

    def write(self) -> None:
        netlist = self.point.netlist
        for wire in netlist.family.wires:
            start = netlist.unit_node_of[wire.name]
            self.resistor(start, wire.name, self.value(netlist.series[wire.name]))
            self.resistor(wire.name, "battery-", self.value(f"{wire.name}.insulation-ohm"))
            if self.point.mode in CONNECTED:
                pin = netlist.pin_of[wire.name]
                contact = netlist.mated.get(wire.name, netlist.contact[wire.name])
                self.resistor(wire.name, pin, self.value(contact))
        for a, b, name, on_sensor in netlist.bridges:
            if not on_sensor or self.point.mode in CONNECTED:
                self.resistor(a, b, self.value(name))
        if not self.on:  # other loads hold an open feed down
            self.resistor("feed", "battery-", self.value("off-load-ohm"))
            self.resistor("cu-battery", "battery-", self.value("off-ohm"))
        for element, level in self.present():
            KINDS[element.kind](self, element, level)
        if self.point.mode in CONNECTED:
            for anode, cathode, only_if in netlist.junctions:
                if only_if is None or self.point.words[only_if[0]] == only_if[1]:
                    self.junction(anode, cathode)
        if self.point.probe:
            self.line("I", "0", self.node(self.point.probe), "dc 0 ac 1")

    def present(self) -> Iterator[tuple[Element, int]]:
        """Elements that are there, each with its level (0 where it does not switch)."""
        levels = iter(self.point.levels)
        for element in self.point.netlist.elements:
            level = next(levels) if is_switching(element.kind, element.parameters) else 0
            if element.side == "sensor" and self.point.mode not in CONNECTED:
                continue
            if element.only_if is not None:
                name, word = element.only_if
                plugged = "plugged" if self.point.mode in CONNECTED else "unplugged"
                if (plugged if name == "connector" else self.point.words[name]) != word:
                    continue
            yield element, level

    def value(self, name: str) -> float:
        return self.point.values[name]

    def of(self, element: Element, key: str) -> float:
        return self.value(element.parameters[key])

    def node(self, name: str) -> str:
        return self.nodes.setdefault(name, f"n{self.number}x{len(self.nodes)}")

    def line(self, letter: str, *words: str) -> str:
        """Add an element; its name."""
        name = f"{letter}{self.number}x{len(self.lines)}"
        self.lines.append(" ".join((name, *words)))
        return name

    def resistor(self, a: str, b: str, ohm: float) -> None:
        self.line("R", self.node(a), self.node(b), f"{ohm:.15g}")

    def current(self, start: str, end: str, expression: str) -> None:
        """A current that flows through the element from one node to the other."""
        self.line("B", self.node(start), self.node(end), f"I={expression}")

    def junction(self, anode: str, cathode: str) -> None:
        """A junction as two straight lines: nothing below its volts, a resistance beyond."""
        volt, ohm = self.value("junction-volt"), self.value("junction-ohm")
        beyond = f"max(0,{self.across(anode, cathode)}-{volt:.15g})"
        self.current(anode, cathode, f"{beyond}/{ohm:.15g}")

    def source(self, plus: str, minus: str, volt: str, ohm: float) -> None:
        """A voltage source, plain or alternating, behind a resistance."""
        inner = f"inside {len(self.lines)}"
        self.line("V", self.node(inner), self.node(minus), volt)
        self.resistor(inner, plus, ohm)

    def across(self, a: str, b: str) -> str:
        return f"v({self.node(a)},{self.node(b)})"


def _resistor(block: Block, e: Element, _: int) -> None:
    if block.on or set(e.nodes) not in SWITCHED:
        block.resistor(e.nodes[0], e.nodes[1], block.of(e, "ohm"))


def _source(block: Block, e: Element, _: int) -> None:
    plus, minus = e.nodes
    if not block.on and e.side == "control-unit" and not FIXED.issuperset(e.nodes):
        if {plus, minus} not in SWITCHED:  # an ignition switch leaves its feed open
            dead = f"dead {len(block.lines)}"
            block.resistor(plus, dead, block.of(e, "ohm"))
            block.resistor(dead, minus, block.value("off-ohm"))
        return
    volt, ohm = block.of(e, "volt"), block.of(e, "ohm")
    if not block.on and GROUNDS.issuperset(e.nodes):
        volt = 0.0  # what lifts a ground is a current, and none flows
    if "limit_ampere" not in e.parameters:
        block.source(plus, minus, f"dc {volt:.15g}", ohm)
        return
    # Beyond the limit the voltage gives way; backwards it rises behind a high resistance. Written
    # as voltages over the current: from no current at all, the search walks straight to the answer.
    inner, sensed = f"inside {len(block.lines)}", f"sensed {len(block.lines)}"
    sense = block.line("V", block.node(inner), block.node(sensed), "0")
    beyond = f"{GIVING_WAY:.15g}*max(0,i({sense})-{block.of(e, 'limit_ampere'):.15g})"
    back = f"{block.value('reverse-ohm') - ohm:.15g}*max(0,-i({sense}))"
    block.line("B", block.node(inner), block.node(minus), f"V={volt:.15g}-{beyond}+{back}")
    block.resistor(sensed, plus, ohm)


def _sink(block: Block, e: Element, _: int) -> None:
    start, end = e.nodes
    ampere, full = block.of(e, "ampere"), block.of(e, "full_volt")
    if "onset_volt" not in e.parameters:
        share = f"min(1,{block.across(start, end)}/{full:.15g})"
        block.current(start, end, f"{ampere:.15g}*{share}")
        return
    # Flat below its onset and beyond its full voltage: a voltage over the current, as a limited
    # source's, and what leaks beside it.
    onset = block.of(e, "onset_volt")
    block.resistor(start, end, block.value("starved-ohm"))
    inner, sensed = f"inside {len(block.lines)}", f"sensed {len(block.lines)}"
    block.resistor(start, sensed, (full - onset) / ampere)
    sense = block.line("V", block.node(sensed), block.node(inner), "0")
    beyond = f"{FULL:.15g}*max(0,i({sense})-{ampere:.15g})"
    back = f"{BLOCKING:.15g}*max(0,-i({sense}))"
    block.line("B", block.node(inner), block.node(end), f"V={onset:.15g}+{beyond}-{back}")


def _thermistor(block: Block, e: Element, _: int) -> None:
    kelvin = block.of(e, "celsius") + 273.15
    factor = math.exp(block.of(e, "beta_kelvin") * (1 / kelvin - 1 / 298.15))
    block.resistor(e.nodes[0], e.nodes[1], block.of(e, "ohm_25") * factor)


def _platinum(block: Block, e: Element, _: int) -> None:
    t = block.of(e, "celsius")
    a, b, c = PLATINUM
    ratio = 1 + a * t + b * t**2 + (c * (t - 100) * t**3 if t < 0 else 0.0)
    block.resistor(e.nodes[0], e.nodes[1], block.of(e, "ohm_0") * ratio)


def _contact(block: Block, e: Element, level: int) -> None:
    opened, closed = block.of(e, "open_ohm"), block.of(e, "closed_ohm")
    if "closed_volt" in e.parameters:  # a transistor leaves some volts, and gives none back
        floor, released = f"{e.name}.floor", block.value("released-ohm")
        over, ohm = block.across(floor, e.nodes[1]), block.value("saturated-ohm")
        volt = block.of(e, "closed_volt")
        beyond = f"max(0,{over}-{volt:.15g})/{ohm:.15g}"
        block.current(floor, e.nodes[1], f"{beyond}+{over}/{released:.15g}")
        e = replace(e, nodes=(e.nodes[0], floor, *e.nodes[2:]))
    if e.side == "control-unit" and not block.on:
        level = 0
    if level and "full_volt" in e.parameters:
        a, b, supply, ground = e.nodes
        fed = f"{block.across(supply, ground)}>={block.of(e, 'full_volt'):.15g}"
        siemens = f"({fed} ? {1 / closed:.15g} : {1 / opened:.15g})"
        block.current(a, b, f"{block.across(a, b)}*{siemens}")
        return
    block.resistor(e.nodes[0], e.nodes[1], closed if level else opened)


def _potentiometer(block: Block, e: Element, _: int) -> None:
    upper, wiper, lower = e.nodes
    position, whole = block.of(e, "position"), block.of(e, "ohm")
    block.resistor(upper, f"{e.name}.track", whole * (1 - position + TRACK_END))
    block.resistor(f"{e.name}.track", lower, whole * (position + TRACK_END))
    block.resistor(f"{e.name}.track", wiper, block.of(e, "wiper_ohm"))


def _generator(block: Block, e: Element, _: int) -> None:
    volt = block.of(e, "volt") if "volt" in e.parameters else 0.0
    swing = 0.0
    if "ac_volt" in e.parameters and block.point.mode == Mode.PLUGGED and not block.point.probe:
        swing = block.of(e, "ac_volt")
    block.source(e.nodes[0], e.nodes[1], f"dc {volt:.15g} ac {swing:.15g}", block.of(e, "ohm"))


def _ratiometric(block: Block, e: Element, level: int) -> None:
    output, supply, ground = e.nodes
    ratio = block.of(e, _levelled(e, "ratio", level))
    if "full_volt" in e.parameters:
        _while_fed(block, e, f"{ratio:.15g}*{block.across(supply, ground)}")
        return
    inner = f"inside {len(block.lines)}"
    block.line(
        "E",
        *(block.node(name) for name in (inner, ground, supply, ground)),
        f"{ratio:.15g}",
    )
    block.resistor(inner, output, block.of(e, "ohm"))


def _regulated(block: Block, e: Element, level: int) -> None:
    _while_fed(block, e, f"{block.of(e, _levelled(e, 'volt', level)):.15g}")


def _while_fed(block: Block, e: Element, wanted: str) -> None:
    """An output that lets go while its sensor isn't fed."""
    output, supply, ground = e.nodes
    supplied, shown = block.across(supply, ground), block.across(output, ground)
    driven = f"({shown}-{wanted})/{block.of(e, 'ohm'):.15g}"
    released = f"{shown}/{block.value('released-ohm'):.15g}"
    fed = f"{supplied}>={block.of(e, 'full_volt'):.15g}"
    block.current(output, ground, f"({fed} ? {driven} : {released})")


def _levelled(e: Element, key: str, level: int) -> str:
    if "high" not in e.parameters:
        return key
    return f"{key}_high" if level else f"{key}_low"


KINDS: Mapping[str, Callable[[Block, Element, int], None]] = {
    "resistor": _resistor,
    "source": _source,
    "sink": _sink,
    "thermistor": _thermistor,
    "platinum": _platinum,
    "contact": _contact,
    "potentiometer": _potentiometer,
    "coil": _generator,
    "cell": _generator,
    "ratiometric": _ratiometric,
    "regulated": _regulated,
}


def direct(
    points: Sequence[Point], near: Sequence[Mapping[str, float]] = ()
) -> list[dict[str, float]]:
    """Direct voltages of every circuit, V, by node.

    Where Newton's method finds no end from anywhere it starts from the volts of ``near``, which
    are an answer if it stays there.
    """
    return _solved(points, "op", near)


def alternating(points: Sequence[Point]) -> list[dict[str, float]]:
    """Magnitudes of the alternating voltages, the circuits linear about their direct ones."""
    return _solved(points, "ac lin 1 1k 1k")


def started(point: Point, volts: Mapping[str, float]) -> dict[str, float]:
    """One circuit's voltages, Newton's method started from given ones."""
    return _hinted(Block(point, 0), volts, "op")


def _hinted(block: Block, volts: Mapping[str, float], analysis: str) -> dict[str, float]:
    own = {block.nodes[name]: volt for name, volt in volts.items() if name in block.nodes}
    hints = [f".nodeset v({node})={volt:.12g}" for node, volt in own.items() if node != "0"]
    found = run([*block.lines, *hints], analysis) | {"0": 0.0}
    return {name: found[node] for name, node in block.nodes.items()}


def _solved(
    points: Sequence[Point], analysis: str, near: Sequence[Mapping[str, float]] = ()
) -> list[dict[str, float]]:
    answers = []
    for start in range(0, len(points), BLOCKS_A_RUN):
        part = range(start, min(start + BLOCKS_A_RUN, len(points)))
        blocks = [Block(points[k], k - start) for k in part]
        for block, k in zip(blocks, part, strict=True):
            block.near = near[k] if near else {}
        answers += _together(blocks, analysis)
    return answers


def _together(blocks: Sequence[Block], analysis: str) -> list[dict[str, float]]:
    """Circuits that share nothing but their ground in one run; in two where it finds no end."""
    try:
        found = run([line for block in blocks for line in block.lines], analysis)
    except RuntimeError:
        if len(blocks) == 1:
            return [_from_fed(blocks[0], analysis)]
        middle = len(blocks) // 2
        return _together(blocks[:middle], analysis) + _together(blocks[middle:], analysis)
    found["0"] = 0.0
    return [{name: found[node] for name, node in block.nodes.items()} for block in blocks]


def _from_fed(block: Block, analysis: str) -> dict[str, float]:
    """One circuit, Newton's method started with the sensor fed, or else near an answer.

    An output that starves its own sensor once it lets go makes it walk in circles otherwise.
    """
    try:
        return _hinted(block, {"supply.pin": 5.0}, analysis)
    except RuntimeError:
        if not block.near:
            raise
        return _hinted(block, block.near, analysis)
