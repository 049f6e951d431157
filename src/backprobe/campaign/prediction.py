"""The readings of a whole job without a meter's errors, fast enough to ask "what if" often.

One solution a round and level gives all of its terminals: the meter's small current acts through
the circuit's impedance (Thevenin), which the solver's derivatives hold. Known loads are solved
anew.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from backprobe.campaign.block import Moment, Toggle
from backprobe.campaign.circuit import Circuit, behind, netlist
from backprobe.campaign.meter import TrueMeter, standard_uncertainty
from backprobe.campaign.nodal import Solution
from backprobe.campaign.readings import BLACK, Bench, BlackLead, Levels, RoundState
from backprobe.job.model import Job, Round

# How far a live reading wanders between two looks, share of its value.
WANDER = {"on": 0.002, "off": 0.0, "crank": 0.02, "run": 0.01}
WANDER_VOLT = {"on": 0.001, "off": 0.001, "crank": 0.004, "run": 0.003}
# What a wire may pick up unseen; on a floating wire some ten millivolts.
PICK_UP_AMPERE = 4e-9
NO_COUNT = 0.0  # Hz of a terminal whose counter does not trigger
OPEN_OHM_SHOWN = 60e6  # what stands for "OL"


@dataclass(frozen=True, slots=True)
class Predicted:
    """One reading: its name in the answer's manner, its value and how well a meter shows it."""

    name: str
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Seen:
    """The levels at a terminal with the meter on it, and the resistance that they stand behind."""

    levels: Levels
    ohm: float


class Sheet:
    """The readings that a job holds, to be computed for one circuit or another."""

    def __init__(
        self,
        job: Job,
        states: Sequence[RoundState],
        pins: Mapping[str, str],
        meter: TrueMeter,
        leave_out: frozenset[str] = frozenset(),
    ) -> None:
        self.pins = pins
        self.meter = meter
        self.rounds = [
            (taken, state)
            for taken, state in zip(job.rounds, states, strict=True)
            if taken.name not in leave_out and not taken.void
        ]
        self._guesses: dict[tuple[object, ...], Solution] = {}

    def readings(
        self, circuit: Circuit, states: Mapping[str, RoundState] | None = None, only: str = ""
    ) -> Iterator[Predicted]:
        """Compute the job's readings for a circuit, round by round, or of one round only."""
        for taken, drawn in self.rounds:
            if only and taken.name != only:
                continue
            state = (states or {}).get(taken.name, drawn)
            yield from self._round(circuit, taken, state)

    def _round(self, circuit: Circuit, taken: Round, state: RoundState) -> Iterator[Predicted]:
        bench = Bench(circuit, self.meter.sheet.input_resistance)
        live = {*taken.volts, *taken.hertz, *taken.volts_ac, *taken.duty_percent}
        if live:
            levels = self._levels(circuit, state.moment, state.lead, sorted(live))
            yield from self._live(taken, levels)
        for pin in taken.volts_loaded:
            loaded = bench.levels(state.moment, state.lead, self.pins[pin], taken.load_ohms)
            yield self._volts(taken, "volts_loaded", pin, loaded.mean())
        if taken.volts_high or taken.volts_low:
            yield from self._held(circuit, taken, state)
        for pair in taken.sensor_ohms:
            keys = (self.pins[pair[0]], self.pins[pair[1]])
            ohm = bench.sensor_ohm(state.moment, behind(circuit, keys), self.meter.test_volt)
            yield self._ohms(taken, "sensor_ohms", "-".join(pair), ohm)
        for pin in taken.harness_ohms:
            ohm = bench.harness_ohm(state.moment, state.lead, self.pins[pin], self.meter.test_volt)
            yield self._ohms(taken, "harness_ohms", pin, ohm)

    def _live(self, taken: Round, seen: Mapping[str, Seen]) -> Iterator[Predicted]:
        for pin in taken.volts:
            yield self._volts(taken, "volts", pin, seen[pin].levels.mean(), seen[pin].ohm)
        # A counter that stays silent is a reading too, wherever a column was filled at all.
        counted = seen if taken.hertz or taken.duty_percent else {}
        for pin, at in counted.items():
            strongest = at.levels.strongest()
            swing = abs(strongest[1]) if strongest else 0.0
            triggered = strongest is not None and swing > self.meter.trigger
            hertz = strongest[0].hertz if strongest and triggered else NO_COUNT
            yield Predicted(f"{taken.name} hertz {pin}", hertz, 0.02 * max(hertz, 1.0))
            if strongest and triggered:
                high = strongest[0].share if strongest[1] > 0.0 else 1.0 - strongest[0].share
                yield Predicted(f"{taken.name} duty_percent {pin}", 100.0 * high, 0.6)
        for pin in taken.volts_ac:
            rms = seen[pin].levels.rms(self.meter.bandwidth)
            own = standard_uncertainty(self.meter.sheet, "volts_ac", rms)
            yield Predicted(f"{taken.name} volts_ac {pin}", rms, math.hypot(own, 0.03 * rms))

    def _held(self, circuit: Circuit, taken: Round, state: RoundState) -> Iterator[Predicted]:
        pins = sorted({*taken.volts_high, *taken.volts_low})
        ends = [end for end in (state.low, state.high) if end is not None] or [state.moment]
        seen = [self._levels(circuit, end, state.lead, pins) for end in ends]
        ohm = {pin: max(each[pin].ohm for each in seen) for pin in pins}
        for pin in taken.volts_high:
            highest = max(each[pin].levels.hold(highest=True) for each in seen)
            yield self._volts(taken, "volts_high", pin, highest, ohm[pin])
        for pin in taken.volts_low:
            lowest = min(each[pin].levels.hold(highest=False) for each in seen)
            yield self._volts(taken, "volts_low", pin, lowest, ohm[pin])

    def _levels(
        self, circuit: Circuit, now: Moment, lead: BlackLead, pins: Sequence[str]
    ) -> dict[str, "Seen"]:
        toggles = circuit.toggles(now)
        found: dict[str, dict[tuple[int, ...], float]] = {pin: {} for pin in pins}
        weak = dict.fromkeys(pins, 0.0)
        for combination in product((0, 1), repeat=len(toggles)):
            moment = replace(now, levels=_at(toggles, combination))
            net = netlist(circuit, moment)
            net.source(BLACK, "battery-", lead.volt, lead.ohm)
            place = (now.plugged, now.awake, now.rpm, combination)
            solution = net.solve(self._guesses.get(place))
            self._guesses[place] = solution
            z = net.impedances(solution)
            black = net.node(BLACK)
            for pin in pins:
                node = net.node(self.pins[pin])
                seen = z[node, node] + z[black, black] - z[node, black] - z[black, node]
                resistance = self.meter.sheet.input_resistance
                open_volts = solution[self.pins[pin]] - solution[BLACK]
                share = resistance / (resistance + float(seen))
                found[pin][combination] = open_volts * share
                weak[pin] = max(weak[pin], float(seen) * share)
        return {pin: Seen(Levels(toggles, volts), weak[pin]) for pin, volts in found.items()}

    def _volts(
        self, taken: Round, quantity: str, pin: str, value: float, ohm: float = 0.0
    ) -> Predicted:
        own = standard_uncertainty(self.meter.sheet, "volts", value)
        wander = WANDER_VOLT[taken.key] + WANDER[taken.key] * abs(value)
        picked_up = PICK_UP_AMPERE * ohm
        u = math.hypot(own, wander, picked_up)
        return Predicted(f"{taken.name} {quantity} {pin}", value, u)

    def _ohms(self, taken: Round, quantity: str, what: str, ohm: float) -> Predicted:
        shown = min(max(ohm, 0.0), OPEN_OHM_SHOWN)
        own = standard_uncertainty(self.meter.sheet, "ohms", shown)
        u = math.hypot(own, 0.2 + 0.01 * shown)
        return Predicted(f"{taken.name} {quantity} {what}", shown, u)


def _at(toggles: tuple[Toggle, ...], combination: tuple[int, ...]) -> dict[str, int]:
    return {t.name: level for t, level in zip(toggles, combination, strict=True)}
