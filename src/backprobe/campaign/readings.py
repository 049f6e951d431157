"""What stands at a terminal in a round, with the meter on it, before the meter's own errors."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import product

from backprobe.campaign.block import Moment, Toggle
from backprobe.campaign.circuit import Circuit, netlist, sensor_alone
from backprobe.campaign.nodal import Netlist, Solution
from backprobe.vocabulary import BATTERY_NEGATIVE

BLACK = "black lead"
HOLD_SECONDS = 0.1  # a meter's min/max hold averages about so long


@dataclass(frozen=True, slots=True)
class BlackLead:
    """Where the black lead is: a resistance to, and a voltage above, battery negative."""

    ohm: float = 0.05
    volt: float = 0.0
    wander: float = 0.0  # share of the voltage that changes from reading to reading
    point: str = BATTERY_NEGATIVE  # what the technician calls it


@dataclass(frozen=True, slots=True)
class RoundState:
    """The true state of the vehicle in a round.

    `moment` is the state that readings are taken in; `low` and `high` are the ends of an action's
    travel. `lead` is the black lead's true place.
    """

    name: str
    moment: Moment
    low: Moment | None = None
    high: Moment | None = None
    lead: BlackLead = field(default_factory=BlackLead)


class Bench:
    """One circuit in one round, with its solutions kept as starting points for the next."""

    def __init__(self, circuit: Circuit, input_resistance: float) -> None:
        self.circuit = circuit
        self.input_resistance = input_resistance
        self._guesses: dict[tuple[object, ...], Solution] = {}

    def levels(
        self, now: Moment, lead: BlackLead, key: str, load_ohm: float = math.inf
    ) -> "Levels":
        """Solve for the volts that the meter sees at a terminal at every level."""
        toggles = self.circuit.toggles(now)
        volts: dict[tuple[int, ...], float] = {}
        for combination in product((0, 1), repeat=len(toggles)):
            at = {t.name: level for t, level in zip(toggles, combination, strict=True)}
            moment = replace(now, levels=at)
            volts[combination] = self._across(moment, lead, key, load_ohm, combination)
        return Levels(toggles, volts)

    def _across(
        self,
        now: Moment,
        lead: BlackLead,
        key: str,
        load_ohm: float,
        combination: tuple[int, ...],
    ) -> float:
        net = netlist(self.circuit, now)
        net.source(BLACK, "battery-", lead.volt, lead.ohm)
        net.resistor(key, BLACK, self.input_resistance)
        net.resistor(key, BLACK, load_ohm)
        solution = self._solve(net, (now.plugged, now.awake, now.rpm, combination))
        return solution[key] - solution[BLACK]

    def _solve(self, net: Netlist, state: tuple[object, ...]) -> Solution:
        solution = net.solve(self._guesses.get(state))
        self._guesses[state] = solution
        return solution

    def across_battery(self, now: Moment, lead: BlackLead | None = None) -> float:
        """Volts from battery positive post to negative post, or to the black lead's point."""
        net = netlist(self.circuit, now)
        minus = "battery-"
        if lead is not None:
            net.source(BLACK, "battery-", lead.volt, lead.ohm)
            minus = BLACK
        net.resistor("battery", minus, self.input_resistance)
        solution = self._solve(net, (now.plugged, now.awake, now.rpm, "battery"))
        return solution["battery"] - solution[minus]

    def input_volts(self, now: Moment, key: str) -> float:
        """Mean volts at the control unit's pin of a wire against its inner ground, no meter on."""
        toggles = self.circuit.toggles(now)
        to = next(wire.to for wire in self.circuit.wires if wire.key == key)
        mean = 0.0
        for combination in product((0, 1), repeat=len(toggles)):
            at = {t.name: level for t, level in zip(toggles, combination, strict=True)}
            net = netlist(self.circuit, replace(now, levels=at))
            solution = net.solve()
            share = _share(toggles, combination)
            mean += share * (solution[to] - solution["cu-inner"])
        return mean

    def harness_ohm(self, now: Moment, lead: BlackLead, key: str, test_volt: float) -> float:
        """Ohms by the meter's own test voltage, from a harness wire to the black lead."""
        net = netlist(self.circuit, now)
        net.source(BLACK, "battery-", lead.volt, lead.ohm)
        return _ohmmeter(net, key, BLACK, test_volt)

    def sensor_ohm(self, now: Moment, pair: tuple[str, str], test_volt: float) -> float:
        """Ohms between two pins of the unplugged sensor."""
        net = sensor_alone(self.circuit, now)
        return _ohmmeter(net, f"{pair[0]}.s", f"{pair[1]}.s", test_volt)


def _ohmmeter(net: Netlist, plus: str, minus: str, test_volt: float) -> float:
    """Find the reading: a ratio to the reference resistor of the range that suits."""
    ohm = math.inf
    for reference in (1e3, 1e4, 1e5, 1e6, 1e7):
        trial = net.copy()
        trial.source("ohm jack", minus, test_volt, reference)
        trial.resistor("ohm jack", plus, 0.15)
        solution = trial.solve()
        across = solution["ohm jack"] - solution[minus]
        ampere = (test_volt - across) / reference
        ohm = across / ampere if ampere > 1e-12 else math.inf
        if abs(ohm) < 4.0 * reference:
            return ohm
    return math.inf


@dataclass(frozen=True, slots=True)
class Levels:
    """Volts at a terminal at every combination of what switches."""

    toggles: tuple[Toggle, ...]
    volts: Mapping[tuple[int, ...], float]

    def mean(self) -> float:
        """What a DC meter shows."""
        return sum(_share(self.toggles, at) * volt for at, volt in self.volts.items())

    def swing(self, number: int) -> float:
        """Mean change of the volts as one toggle goes from level 0 to level 1."""
        total = 0.0
        for at, volt in self.volts.items():
            weight = _share(self.toggles, at, leave_out=number)
            total += weight * (volt if at[number] else -volt)
        return total

    def rms(self, bandwidth: float) -> float:
        """What an AC meter of this bandwidth, Hz, shows: each part's rms, added in squares."""
        square = 0.0
        for number, toggle in enumerate(self.toggles):
            spread = self.swing(number) ** 2 * toggle.share * (1.0 - toggle.share)
            square += spread / (1.0 + (toggle.hertz / bandwidth) ** 2)
        return math.sqrt(square)

    def hold(self, *, highest: bool) -> float:
        """What a min/max hold keeps: levels that last, means of what is faster."""
        volt = self.mean()
        for number, toggle in enumerate(self.toggles):
            swing = self.swing(number)
            up = (1.0 - toggle.share) * max(swing, 0.0) + toggle.share * max(-swing, 0.0)
            down = toggle.share * max(swing, 0.0) + (1.0 - toggle.share) * max(-swing, 0.0)
            kept = min(1.0, 1.0 / (math.pi * toggle.hertz * HOLD_SECONDS)) ** 1.5
            volt += kept * (up if highest else -down)
        return volt

    def strongest(self) -> tuple[Toggle, float] | None:
        """The toggle that moves the terminal most, and its swing, V."""
        if not self.toggles:
            return None
        number = max(range(len(self.toggles)), key=lambda n: abs(self.swing(n)))
        return self.toggles[number], self.swing(number)


def _share(toggles: tuple[Toggle, ...], at: tuple[int, ...], leave_out: int = -1) -> float:
    share = 1.0
    for number, (toggle, level) in enumerate(zip(toggles, at, strict=True)):
        if number != leave_out:
            share *= toggle.share if level else 1.0 - toggle.share
    return share
