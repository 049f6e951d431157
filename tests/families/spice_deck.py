"""A family's circuit as a deck for ngspice, written from the family itself.

Nothing of the program's own solver or compiler is used here: elements become ngspice's elements by
their meaning in the README beside the families, so that the two can be held against each other.
"""

import math
import re
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from backprobe.families.schema import Element, Family, Wire, options_of

# IEC 60751, above 0 degC; below it the program's third coefficient matters.
# A regulator that is driven above its voltage takes this much back, ohm (common practice).
BACKWARDS = (3.0 * 2e4) ** 0.5  # the middle of its prior
# A junction in two straight lines, and what an output that isn't fed leaves of itself, ohm.
JUNCTION_VOLT, JUNCTION_OHM, RELEASED = 0.58, (0.1 * 6.0) ** 0.5, 2e6
SATURATED_OHM = 1.0  # of a transistor above its saturation voltage
# What an open collector passes on from its supply once its wire is open, ohm.
OUTPUT_LEAK = (2e6 * 1e13) ** 0.5
# What it keeps across itself with hardly any current, V, and in series with that, ohm.
FLOOR_VOLT, FLOOR_OHM = (0.005 * 0.4) ** 0.5, 1.0
# Below it electronics draw nothing; met where a fault starves them, V.
ONSET_VOLT = (0.02 * 1.1) ** 0.5
STARVED_OHM = (2e4 * 5e7) ** 0.5  # what lies beside them then
# From here on a wire is open and no more a resistance, ohm.
OPEN_OHM = 1e6
# Of a fuse that holds a short, ohm.
SOUND_FUSE = 0.005
# Slope beyond the limit, ohm: steep enough that what is left changes no voltage by 0.1 mV.
LIMITING = 1e8
# What is left of a track at either end of its travel, as a share of it (README of the families).
TRACK_END = 0.002
# Circuits that one run reads in: each makes it slower for all that follow.
DECKS_A_RUN = 50
PLATINUM_A, PLATINUM_B, PLATINUM_C = 3.9083e-3, -5.775e-7, -4.183e-12


@dataclass(frozen=True)
class Fault:
    """A fault of a wire: of its own ohms, of its contact's, or a bridge from it to a node."""

    wire: str
    ohm: float
    place: str  # "series", "contact", or the node at the bridge's other end


class Deck:
    """One circuit with one set of values in one state."""

    def __init__(
        self,
        family: Family,
        values: Mapping[str, float],
        words: Mapping[str, str],
        levels: Mapping[str, int],
        plugged: bool,
        fault: Fault | None = None,
    ) -> None:
        self.family = family
        self.values = values
        self.words = words
        self.levels = levels
        self.plugged = plugged
        self.fault = fault
        self.lines: list[str] = []
        self.names: dict[str, str] = {"battery-": "0"}

    def text(self) -> str:
        """The deck's lines."""
        for number, wire in enumerate(self.family.wires):
            series, contact = self.values["wire-ohm"], self.values["contact-ohm"]
            if self.fault is not None and self.fault.wire == wire.name:
                series = self.fault.ohm if self.fault.place == "series" else series
                contact = self.fault.ohm if self.fault.place == "contact" else contact
            self.resistor(f"w{number}", self.start(wire), wire.name, series)
            self.resistor(f"i{number}", wire.name, "battery-", self.values["insulation-ohm"])
            if self.plugged:
                self.resistor(f"c{number}", wire.name, wire.pin, contact)
        if self.fault is not None and self.fault.place not in {"series", "contact"}:
            self.resistor("fault", self.fault.wire, self.fault.place, self.fault.ohm)
        for number, element in enumerate(self.family.elements):
            if not self.is_there(element) or (element.side == "sensor" and not self.plugged):
                continue
            if not self.add_appetite(f"e{number}", element):
                getattr(self, f"add_{element.kind}")(f"e{number}", element)
        if self.fault is not None and self.plugged:
            self.add_junctions()
            self.add_leak(self.fault)
        return "\n".join(["circuit", *self.lines, ".end", ""])

    def start(self, wire: Wire) -> str:
        """Where a wire starts: behind the feed's fuse, if that has a short to bear."""
        fault = self.fault
        if wire.to != "feed" or fault is None or fault.place != "body":
            return wire.to
        if next(w for w in self.family.wires if w.name == fault.wire).role != "supply-battery":
            return wire.to
        if not any(line.startswith("Rfuse") for line in self.lines):
            self.resistor("fuse", "feed", "fused", SOUND_FUSE)
        return "fused"

    def is_there(self, element: Element) -> bool:
        words = {**self.words, "connector": "plugged" if self.plugged else "unplugged"}
        words |= {n: f"{self.values[n]:g}" for n, d in self.family.driven.items() if options_of(d)}
        return not element.only_if or words[element.only_if[0]] == element.only_if[1]

    def node(self, name: str) -> str:
        return self.names.setdefault(name, f"n{len(self.names)}")

    def value(self, element: Element, key: str) -> float:
        return self.values[element.parameters[key]]

    def resistor(self, name: str, a: str, b: str, ohm: float) -> None:
        self.lines.append(f"R{name} {self.node(a)} {self.node(b)} {ohm:.15g}")

    def across(self, a: str, b: str) -> str:
        return f"v({self.node(a)},{self.node(b)})"

    def behind(self, name: str, plus: str, minus: str, volts: str, ohm: float) -> None:
        """A voltage, as an expression, behind a resistance."""
        inner = f"x{name}"
        self.lines.append(f"B{name} {inner} {self.node(minus)} V={volts}")
        self.lines.append(f"R{name} {inner} {self.node(plus)} {ohm:.15g}")

    def add_resistor(self, name: str, e: Element) -> None:
        self.resistor(name, e.nodes[0], e.nodes[1], self.value(e, "ohm"))

    add_coil = add_resistor

    def add_source(self, name: str, e: Element) -> None:
        if "limit_ampere" in e.parameters:
            self.limited(name, e)
            return
        volts = f"{self.value(e, 'volt'):.15g}"
        self.behind(name, e.nodes[0], e.nodes[1], volts, self.value(e, "ohm"))

    add_cell = add_source

    def limited(self, name: str, e: Element) -> None:
        """Beyond its limit nearly a constant current; driven backwards it takes little."""
        plus, minus = e.nodes
        ohm, limit = self.value(e, "ohm"), self.value(e, "limit_ampere")
        current = f"i(v{name})"
        beyond = f"{LIMITING:.15g}*max(0, {current}-{limit:.15g})"
        back = f"{BACKWARDS - ohm:.15g}*max(0, -{current})"
        self.lines.append(
            f"B{name} x{name} {self.node(minus)} V={self.value(e, 'volt'):.15g}-{beyond}+{back}"
        )
        self.lines.append(f"V{name} x{name} y{name} 0")  # a source of 0 V measures the current
        self.lines.append(f"R{name} y{name} {self.node(plus)} {ohm:.15g}")

    def add_sink(self, name: str, e: Element) -> None:
        ampere, full = self.value(e, "ampere"), self.value(e, "full_volt")
        share = f"min(1, {self.across(e.nodes[0], e.nodes[1])}/{full:.15g})"
        if self.fault is not None:
            share = self.starved(e, full)
        self.lines.append(
            f"B{name} {self.node(e.nodes[0])} {self.node(e.nodes[1])} I={ampere:.15g}*{share}"
        )

    def add_thermistor(self, name: str, e: Element) -> None:
        kelvin = self.value(e, "celsius") + 273.15
        beta = self.value(e, "beta_kelvin")
        ohm = self.value(e, "ohm_25") * math.exp(beta * (1 / kelvin - 1 / 298.15))
        self.resistor(name, e.nodes[0], e.nodes[1], ohm)

    def add_platinum(self, name: str, e: Element) -> None:
        t = self.value(e, "celsius")
        ratio = 1 + PLATINUM_A * t + PLATINUM_B * t**2
        ratio += PLATINUM_C * (t - 100) * t**3 if t < 0 else 0.0
        self.resistor(name, e.nodes[0], e.nodes[1], self.value(e, "ohm_0") * ratio)

    def add_contact(self, name: str, e: Element) -> None:
        raised = self.above_floor(name, e)
        e = self.saturated(name, e) if raised is e else raised
        key = "closed_ohm" if self.levels[e.name] else "open_ohm"
        if "full_volt" in e.parameters and self.levels[e.name]:
            self.add_fed_contact(name, e)
            return
        self.resistor(name, e.nodes[0], e.nodes[1], self.value(e, key))

    def saturated(self, name: str, e: Element) -> Element:
        """A transistor that leaves some volts of its own, and gives none of them back."""
        if "closed_volt" not in e.parameters:
            return e
        floor = f"saturated {name}"
        a, b = self.node(floor), self.node(e.nodes[1])
        beyond = f"max(0, v({a},{b})-{self.value(e, 'closed_volt'):.15g})/{SATURATED_OHM}"
        self.lines.append(f"B{name}s {a} {b} I={beyond}+v({a},{b})/{RELEASED:.15g}")
        return replace(e, nodes=(e.nodes[0], floor, *e.nodes[2:]))

    def above_floor(self, name: str, e: Element) -> Element:
        """An output whose wire is open ends a little above its ground."""
        fault = self.fault
        if fault is None or fault.place != "series" or fault.ohm < OPEN_OHM:
            return e
        if "full_volt" not in e.parameters:
            return e
        if e.nodes[0] != next(w.pin for w in self.family.wires if w.name == fault.wire):
            return e
        floor = f"floor {name}"
        self.behind(f"{name}f", floor, e.nodes[1], f"{FLOOR_VOLT:.15g}", FLOOR_OHM)
        return replace(e, nodes=(e.nodes[0], floor, *e.nodes[2:]))

    def add_fed_contact(self, name: str, e: Element) -> None:
        """An output that lets go while its sensor isn't fed."""
        a, b, supply, ground = e.nodes
        fed = f"{self.across(supply, ground)} >= {self.value(e, 'full_volt'):.15g}"
        closed, opened = (1.0 / self.value(e, key) for key in ("closed_ohm", "open_ohm"))
        current = f"{self.across(a, b)}*({fed} ? {closed:.15g} : {opened:.15g})"
        self.lines.append(f"B{name} {self.node(a)} {self.node(b)} I={current}")

    def add_potentiometer(self, name: str, e: Element) -> None:
        ohm, position = self.value(e, "ohm"), self.value(e, "position")
        middle = f"track {name}"
        self.resistor(f"{name}a", e.nodes[0], middle, ohm * (1 - position + TRACK_END))
        self.resistor(f"{name}b", middle, e.nodes[2], ohm * (position + TRACK_END))
        self.resistor(f"{name}w", middle, e.nodes[1], self.value(e, "wiper_ohm"))

    def add_ratiometric(self, name: str, e: Element) -> None:
        key = self.levelled(e, "ratio")
        if "full_volt" in e.parameters:
            self.add_ratiometric_while_fed(name, e, key)
            return
        output, supply, ground = e.nodes
        volts = f"{self.value(e, key):.15g}*{self.across(supply, ground)}"
        self.behind(name, output, ground, volts, self.value(e, "ohm"))

    def add_ratiometric_while_fed(self, name: str, e: Element, key: str) -> None:
        supplied = self.across(e.nodes[1], e.nodes[2])
        self.while_fed(name, e, f"{self.value(e, key):.15g}*{supplied}")

    def while_fed(self, name: str, e: Element, wanted: str) -> None:
        """An output that lets go while its sensor isn't fed."""
        output, supply, ground = e.nodes
        supplied, shown = self.across(supply, ground), self.across(output, ground)
        ohm, full = self.value(e, "ohm"), self.value(e, "full_volt")
        driven = f"({shown}-{wanted})/{ohm:.15g}"
        current = f"({supplied} >= {full:.15g} ? {driven} : {shown}/{RELEASED:.15g})"
        self.lines.append(f"B{name} {self.node(output)} {self.node(ground)} I={current}")

    def add_junctions(self) -> None:
        """Those of every integrated output: from its ground, and to its supply."""
        lower, upper = set(), set()
        elements = self.family.elements
        for e in elements:
            if e.side == "sensor" and (e.kind in {"ratiometric", "regulated"} or len(e.nodes) == 4):
                output, supply, ground = e.nodes[0], *e.nodes[-2:]
                lower.add((ground, output))
                # An open collector may be pulled above its supply, whatever else is there.
                collector = any(x.kind == "contact" and x.nodes[0] == output for x in elements)
                if not collector and self.is_there(e):
                    upper.add((output, supply))
        for anode, cathode in sorted(lower | upper):
            beyond = f"max(0, {self.across(anode, cathode)}-{JUNCTION_VOLT})/{JUNCTION_OHM}"
            name = f"j{len(self.lines)}"
            self.lines.append(f"B{name} {self.node(anode)} {self.node(cathode)} I={beyond}")

    def add_appetite(self, name: str, e: Element) -> bool:
        """What electronics draw where their supply is far from what it should be."""
        role = {wire.name: wire.role for wire in self.family.wires}
        fed = {w.pin: w.to for w in self.family.wires if w.role.startswith("supply")}
        grounds = {w.pin for w in self.family.wires if w.role == "sensor-ground"}
        if e.side != "sensor" or e.kind != "resistor" or e.passive or e.nodes[0] not in fed:
            return False
        if self.fault is None or e.nodes[1] not in grounds:
            return False
        if not role[self.fault.wire].startswith(("supply", "sensor-ground")):
            return False
        if e.parameters["ohm"] in self.family.driven:  # a hot element: a plain resistance
            return False
        volt = {"feed": 12.6, "vcc": 5.0, "ref": 5.0}.get(fed[e.nodes[0]], 8.5)
        ampere, full = volt / self.value(e, "ohm"), (1.2 * volt) ** 0.5
        ends = " ".join(self.node(node) for node in e.nodes)
        self.lines.append(f"B{name} {ends} I={ampere:.15g}*{self.starved(e, full)}")
        return True

    def starved(self, e: Element, full: float) -> str:
        """Share of its full current that a sink takes; what it leaks is written beside it."""
        self.resistor(f"s{len(self.lines)}", e.nodes[0], e.nodes[1], STARVED_OHM)
        above = f"({self.across(e.nodes[0], e.nodes[1])}-{ONSET_VOLT:.15g})"
        return f"max(0, min(1, {above}/{full - ONSET_VOLT:.15g}))"

    def add_leak(self, fault: Fault) -> None:
        """From the supply of an open collector to its wire, once that is open."""
        if fault.place != "series":
            return
        pin = next(wire.pin for wire in self.family.wires if wire.name == fault.wire)
        for e in self.family.elements:
            if e.kind == "contact" and e.nodes[0] == pin and len(e.nodes) == 4:
                self.resistor(f"l{len(self.lines)}", e.nodes[2], pin, OUTPUT_LEAK)

    def add_regulated(self, name: str, e: Element) -> None:
        self.while_fed(name, e, f"{self.value(e, self.levelled(e, 'volt')):.15g}")

    def levelled(self, e: Element, key: str) -> str:
        if "high" not in e.parameters:
            return key
        return f"{key}_high" if self.levels[e.name] else f"{key}_low"


def solve(decks: Sequence[Deck], folder: Path) -> list[list[float]]:
    """Voltages at each deck's wires, V, from runs of ngspice with some decks each."""
    rows = []
    for start in range(0, len(decks), DECKS_A_RUN):
        rows += one_run(decks[start : start + DECKS_A_RUN], folder)
    return rows


def one_run(decks: Sequence[Deck], folder: Path) -> list[list[float]]:
    """Voltages at each deck's wires, V, from one run of ngspice."""
    steps = []
    for number, deck in enumerate(decks):
        path = folder / f"{number}.cir"
        path.write_text(deck.text(), encoding="utf-8")
        wanted = " ".join(f"v({deck.node(wire.name)})" for wire in deck.family.wires)
        steps.append(f"source {path.as_posix()}\nop\nprint {wanted}\nremcirc")
    options = "set numdgt=10"
    script = folder / "all.script"
    body = ["control", ".control", options, *steps, "quit", ".endc", ".end", ""]
    script.write_text("\n".join(body), encoding="utf-8")
    result = subprocess.run(
        ["ngspice", "-b", str(script)], capture_output=True, text=True, check=False
    )
    found = re.findall(r"^v\(n\d+\) = (\S+)", result.stdout, re.MULTILINE)
    volts = [float(text) for text in found]
    rows, start = [], 0
    for deck in decks:
        rows.append(volts[start : start + len(deck.family.wires)])
        start += len(deck.family.wires)
    if start != len(volts):
        raise RuntimeError(f"ngspice did not answer as expected:\n{result.stdout}{result.stderr}")
    return rows
