"""The technician: takes the readings of a plan and writes the rounds of a job."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from backprobe.campaign.block import Moment
from backprobe.campaign.circuit import Circuit, behind
from backprobe.campaign.meter import TrueMeter, plain, show
from backprobe.campaign.plan import RoundPlan
from backprobe.campaign.readings import Bench, BlackLead, RoundState
from backprobe.campaign.spreads import Random, chance, even
from backprobe.job.model import Indication, Round

WORTH_LOADING = 0.5  # V: what reads less tells nothing more under a load
LOAD_OHM = 1000.0
CELLS = ("oxygen",)  # connectors whose cell wires are never loaded
CELL_ROLES = ("generator-signal", "generator-return")


@dataclass(frozen=True, slots=True)
class Taker:
    """Takes single readings in one round: meter, black lead and the flicker of live things."""

    bench: Bench
    meter: TrueMeter
    state: RoundState
    rng: Random

    def lead(self) -> BlackLead:
        """The black lead's point at this very reading."""
        lead = self.state.lead
        if lead.wander <= 0.0:
            return lead
        shift = float(self.rng.uniform(-1.0, 1.0)) * lead.wander * max(abs(lead.volt), 0.5)
        return replace(lead, volt=lead.volt + shift)

    def now(self) -> Moment:
        """The moment of this very reading: live quantities flicker."""
        return flickering(self.state.moment, self.rng)

    def volts(self, key: str, load_ohm: float = math.inf) -> Indication:
        """DC volts at a terminal."""
        value = self.bench.levels(self.now(), self.lead(), key, load_ohm).mean()
        return show(self.meter, "volts", value)

    def held(self, key: str) -> tuple[Indication, Indication]:
        """Lowest and highest value kept over the round's action."""
        state, lead = self.state, self.lead()
        ends = [end for end in (state.low, state.high) if end is not None] or [state.moment]
        levels = [self.bench.levels(flickering(end, self.rng), lead, key) for end in ends]
        shown = (
            show(self.meter, "volts", min(each.hold(highest=False) for each in levels)),
            show(self.meter, "volts", max(each.hold(highest=True) for each in levels)),
        )
        # Two ranges of one meter may disagree by a digit; the technician knows which is which.
        return min(shown, key=_value), max(shown, key=_value)

    def alternating(self, key: str) -> Indication:
        """AC volts, where there is anything to see."""
        rms = self.bench.levels(self.now(), self.lead(), key).rms(self.meter.bandwidth)
        return show(self.meter, "volts_ac", rms)

    def counted(self, key: str) -> tuple[Indication, Indication] | None:
        """Frequency and share of time high, in percent, where the counter triggers."""
        strongest = self.bench.levels(self.now(), self.lead(), key).strongest()
        if strongest is None or abs(strongest[1]) < self.meter.trigger:
            return None
        toggle, swing = strongest
        high = toggle.share if swing > 0.0 else 1.0 - toggle.share
        hertz = toggle.hertz * even(self.rng, 0.99, 1.01)
        duty = min(max(100.0 * high + even(self.rng, -0.6, 0.6), 0.1), 99.9)
        return show(self.meter, "hertz", hertz), plain(duty, 1)

    def harness_ohms(self, key: str) -> Indication:
        """Ohms from a harness terminal to the black lead, the control unit connected."""
        test_volt = self.meter.test_volt
        ohm = self.bench.harness_ohm(self.now(), self.lead(), key, test_volt)
        return show(self.meter, "ohms", ohm)

    def sensor_ohms(self, keys: tuple[str, str]) -> Indication:
        """Ohms between two pins of the unplugged sensor, those behind two wires."""
        pins = behind(self.bench.circuit, keys)
        return show(
            self.meter, "ohms", self.bench.sensor_ohm(self.now(), pins, self.meter.test_volt)
        )

    def battery(self) -> Indication:
        """Across the posts."""
        return show(self.meter, "volts", self.bench.across_battery(self.state.moment))

    def check(self) -> Indication:
        """Battery positive post to the black lead's point."""
        return show(self.meter, "volts", self.bench.across_battery(self.state.moment, self.lead()))


def flickering(now: Moment, rng: Random) -> Moment:
    """The same moment with live quantities a little off: flow pulses, levers tremble."""
    scale = 1.0 if now.running or now.cranking else 0.15
    moved = {}
    for name, value in now.quantities.items():
        if name.endswith((".volt", ".hertz", ".pump ampere")):
            moved[name] = value * (1.0 + scale * rng.normal(0.0, 0.012))
        elif name.endswith(".celsius"):
            moved[name] = value + rng.normal(0.0, 0.25)
        elif name.endswith(".stand"):
            moved[name] = value + scale * rng.normal(0.0, 0.003)
        elif name.startswith("rails."):
            moved[name] = value + scale * rng.normal(0.0, 0.0015)
    battery = now.battery + scale * rng.normal(0.0, 0.03)
    return replace(now, quantities={**now.quantities, **moved}, battery=battery)


def write_round(
    circuit: Circuit,
    meter: TrueMeter,
    plan: RoundPlan,
    state: RoundState,
    pins: Mapping[str, str],
    rng: Random,
) -> Round:
    """Take the readings of a plan and write them down."""
    bench = Bench(circuit, meter.sheet.input_resistance)
    taker = Taker(bench, meter, state, rng)
    read = [pin for pin in pins if plan.share >= 1.0 or chance(rng, plan.share)] or list(pins)[:1]
    written = Round(
        plan.name,
        plan.plugged,
        plan.key,
        rpm=state.moment.rpm,
        action=plan.action,
        black_lead=state.lead.point,
    )
    if plan.checks:
        written = replace(written, battery_volts=taker.battery(), black_lead_check=taker.check())
    columns: Mapping[str, Callable[[], Mapping[str, object]]] = {
        "volts": lambda: {"volts": {pin: taker.volts(pins[pin]) for pin in read}},
        "counter": lambda: _counter(taker, pins, read),
        "volts_ac": lambda: _alternating(circuit, taker, pins, read),
        "hold": lambda: _held(taker, pins, read),
        "sensor_ohms": lambda: _sensor_ohms(circuit, taker, pins),
        "harness_ohms": lambda: _harness_ohms(taker, pins, read),
        "scan": lambda: _scan(circuit, taker),
    }
    for column in plan.columns:
        if column in columns:
            written = replace(written, **columns[column]())  # type: ignore[arg-type]  # by name
    if "volts_loaded" in plan.columns:
        written = replace(
            written, load_ohms=LOAD_OHM, volts_loaded=_loaded(circuit, taker, pins, written)
        )
    return written


def _value(indication: Indication) -> float:
    return indication.value


def _held(
    taker: Taker, pins: Mapping[str, str], read: Sequence[str]
) -> dict[str, dict[str, Indication]]:
    kept = {pin: taker.held(pins[pin]) for pin in read}
    return {
        "volts_low": {pin: both[0] for pin, both in kept.items()},
        "volts_high": {pin: both[1] for pin, both in kept.items()},
    }


def _counter(
    taker: Taker, pins: Mapping[str, str], read: Sequence[str]
) -> dict[str, dict[str, Indication]]:
    shown = {pin: taker.counted(pins[pin]) for pin in read}
    return {
        "hertz": {pin: both[0] for pin, both in shown.items() if both},
        "duty_percent": {pin: both[1] for pin, both in shown.items() if both},
    }


def _alternating(
    circuit: Circuit, taker: Taker, pins: Mapping[str, str], read: Sequence[str]
) -> dict[str, dict[str, Indication]]:
    """AC volts on circuits that make their own voltage, as the technician guesses they do."""
    if circuit.design.kind not in {"speed", "knock"}:
        return {}
    return {
        "volts_ac": {
            pin: taker.alternating(pins[pin])
            for pin in read
            if circuit.role(pins[pin]).startswith("generator")
        }
    }


def _loaded(
    circuit: Circuit, taker: Taker, pins: Mapping[str, str], written: Round
) -> dict[str, Indication]:
    loaded = {}
    for pin, key in pins.items():
        unloaded = written.volts.get(pin)
        cell = circuit.design.kind in CELLS and circuit.role(key) in CELL_ROLES
        if unloaded is not None and abs(unloaded.value) > WORTH_LOADING and not cell:
            loaded[pin] = taker.volts(key, LOAD_OHM)
    return loaded


def _sensor_ohms(
    circuit: Circuit, taker: Taker, pins: Mapping[str, str]
) -> dict[str, dict[tuple[str, str], Indication]]:
    of_wire = {key: pin for pin, key in pins.items()}
    order = list(pins)
    found = {}
    for pair in circuit.passive_pairs():
        # Where wires are exchanged, other pins of the connector lie over this pair.
        at = sorted((of_wire[key] for key in behind(circuit, pair)), key=order.index)
        found[at[0], at[1]] = taker.sensor_ohms((pins[at[0]], pins[at[1]]))
    return {"sensor_ohms": found}


def _harness_ohms(
    taker: Taker, pins: Mapping[str, str], read: Sequence[str]
) -> dict[str, dict[str, Indication]]:
    return {"harness_ohms": {pin: taker.harness_ohms(pins[pin]) for pin in read}}


def _scan(circuit: Circuit, taker: Taker) -> dict[str, dict[str, Indication]]:
    """What the control unit reports, and half of the time what it sees at its input."""
    now = taker.now()
    if not now.awake:
        return {}
    return {"scan": reported(circuit, taker, now, with_input=chance(taker.rng, 0.5))}


def reported(
    circuit: Circuit, taker: Taker, now: Moment, *, with_input: bool
) -> dict[str, Indication]:
    """All values that an awake control unit reports; perhaps what it sees at its input, too."""
    shown: dict[str, Indication] = {}
    for block in circuit.blocks:
        for port in block.scans():
            hertz = _input_hertz(taker, now, port.wire)
            volts = taker.bench.input_volts(now, port.wire)
            seen = hertz if port.by_hertz else min(max(volts, 0.0), 5.0)
            decimals = 0 if "temperature" in port.name or "pressure" in port.name else 1
            shown[port.name] = plain(port.convert(circuit.values, seen), decimals)
            if with_input and port.by_hertz:
                shown[f"{port.name} hertz"] = plain(hertz, 0)
            elif with_input:
                shown[f"{port.name} volts"] = plain(seen, 2)
    return shown


def _input_hertz(taker: Taker, now: Moment, key: str) -> float:
    strongest = taker.bench.levels(now, BlackLead(), key).strongest()
    return strongest[0].hertz if strongest and abs(strongest[1]) > 2.0 else 0.0
