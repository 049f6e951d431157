"""What nobody knows of a vehicle beforehand: part values and what its sensors measure.

Each unknown is counted in its own standard deviations from the simulated vehicle's value, so that
zero everywhere is the vehicle itself and three anywhere is already odd.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from backprobe.campaign.circuit import Circuit
from backprobe.campaign.rails import FEED
from backprobe.campaign.readings import RoundState

# Standard deviations of the logarithm, by the last part of a value's name; common practice, as
# wide as the draws of this package.
FACTORS: Final[Mapping[str, float]] = {
    "up": 0.6,
    "down": 0.9,
    "leak": 1.2,
    "clamp": 1.2,
    "shunt": 0.25,
    "track": 0.6,
    "wiper": 1.2,
    "coil": 0.7,
    "bias ohm": 0.9,
    "between": 0.9,
    "hold": 0.8,
    "ohm": 0.8,
    "ampere": 0.7,
    "inner leak": 1.0,
    "source": 0.8,
    "sink": 0.8,
    "on ohm": 0.8,
    "on": 0.8,
    "duty": 0.4,
    "share": 0.12,
    "hertz": 0.8,
    "scale": 0.8,  # which part it is, nobody knows
    "volt a turn": 0.7,
    "rms": 1.0,
    "element": 2.0,
    "cell ohm": 0.4,
    "hot ohm": 1.2,
    "pump ohm": 0.5,
    "virtual ohm": 1.0,
    "raised ohm": 1.0,
    "trim ohm": 0.7,
    "off": 0.6,
    "wire": 0.8,
}
# Standard deviations of shifts, in the value's own unit.
SHIFTS: Final[Mapping[str, float]] = {
    "ref.volt": 0.06,
    "ref-b.volt": 0.06,
    "ref-8.volt": 0.8,
    "vcc.volt": 0.04,
    "feed.drop": 0.1,
    "protection.drop": 0.4,
    "lift.running": 0.3,
    "bias volt": 0.4,
    "virtual": 0.13,
    "raised": 0.6,
    "rectified": 0.12,
    "saturation": 0.08,
    "closed": 0.05,
    "opened": 0.06,
    "low": 0.06,
    "high": 0.12,
    "offset": 0.02,
}
# An oxygen cell's bias and a current sensor's levels are known better than the table says.
CELL_BIAS_VOLT: Final = 0.035
CURRENT_SHARE: Final = 0.1
QUANTITY_SHIFTS: Final[Mapping[str, float]] = {
    "celsius": 8.0,
    "stand": 0.06,
    "inner": 0.01,
    "offset": 0.006,
    "body": 0.01,
    "pump ampere": 2e-4,
    "pump emf": 0.15,
}
QUANTITY_FACTORS: Final[Mapping[str, float]] = {"volt": 0.6, "hertz": 0.25}
ALL_ROUNDS_CELSIUS: Final = 25.0
BATTERY_VOLT: Final = 0.05  # its own reading stands beside
LEAD_VOLT: Final = 0.012  # of a sound black lead's point
# Things that are one way or the other: at rest, at key on.
USUAL_HOLD_OHM: Final = 1.5e5
CHOICES: Final = ("at rest", "at key", "steady", "holds at key", "lies high")


@dataclass(frozen=True, slots=True)
class Unknown:
    """One unknown: where it is, and what one standard deviation does to it."""

    place: str  # "value", "quantity", "everywhere" (a quantity in all rounds), "battery", "lead"
    name: str
    size: float
    is_factor: bool = False
    round: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """A circuit with the true states of its rounds."""

    circuit: Circuit
    states: Mapping[str, RoundState]


def unknowns_of(circuit: Circuit, states: Sequence[RoundState]) -> tuple[Unknown, ...]:
    """List what is unknown of a connector and its rounds."""
    found = [
        unknown
        for name, value in circuit.values.items()
        for unknown in (_of_value(name, value),)
        if unknown is not None
    ]
    for state in states:
        found.append(Unknown("battery", "", BATTERY_VOLT, round=state.name))
        found.append(Unknown("lead", "", LEAD_VOLT, round=state.name))
        for name in state.moment.quantities:
            last = name.rpartition(".")[2]
            if last in QUANTITY_SHIFTS:
                found.append(Unknown("quantity", name, QUANTITY_SHIFTS[last], round=state.name))
            elif last in QUANTITY_FACTORS:
                size = QUANTITY_FACTORS[last]
                found.append(Unknown("quantity", name, size, is_factor=True, round=state.name))
    everywhere = {name for state in states for name in state.moment.quantities}
    found += [
        Unknown("everywhere", name, ALL_ROUNDS_CELSIUS)
        for name in sorted(everywhere)
        if name.endswith(".celsius")
    ]
    return tuple(found)


def _of_value(name: str, value: float) -> Unknown | None:
    last = name.rpartition(".")[2]
    if name.startswith("cell.") and last == "bias volt":
        return Unknown("value", name, CELL_BIAS_VOLT)
    if last in {"low", "high"} and 0.0 < value < 0.05:
        return Unknown("value", name, CURRENT_SHARE, is_factor=True)
    shifted = name.split(".", 1)[-1] if name.startswith("rails.") else last
    if shifted in SHIFTS:
        return Unknown("value", name, SHIFTS[shifted])
    is_part = math.isfinite(value) and 0.0 < value < 1e10
    if name.startswith("rails.") or not is_part:
        return None
    size = FACTORS.get(last, 0.0)
    return Unknown("value", name, size, is_factor=True) if size else None


def moved(case: Case, unknowns: Sequence[Unknown], steps: Sequence[float]) -> Case:
    """The case with its unknowns moved by so many standard deviations each."""
    values: dict[str, float] = {}
    states = dict(case.states)
    for unknown, step in zip(unknowns, steps, strict=True):
        if step == 0.0:
            continue
        if unknown.place == "value":
            values[unknown.name] = _moved(case.circuit.values[unknown.name], unknown, step)
            continue
        for name in states if unknown.place == "everywhere" else (unknown.round,):
            states[name] = _state_moved(states[name], unknown, step)
    return Case(case.circuit.with_edits(values), states)


def _moved(value: float, unknown: Unknown, step: float) -> float:
    change = unknown.size * step
    return value * math.exp(change) if unknown.is_factor else value + change


def _state_moved(state: RoundState, unknown: Unknown, step: float) -> RoundState:
    moment = state.moment
    if unknown.place == "battery":
        return replace(state, moment=replace(moment, battery=moment.battery + unknown.size * step))
    if unknown.place == "lead":
        return replace(state, lead=replace(state.lead, volt=state.lead.volt + unknown.size * step))
    quantities = dict(moment.quantities)
    if unknown.name not in quantities:
        return state
    quantities[unknown.name] = _moved(quantities[unknown.name], unknown, step)
    return replace(state, moment=replace(moment, quantities=quantities))


def variants(case: Case) -> tuple[Case, ...]:
    """The case itself, and with each thing that is one way or the other the other way round."""
    found = [case, *_other_holds(case)]
    for name, value in case.circuit.values.items():
        if name.rpartition(".")[2] in CHOICES:
            found.append(Case(case.circuit.with_edits({name: 1.0 - value}), case.states))
    if any(wire.to == FEED for wire in case.circuit.wires):
        other = 1.0 - case.circuit.values["rails.feed.waits"]
        found.append(Case(case.circuit.with_edits({"rails.feed.waits": other}), case.states))
    names = {name for state in case.states.values() for name in state.moment.quantities}
    for name in sorted(names):
        if name.endswith((".closed", ".hot")):
            flipped = {key: _flipped(state, name) for key, state in case.states.items()}
            found.append(Case(case.circuit, flipped))
    return tuple(found)


def _other_holds(case: Case) -> list[Case]:
    """Inputs that hold an open wire up, down or not at all: nobody knows which, beforehand."""
    found = []
    values = case.circuit.values
    for wire in case.circuit.wires:
        if wire.role != "signal-analogue" or f"{wire.key}.up" not in values:
            continue
        here = (values[f"{wire.key}.up"], values[f"{wire.key}.down"])
        for up, down in ((math.inf, USUAL_HOLD_OHM), (USUAL_HOLD_OHM, math.inf), (math.inf,) * 2):
            if (math.isfinite(up), math.isfinite(down)) != tuple(math.isfinite(o) for o in here):
                edits = {f"{wire.key}.up": up, f"{wire.key}.down": down}
                found.append(Case(case.circuit.with_edits(edits), case.states))
    return found


def _flipped(state: RoundState, name: str) -> RoundState:
    """A contact the other way; a cell cold though the engine runs, never hot before it does."""
    quantities = dict(state.moment.quantities)
    if name not in quantities:
        return state
    other = 1.0 - quantities[name]
    quantities[name] = 0.0 if name.endswith(".hot") and not state.moment.running else other
    return replace(state, moment=replace(state.moment, quantities=quantities))
