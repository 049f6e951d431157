"""Draw a whole vehicle: connector, fault, meter, measurement, the job and its truth."""

from dataclasses import dataclass, replace

from backprobe.campaign.circuit import Circuit, draw_circuit
from backprobe.campaign.connectors import design_named
from backprobe.campaign.day import Day
from backprobe.campaign.faulting import NONE, Fault, apply, draw_fault
from backprobe.campaign.meter import TrueMeter, draw_meter
from backprobe.campaign.plan import RoundPlan, Trouble, full_plan, partial_plan
from backprobe.campaign.readings import RoundState
from backprobe.campaign.slips import slip
from backprobe.campaign.spreads import Random, chance, pick
from backprobe.campaign.technician import write_round
from backprobe.campaign.true_values import true_values
from backprobe.campaign.vehicle import Simulation, Truth, Vehicle
from backprobe.job.model import Connector, Job, Round, Terminal

CONDITIONS = ("healthy", "fault", "black-lead", "mixed")
SHEETS = ("full", "partial")
# IEC 60757 letters.
COLOURS = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK")
LEADS = ("lifted", "wandering", "floating")


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a campaign asks of its vehicles."""

    conditions: str = "mixed"
    sheets: str = "full"
    fault_kinds: tuple[str, ...] = ()
    slips: bool = True
    design: str = ""  # name of one kind of connector; any where empty


def draw_vehicle(rng: Random, wishes: Wishes | None = None, number: int = 1) -> Vehicle:
    """Draw a vehicle with at most one fault, measured as wished."""
    asked = wishes or Wishes()
    design = design_named(asked.design) if asked.design else None
    healthy = draw_circuit(rng, design)
    fault = _draw_fault(healthy, asked, rng)
    circuit = healthy
    if fault.option is not None:
        circuit = apply(healthy, fault.option, fault.severity)
    meter = draw_meter(rng)
    plans = full_plan(circuit, rng) if asked.sheets == "full" else partial_plan(circuit, rng)
    trouble = _draw_trouble(plans, asked, rng)
    day = Day(healthy, trouble, rng)
    states = tuple(day.round_state(plan) for plan in plans)
    pins = draw_pins(circuit, rng)
    rounds = tuple(
        write_round(circuit, meter, plan, state, pins, rng)
        for plan, state in zip(plans, states, strict=True)
    )
    rounds = _with_ambient(healthy, rounds, states, rng)
    slipped = ""
    if asked.slips and chance(rng, 0.04):
        rounds, slipped = slip(rounds, rng)
    truth = _truth(circuit, fault, states, pins, trouble, slipped)
    job = _write_job(circuit, meter, rounds, pins, number, rng)
    return Vehicle(job, truth, Simulation(healthy, circuit, fault, meter, pins, states, day))


def _draw_fault(circuit: Circuit, asked: Wishes, rng: Random) -> Fault:
    wanted = asked.conditions == "fault" or (asked.conditions == "mixed" and chance(rng, 0.5))
    if not wanted:
        return NONE
    return draw_fault(circuit, rng, asked.fault_kinds) or NONE


def _draw_trouble(plans: tuple[RoundPlan, ...], asked: Wishes, rng: Random) -> Trouble:
    if asked.conditions in {"healthy", "fault"}:
        return Trouble()
    # Without a voltage a bad point shows nowhere.
    names = [plan.name for plan in plans if plan.checks or "volts" in plan.columns]
    if not names:
        return Trouble()
    kind = "lead"
    if asked.conditions == "mixed":
        kind = pick(rng, (0.77, ""), (0.15, "lead"), (0.03, "asleep"), (0.05, "weak"))
    if kind == "weak":
        return Trouble(weak_battery=True)
    if kind == "asleep":
        asleep = [plan.name for plan in plans if plan.key == "on"]
        chosen = frozenset(asleep[:1] if chance(rng, 0.5) else asleep[-1:])
        return Trouble(asleep=chosen)
    if kind == "lead":
        what = LEADS[int(rng.integers(len(LEADS)))]
        bad = [names[int(rng.integers(len(names)))]] if chance(rng, 0.7) else names
        return Trouble(leads=dict.fromkeys(bad, what))
    return Trouble()


def draw_pins(circuit: Circuit, rng: Random) -> dict[str, str]:
    """Give the wires their pins: shuffled, with numbers or letters."""
    order = rng.permutation(len(circuit.wires))
    letters = chance(rng, 0.25)
    return {
        (chr(ord("A") + place) if letters else str(place + 1)): circuit.wires[int(which)].key
        for place, which in enumerate(order)
    }


def _with_ambient(
    circuit: Circuit, rounds: tuple[Round, ...], states: tuple[RoundState, ...], rng: Random
) -> tuple[Round, ...]:
    """Write down the sensing element's temperature where it's known: a cold-soaked vehicle."""
    if not chance(rng, 0.35):
        return rounds
    written = []
    for taken, state in zip(rounds, states, strict=True):
        celsius = next(
            (v for name, v in state.moment.quantities.items() if name.endswith(".celsius")), None
        )
        known = celsius is not None and taken.key in {"on", "off"} and celsius < 42.0
        seen = round(float(celsius or 0.0) + rng.normal(0.0, 1.0), 1)
        written.append(replace(taken, ambient_celsius=seen) if known else taken)
    del circuit
    return tuple(written)


def _truth(
    circuit: Circuit,
    fault: Fault,
    states: tuple[RoundState, ...],
    pins: dict[str, str],
    trouble: Trouble,
    slipped: str,
) -> Truth:
    of_wire = {key: pin for pin, key in pins.items()}
    return Truth(
        roles={pin: circuit.role(key) for pin, key in pins.items()},
        interchangeable=tuple(
            frozenset(of_wire[key] for key in group) for group in circuit.interchangeable()
        ),
        fault=fault.name,
        fault_pins=tuple(of_wire[key] for key in fault.wires),
        severity=fault.severity,
        circuit=circuit.design.circuit,
        bad_rounds=trouble.bad_rounds(),
        weak_battery=trouble.weak_battery,
        slips=(slipped,) if slipped else (),
        estimates=true_values(circuit, fault, states, pins),
    )


def _write_job(
    circuit: Circuit,
    meter: TrueMeter,
    rounds: tuple[Round, ...],
    pins: dict[str, str],
    number: int,
    rng: Random,
) -> Job:
    colours = rng.choice(COLOURS, size=(len(pins), 2))
    with_diagram = chance(rng, 0.06)
    terminals = tuple(
        Terminal(
            pin,
            colour="/".join(dict.fromkeys(str(colour) for colour in pair)),
            diagram=circuit.role(key) if with_diagram else "",
        )
        for (pin, key), pair in zip(pins.items(), colours, strict=True)
    )
    return Job(
        title=f"Simulated vehicle {number}",
        connector=Connector("unknown sensor", "unknown", terminals),
        meter=meter.sheet,
        rounds=rounds,
    )
