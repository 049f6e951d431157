"""The program's next reading against every other that could have been taken, with hindsight."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from backprobe.campaign.planner import Assistant, Wanted, wanted_of
from backprobe.job.model import Job
from backprobe.services.steps import State, cost_minutes

Answering: TypeAlias = Callable[[Job], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Choice:
    """One reading tried: what it was, and by how much it narrowed the answer a minute of work."""

    wanted: Wanted
    bits: float

    @property
    def bits_per_minute(self) -> float:
        """What it told, over its minutes."""
        return self.bits / self.wanted.minutes


# States that a technician can bring a vehicle into, with what can be read there.
REACHABLE = (
    (False, "on", 0.0, ("volts", "volts_loaded")),
    (True, "on", 0.0, ("volts",)),
    (True, "run", 800.0, ("volts", "hertz", "volts_ac")),
    (True, "run", 2500.0, ("volts",)),
    (False, "off", 0.0, ("volts", "harness_ohms")),
)


def every_reading(job: Job) -> tuple[Wanted, ...]:
    """Everything at a terminal that could be read next, with the minutes it takes from here."""
    now = None
    if job.rounds:
        last = job.rounds[-1]
        now = State(last.plugged, last.key, last.rpm, last.action)
    return tuple(
        Wanted(
            plugged,
            key,
            rpm,
            "",
            quantity,
            pin,
            cost_minutes(now, State(plugged, key, rpm), quantity),
        )
        for plugged, key, rpm, quantities in REACHABLE
        for quantity in quantities
        for pin in job.connector.pins
    )


def exhaustive(job: Job, assistant: Assistant, answering: Answering) -> Iterator[Choice]:
    """Take every possible reading on the vehicle, each from the same job, and see what it tells.

    With hindsight the best of them is the most that any choice could have told here.
    """
    before = doubt(answering(job))
    for wanted in every_reading(job):
        yield Choice(wanted, before - doubt(answering(assistant.take(job, wanted))))


@dataclass(frozen=True, slots=True)
class Comparison:
    """The program's own first choice against all others, in bits a minute with hindsight."""

    chosen: float
    best: float
    mean: float


def compare_choice(job: Job, assistant: Assistant, answering: Answering) -> Comparison | None:
    """Judge the reading that the program asks for next; None where it asks for none."""
    answer = answering(job)
    if not answer["next"]:
        return None
    wanted = wanted_of(answer["next"][0])
    before = doubt(answer)
    chosen = Choice(wanted, before - doubt(answering(assistant.take(job, wanted))))
    others = [each.bits_per_minute for each in exhaustive(job, assistant, answering)]
    best = max([chosen.bits_per_minute, *others])
    return Comparison(chosen.bits_per_minute, best, sum(others) / len(others))


def doubt(answer: Mapping[str, Any]) -> float:
    """Bits of doubt left: of the fault, and of each terminal's role."""
    faults = [fault["probability"] for fault in answer["faults"]]
    roles = [list(terminal["roles"].values()) for terminal in answer["terminals"].values()]
    return _entropy(faults) + sum(_entropy(each) for each in roles)


def _entropy(probabilities: Sequence[float]) -> float:
    rest = max(1.0 - sum(probabilities), 0.0)
    return -sum(p * math.log2(p) for p in (*probabilities, rest) if p > 0.0)
