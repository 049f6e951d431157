"""Which readings a picture shows beside a wire: the latest of each state, as short as they go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from backprobe.job.model import Indication, Job, Round
from backprobe.quantities import format_quantity
from backprobe.services.answer import Answer
from backprobe.services.steps import IDLE_BELOW_RPM
from backprobe.services.words import state_words

MOST_STATES: Final = 5  # a wire; more would push the wires apart until no circuit is seen
DOUBTED_BELOW: Final = 0.5  # trust in a round
State = tuple[bool, str, bool, str]


@dataclass(frozen=True, slots=True)
class ShownReading:
    """One line beside a wire: where it comes from, and what was shown."""

    source: str
    value: str

    @property
    def words(self) -> str:
        """Both as one piece of text."""
        return f"{self.source} {self.value}"


def state_of(taken: Round) -> State:
    """What makes two rounds comparable: plugged, key, idling or faster, action."""
    return taken.plugged, taken.key, taken.rpm > IDLE_BELOW_RPM, taken.action


def latest_rounds(job: Job, pin: str) -> tuple[Round, ...]:
    """The latest round of each state that has a reading at a pin; unplugged ones first."""
    latest: dict[State, Round] = {}
    for taken in job.rounds:
        if not taken.void and _quantities(taken, pin):
            latest.pop(state_of(taken), None)  # the later one also takes the later place
            latest[state_of(taken)] = taken
    kept = list(latest.values())[-MOST_STATES:]
    return tuple(sorted(kept, key=lambda taken: taken.plugged))


def readings_beside(job: Job, answer: Answer | None, pin: str) -> tuple[ShownReading, ...]:
    """What was read at a pin, a line a quantity."""
    trust = answer.measurement.rounds if answer is not None else {}
    blamed = answer.misfit.readings if answer is not None else ()
    found: list[ShownReading] = []
    for taken in latest_rounds(job, pin):
        state = state_words(
            plugged=taken.plugged, key=taken.key, rpm=taken.rpm, action=taken.action
        )
        head = f"{taken.name} {state}"
        if trust.get(taken.name, 1.0) < DOUBTED_BELOW:
            head += " (doubted)"
        for key, label, value in _quantities(taken, pin):
            source = f"{head}{', ' if label else ''}{label}"
            is_blamed = f"{taken.name} {key} {pin}" in blamed
            found.append(ShownReading(f"{source} (doubted)" if is_blamed else source, value))
            head = taken.name
    return tuple(found)


def sensor_readings(job: Job) -> tuple[str, ...]:
    """Latest ohms between two terminals of the unplugged sensor, as sentences."""
    latest: dict[tuple[str, str], str] = {}
    for taken in job.rounds:
        if taken.void:
            continue
        for pair, shown in taken.sensor_ohms.items():
            latest[pair] = f"{indication_words(shown, 'ohm')} ({taken.name})"
    return tuple(f"{first} to {second}: {words}" for (first, second), words in latest.items())


def indication_words(shown: Indication, unit: str) -> str:
    """What a meter showed, in the trade's words."""
    return "OL" if shown.over_range else format_quantity(shown.value, unit)


def _quantities(taken: Round, pin: str) -> list[tuple[str, str, str]]:
    """Key in the round, label and value of each quantity read at a pin."""
    load = f"with {format_quantity(taken.load_ohms, 'ohm')} to ground"
    tables: tuple[tuple[str, Mapping[str, Indication], str, str], ...] = (
        ("volts", taken.volts, "", "volt"),
        ("volts_high", taken.volts_high, "highest", "volt"),
        ("volts_low", taken.volts_low, "lowest", "volt"),
        ("level_high", taken.level_high, "high level", "volt"),
        ("level_low", taken.level_low, "low level", "volt"),
        ("volts_ac", taken.volts_ac, "AC", "volt"),
        ("hertz", taken.hertz, "", "hertz"),
        ("duty_percent", taken.duty_percent, "share high", "percent"),
        ("volts_loaded", taken.volts_loaded, load, "volt"),
        ("harness_ohms", taken.harness_ohms, "to the black lead", "ohm"),
    )
    return [
        (key, label, indication_words(table[pin], unit))
        for key, table, label, unit in tables
        if pin in table
    ]
