"""Follow the program's own next readings on a simulated vehicle.

The vehicle answers whatever is asked, with the same meter, flicker and black lead as always.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

from backprobe.campaign.plan import RoundPlan
from backprobe.campaign.readings import Bench, RoundState
from backprobe.campaign.spreads import Random, chance
from backprobe.campaign.starting import engine_starts
from backprobe.campaign.technician import LOAD_OHM, Taker, reported
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.model import Indication, Job, Round
from backprobe.services.unavailable import Unavailable, state_of

# Answers a job, told what can't be had.
AnsweringWithout: TypeAlias = Callable[[Job, Sequence[Unavailable]], Mapping[str, Any]]

MOST_READINGS = 60
RAISED_FROM_RPM = 1200.0
# Quantities that are a reading of the whole round, and those at one terminal.
OF_ROUND = ("battery_volts", "black_lead_check", "ambient_celsius")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A reading that someone asks for: the state, what, and where."""

    plugged: bool
    key: str
    rpm: float
    action: str
    quantity: str
    terminal: str
    minutes: float = 1.0


@dataclass(frozen=True, slots=True)
class Inquiry:
    """How following the program went.

    Parameters
    ----------
    readings : int
        Readings taken until it asked for no more, or the limit.
    full_sheet : int
        Readings of the vehicle's full sheet.
    minutes : float
        Minutes that the program itself reckons for them.
    settled : bool
        It asked for no more.
    answer : Mapping
        The last answer.
    job : Job
        Everything that was read.
    """

    readings: int
    full_sheet: int
    minutes: float
    settled: bool
    answer: Mapping[str, Any]
    job: Job


def wanted_of(entry: Mapping[str, Any]) -> Wanted:
    """Read an entry of the answer's ``next``."""
    return Wanted(
        plugged=bool(entry["plugged"]),
        key=str(entry["key"]),
        rpm=float(entry["rpm"]),
        action=str(entry["action"]),
        quantity=str(entry["quantity"]),
        terminal=str(entry["terminal"]),
        minutes=float(entry["minutes"]),
    )


@dataclass(slots=True)
class Assistant:
    """Takes single readings on a vehicle and writes them into a job that starts empty."""

    vehicle: Vehicle
    rng: Random
    states: dict[str, RoundState] = field(default_factory=dict)
    starts: bool = True
    volts_reported: bool | None = None  # whether the control unit tells the volts at its inputs

    def __post_init__(self) -> None:
        """See whether the engine can be started at all."""
        self.starts = self.starts and engine_starts(self.vehicle.simulation)

    def refused(self, wanted: Wanted) -> Unavailable | None:
        """What can't be had of a wanted reading; None where it can be taken."""
        if wanted.key == "run" and not self.starts:
            return Unavailable(state=state_of(wanted))
        if wanted.quantity == "scan" and wanted.terminal not in self._reported_names():
            return Unavailable("scan", wanted.terminal)
        return None

    def _reported_names(self) -> set[str]:
        """Values that the control unit reports of this connector."""
        if self.volts_reported is None:  # drawn when it is first asked
            self.volts_reported = chance(self.rng, 0.5)
        blocks = self.vehicle.simulation.circuit.blocks
        ports = [port for block in blocks for port in block.scans()]
        names = {port.name for port in ports}
        if self.volts_reported:
            names |= {f"{p.name} {'hertz' if p.by_hertz else 'volts'}" for p in ports}
        return names

    def empty_job(self) -> Job:
        """The vehicle's job before anything was read."""
        return replace(self.vehicle.job, rounds=())

    def take(self, job: Job, wanted: Wanted) -> Job:
        """Take one reading; in the last round of its state, or in a new round."""
        number = _round_number(job.rounds, wanted)
        rounds = list(job.rounds)
        if number is None:
            rounds.append(self._new_round(len(rounds), wanted))
            number = len(rounds) - 1
        rounds[number] = self._read(rounds[number], wanted)
        return replace(job, rounds=tuple(rounds))

    def _new_round(self, place: int, wanted: Wanted) -> Round:
        name = chr(ord("A") + place % 26) + ("" if place < 26 else str(place // 26))
        plan = RoundPlan(name, wanted.plugged, wanted.key, _state(wanted), wanted.action)
        simulation = self.vehicle.simulation
        day = simulation.day
        state = day.round_state(plan)
        self.states[name] = state
        return Round(name, wanted.plugged, wanted.key, state.moment.rpm, wanted.action)

    def _read(self, taken: Round, wanted: Wanted) -> Round:
        simulation = self.vehicle.simulation
        bench = Bench(simulation.circuit, simulation.meter.sheet.input_resistance)
        taker = Taker(bench, simulation.meter, self.states[taken.name], self.rng)
        if wanted.quantity in OF_ROUND:
            return replace(taken, **_of_round(taker, wanted.quantity))
        if wanted.quantity == "scan":
            told = reported(simulation.circuit, taker, taker.now(), with_input=True)
            scan = {**taken.scan, wanted.terminal: told[wanted.terminal]}
            return replace(taken, scan=scan)
        if wanted.quantity == "volts_loaded":
            taken = replace(taken, load_ohms=LOAD_OHM)
        key: str | tuple[str, str] = wanted.terminal
        if wanted.quantity == "sensor_ohms":
            first, _, second = wanted.terminal.partition("-")
            key = (first, second)
        shown = self._at_terminal(taker, wanted)
        column: dict[str, Any] = {wanted.quantity: {**getattr(taken, wanted.quantity), key: shown}}
        return replace(taken, **column)

    def _at_terminal(self, taker: Taker, wanted: Wanted) -> Indication:
        pins = self.vehicle.simulation.pins
        if wanted.quantity == "sensor_ohms":
            first, _, second = wanted.terminal.partition("-")
            return taker.sensor_ohms((pins[first], pins[second]))
        key = pins[wanted.terminal]
        silent = (Indication(0.0, written="0 Hz"), Indication(0.0, written="0"))
        readers: Mapping[str, Callable[[], Indication]] = {
            "volts": lambda: taker.volts(key),
            "volts_loaded": lambda: taker.volts(key, LOAD_OHM),
            "volts_low": lambda: taker.held(key)[0],
            "volts_high": lambda: taker.held(key)[1],
            "volts_ac": lambda: taker.alternating(key),
            "hertz": lambda: (taker.counted(key) or silent)[0],
            "duty_percent": lambda: (taker.counted(key) or silent)[1],
            "harness_ohms": lambda: taker.harness_ohms(key),
        }
        return readers[wanted.quantity]()


def follow(
    vehicle: Vehicle, answering: AnsweringWithout, rng: Random, most: int = MOST_READINGS
) -> Inquiry:
    """Start with the battery and the black lead, then take what the program asks for.

    What can't be had on this vehicle is set aside, as a technician does.
    """
    assistant = Assistant(vehicle, rng)
    without: list[Unavailable] = []
    job = assistant.empty_job()
    minutes = 0.0
    count = 0
    for quantity in ("battery_volts", "black_lead_check"):
        job = assistant.take(job, Wanted(False, "on", 0.0, "", quantity, ""))
        count += 1
    answer = answering(job, without)
    while answer["next"] and count < most:
        wanted = wanted_of(answer["next"][0])
        refused = assistant.refused(wanted)
        if refused is not None and refused not in without:
            without.append(refused)
        else:
            job = assistant.take(job, wanted)
            minutes += wanted.minutes
            count += 1
        answer = answering(job, without)
    return Inquiry(
        readings=count,
        full_sheet=count_readings(vehicle.job),
        minutes=minutes,
        settled=not answer["next"],
        answer=answer,
        job=job,
    )


def count_readings(job: Job) -> int:
    """Readings that a job holds."""
    columns = (
        "volts",
        "volts_high",
        "volts_low",
        "volts_ac",
        "hertz",
        "duty_percent",
        "sensor_ohms",
        "harness_ohms",
        "volts_loaded",
        "scan",
    )
    singles = sum(
        each is not None
        for taken in job.rounds
        for each in (taken.battery_volts, taken.black_lead_check, taken.ambient_celsius)
    )
    return singles + sum(len(getattr(taken, name)) for taken in job.rounds for name in columns)


def _round_number(rounds: Sequence[Round], wanted: Wanted) -> int | None:
    """The last round in the wanted state; what it holds already is read in a new one."""
    for number in range(len(rounds) - 1, -1, -1):
        taken = rounds[number]
        same = (
            taken.plugged == wanted.plugged
            and taken.key == wanted.key
            and taken.action == wanted.action
            and (taken.rpm >= RAISED_FROM_RPM) == (wanted.rpm >= RAISED_FROM_RPM)
        )
        if same:
            return None if _has(taken, wanted) else number
    return None


def _has(taken: Round, wanted: Wanted) -> bool:
    if wanted.quantity in OF_ROUND:
        return getattr(taken, wanted.quantity) is not None
    if wanted.quantity == "sensor_ohms":
        first, _, second = wanted.terminal.partition("-")
        return (first, second) in taken.sensor_ohms
    return wanted.terminal in getattr(taken, wanted.quantity)


def _of_round(taker: Taker, quantity: str) -> dict[str, Any]:
    if quantity == "battery_volts":
        return {quantity: taker.battery()}
    if quantity == "black_lead_check":
        return {quantity: taker.check()}
    celsius = next(
        (v for n, v in taker.state.moment.quantities.items() if n.endswith(".celsius")), 20.0
    )
    return {quantity: round(float(celsius + taker.rng.normal(0.0, 1.0)), 1)}


def _state(wanted: Wanted) -> str:
    """Name of the state that moves the sensors."""
    if wanted.action == "snap throttle":
        return "snap-low"
    if wanted.action == "sweep":
        return "sweep-low"
    if wanted.key == "run":
        return "raised" if wanted.rpm >= RAISED_FROM_RPM else "idle"
    return "crank" if wanted.key == "crank" else "key-on"
