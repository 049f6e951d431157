"""Which faults the readings of a job can tell apart, by computing them for the same vehicle.

A fault counts as separable where no healthy vehicle of the same kind reads the same: not the one
at hand, nor one whose part values, temperatures, pressures and positions differ from it by no more
than such things do. What differs is found by least squares (Gauss and Newton, each unknown held
near its place by its own spread). Faults that reach the same readings in that way, at any severity,
form one class: whoever names one of them has said all that the readings hold.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from backprobe.campaign.comparison import LEAST_DIFFERENCE, Comparison, sheet_of
from backprobe.campaign.faulting import option_name, options
from backprobe.campaign.plan import KEY_NOT_ON
from backprobe.campaign.prediction import Predicted, Sheet
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.model import Job
from backprobe.vocabulary import NO_FAULT, ROLES, fault_name, split_fault

# Kinds of sensors that are made for the regulated 5 or 8 V and for battery voltage alike.
FED_EITHER_WAY = ("hall", "current", "air-mass")
FIRM_OHM = 3.0
GROUND_VOLT = 0.04  # what grounds differ by with and without current; no sign of a key


@dataclass(frozen=True, slots=True)
class Separability:
    """How well a vehicle's readings show its fault.

    Parameters
    ----------
    difference : float
        Greatest difference that remains to a healthy vehicle's readings, in standard
        uncertainties, or of its unknowns in their spreads; 0 where there is no fault.
    rivals : frozenset of str
        Names of the faults (or "none") that give the same readings, the true one included.
    alike : tuple of frozenset of str
        Pins of different roles that read the same in every round.
    hidden : frozenset of str
        Rounds with the key not really on whose readings would be the same with it on.
    """

    difference: float
    rivals: frozenset[str]
    alike: tuple[frozenset[str], ...] = ()
    hidden: frozenset[str] = frozenset()

    @property
    def is_separable(self) -> bool:
        """Say whether the readings show that something is wrong at all."""
        return self.difference > LEAST_DIFFERENCE


def separability(vehicle: Vehicle) -> Separability:
    """Compute what the vehicle's readings can tell apart."""
    simulation = vehicle.simulation
    true = simulation.fault.name
    seen = {each.name: each for each in sheet_of(vehicle).readings(simulation.circuit)}
    alike = alike_pins(vehicle.job, seen)
    hidden = hidden_rounds(vehicle)
    if true == NO_FAULT:
        return Separability(0.0, frozenset({NO_FAULT}), alike, hidden)
    if not seen:
        return Separability(0.0, frozenset({NO_FAULT, true}), alike, hidden)
    comparison = Comparison(vehicle)
    difference = 0.0 if _may_be_battery_fed(vehicle) else comparison.nearest(None)
    rivals = {true}
    if difference <= LEAST_DIFFERENCE:
        rivals.add(NO_FAULT)
    for option in options(simulation.healthy):
        name = option_name(simulation.healthy, option)
        if name not in rivals and comparison.nearest(option) <= LEAST_DIFFERENCE:
            rivals.add(name)
    for group in simulation.healthy.interchangeable():
        roles = {simulation.healthy.role(key) for key in group}
        rivals |= {_renamed(name, roles) for name in rivals}
    return Separability(difference, frozenset(rivals), alike, hidden)


def _may_be_battery_fed(vehicle: Vehicle) -> bool:
    """A regulated feed firmly at battery voltage, on a sensor that others feed so on purpose."""
    simulation = vehicle.simulation
    fault, name = simulation.fault, simulation.healthy.design.name
    is_on_feed = fault.name == "short-to-battery:supply-regulated" and fault.severity < FIRM_OHM
    return is_on_feed and name.startswith(FED_EITHER_WAY)


def hidden_rounds(vehicle: Vehicle) -> frozenset[str]:
    """Rounds with the key not really on that nothing shows: a circuit without a supply."""
    simulation = vehicle.simulation
    meter, pins = simulation.meter, simulation.pins
    sheet = Sheet(vehicle.job, simulation.states, pins, meter)
    hidden = set()
    for state in simulation.states:
        if vehicle.truth.bad_rounds.get(state.name) != KEY_NOT_ON:
            continue
        awake = replace(state, moment=replace(state.moment, awake=True))
        there = {each.name: each for each in sheet.readings(simulation.circuit, only=state.name)}
        on = sheet.readings(simulation.circuit, {state.name: awake}, state.name)
        if all(
            abs(each.value - there[each.name].value)
            <= LEAST_DIFFERENCE * each.uncertainty + GROUND_VOLT
            for each in on
            if each.name in there
        ):
            hidden.add(state.name)
    return frozenset(hidden)


def alike_pins(job: Job, seen: Mapping[str, Predicted]) -> tuple[frozenset[str], ...]:
    """Pairs of pins that read the same wherever either was read."""
    pins = job.connector.pins
    measured = {pin for taken in job.rounds for pair in taken.sensor_ohms for pin in pair}
    return tuple(
        frozenset((a, b))
        for number, a in enumerate(pins)
        for b in pins[number + 1 :]
        if (a in measured) == (b in measured) and _reads_alike(a, b, seen)
    )


def _reads_alike(a: str, b: str, seen: Mapping[str, Predicted]) -> bool:
    for name, reading in seen.items():
        column, _, pin = name.rpartition(" ")
        if pin not in {a, b} or "sensor_ohms" in column:
            continue
        other = seen.get(f"{column} {b if pin == a else a}")
        if other is None:
            return False
        u = max(reading.uncertainty, other.uncertainty)
        if abs(reading.value - other.value) > LEAST_DIFFERENCE * u:
            return False
    return True


def _renamed(name: str, roles: set[str]) -> str:
    """The same fault with two interchangeable wires called by each other's role."""
    kind, of_roles = split_fault(name)
    if len(roles) != 2:
        return name
    first, second = sorted(roles)
    other = {first: second, second: first}
    changed = (other.get(role, role) for role in of_roles.split("+"))
    return fault_name(kind, "+".join(sorted(changed, key=ROLES.index))) if of_roles else name
