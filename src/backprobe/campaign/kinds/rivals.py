"""Connectors of a named kind, with a named fault and layout, drawn for one vehicle's rounds.

The rounds stay what they were: battery, key, engine speed, black lead. What the rival's own parts
are and what its sensors measure is drawn anew.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from backprobe.campaign.block import FaultOption, Moment, Story
from backprobe.campaign.circuit import Circuit, draw_circuit
from backprobe.campaign.connectors import DESIGNS, Design
from backprobe.campaign.day import draw_story
from backprobe.campaign.faulting import apply, at_share, option_name, options
from backprobe.campaign.readings import RoundState
from backprobe.campaign.scoring import same_fault
from backprobe.campaign.spreads import Random, pick
from backprobe.campaign.unknowns import Case
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.model import Round
from backprobe.vocabulary import NO_FAULT

N_DRAW = 600
# Draws whose wires don't carry the rival's roles (another feed, say) are thrown away.
MOST_TRIES = 10 * N_DRAW
RAISED_RPM = 1500.0
LEAST_DRIFT = 0.12  # a sensor nearer to its curve isn't faulty


@dataclass(frozen=True, slots=True)
class Rival:
    """What another connector would be: its circuit's title, its fault, the role of each pin."""

    circuit: str
    fault: str
    roles: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """One such connector: parts, states, its wires by pin; its fault at a share of its range."""

    healthy: Case
    pins: Mapping[str, str]
    option: FaultOption | None = None
    share: float = 0.0

    @property
    def case(self) -> Case:
        """The connector with its fault."""
        return with_fault(self.healthy, self.option, self.share)


def with_fault(case: Case, option: FaultOption | None, share: float) -> Case:
    """The connector with a fault at a share of its range of severities."""
    if option is None:
        return case
    return Case(apply(case.circuit, option, at_share(option, share)), case.states)


def is_fault(option: FaultOption | None, share: float) -> bool:
    """Say whether it is one at this severity: a sensor next to its curve has not drifted."""
    if option is None or option.kind != "sensor-drift":
        return True
    return abs(at_share(option, share) - 1.0) > LEAST_DRIFT


def draw_rivals(
    vehicle: Vehicle, rival: Rival, rng: Random, reported: frozenset[str] | None = None
) -> Iterator[Drawn]:
    """Draw connectors as the rival describes them; none where no kind of them is known.

    ``reported`` = names of the values that the control unit has to report of them.
    """
    n_pin = len(rival.roles)
    designs = [d for d in DESIGNS if d.circuit == rival.circuit and d.wires <= n_pin]
    found = 0
    for tried in range(MOST_TRIES if designs else 0):
        if tried >= N_DRAW and not found:
            return  # no such fault, no such roles, nothing of the kind reported
        design: Design = pick(rng, *((d.weight, d) for d in designs))
        circuit = draw_circuit(rng, design, unused=n_pin - design.wires)
        if reported is not None and reports(circuit) != reported:
            continue
        drawn = _laid_out(vehicle, rival, circuit, rng)
        if drawn is not None:
            found += 1
            yield drawn
        if found >= N_DRAW:
            return


def reports(circuit: Circuit) -> frozenset[str]:
    """Names of the values that the control unit reports of this connector."""
    return frozenset(port.name for block in circuit.blocks for port in block.scans())


def _laid_out(vehicle: Vehicle, rival: Rival, circuit: Circuit, rng: Random) -> Drawn | None:
    roles = Counter(role for _, role in rival.roles)
    if Counter(wire.role for wire in circuit.wires) != roles:
        return None
    option: FaultOption | None = None
    if rival.fault != NO_FAULT:
        named = [o for o in options(circuit) if same_fault(option_name(circuit, o), rival.fault)]
        if not named:
            return None
        option = named[int(rng.integers(len(named)))]
    share = float(rng.random())
    if not is_fault(option, share):
        return None
    pins = draw_layout(rival, circuit, rng)
    worn = in_harness(vehicle, circuit, pins)
    return Drawn(Case(worn, draw_states(vehicle, circuit, rng)), pins, option, share)


def in_harness(vehicle: Vehicle, circuit: Circuit, pins: Mapping[str, str]) -> Circuit:
    """The connector on the vehicle's own harness: as damp, and picking up as much.

    Any kind of connector may have just that, and no draw would ever meet it.
    """
    simulation = vehicle.simulation
    values = simulation.healthy.values
    return circuit.with_edits(
        {
            f"{key}.{what}": values[f"{simulation.pins[pin]}.{what}"]
            for pin, key in pins.items()
            for what in ("damp", "ghost")
        }
    )


def draw_layout(rival: Rival, circuit: Circuit, rng: Random) -> dict[str, str]:
    """Give each pin a wire of its role; which of several is left to chance."""
    free = [circuit.wires[int(which)] for which in rng.permutation(len(circuit.wires))]
    pins: dict[str, str] = {}
    for pin, role in rival.roles:
        wire = next(wire for wire in free if wire.role == role)
        free.remove(wire)
        pins[pin] = wire.key
    return pins


def draw_states(vehicle: Vehicle, circuit: Circuit, rng: Random) -> dict[str, RoundState]:
    """The vehicle's rounds with what the rival's sensors measure; alike in rounds alike."""
    job = vehicle.job
    # Where someone wrote down how warm it was, the weather is known.
    is_known = any(taken.ambient_celsius is not None for taken in job.rounds)
    story = vehicle.simulation.day.story if is_known else draw_story(rng)
    standing: dict[str, dict[str, float]] = {}
    return {
        state.name: _measuring(taken, state, circuit, story, standing, rng)
        for taken, state in zip(job.rounds, vehicle.simulation.states, strict=True)
    }


def _measuring(
    taken: Round,
    state: RoundState,
    circuit: Circuit,
    story: Story,
    standing: dict[str, dict[str, float]],
    rng: Random,
) -> RoundState:
    def measured(moment: Moment, end: str) -> Moment:
        name = state_of(taken, moment, end)
        if name not in standing:
            standing[name] = {}
            for block in circuit.blocks:
                standing[name] |= block.quantities(circuit.values, name, story, rng)
        return replace(moment, quantities=dict(standing[name]))

    return replace(
        state,
        moment=measured(state.moment, "low"),
        low=None if state.low is None else measured(state.low, "low"),
        high=None if state.high is None else measured(state.high, "high"),
    )


def state_of(taken: Round, moment: Moment, end: str) -> str:
    """Name of the state, of block.STATES, that a round was taken in."""
    if taken.action:
        return f"{'snap' if 'snap' in taken.action else 'sweep'}-{end}"
    if moment.cranking:
        return "crank"
    if moment.running:
        return "raised" if moment.rpm > RAISED_RPM else "idle"
    return "key-on"
