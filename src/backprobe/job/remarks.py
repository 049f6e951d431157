"""What can be said about a job file that can be used: how much is in it, and what it lacks."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from backprobe.job.model import Job, Round
from backprobe.job.reading_tables import PIN_READINGS
from backprobe.standards.vin import check_digit, check_digit_verdict

# 5 V across it draws 50 mA, which regulated supplies and signal outputs aren't made for
# (common practice, no source).
_LEAST_LOAD_OHMS: Final = 100.0
_VOLTS: Final = ("volts", "volts_high", "volts_low", "level_high", "level_low", "volts_loaded")


@dataclass(frozen=True, slots=True)
class Contents:
    """How much a job file holds.

    Parameters
    ----------
    terminals, rounds, void_rounds, readings : int
        Counts; void rounds are among the rounds, their readings are not counted.
    """

    terminals: int
    rounds: int
    void_rounds: int
    readings: int


def contents_of(job: Job) -> Contents:
    """Count what a job holds."""
    counted = _counted(job)
    return Contents(
        terminals=len(job.connector.terminals),
        rounds=len(job.rounds),
        void_rounds=len(job.rounds) - len(counted),
        readings=sum(count_readings(each) for each in counted),
    )


def count_readings(each: Round) -> int:
    """Count the readings of a round: at pins, between pins, at the battery, and reported ones."""
    single = (each.battery_volts, each.black_lead_check)
    return (
        sum(len(getattr(each, key)) for key in PIN_READINGS)
        + len(each.sensor_ohms)
        + len(each.scan)
        + sum(reading is not None for reading in single)
    )


def remarks_on(job: Job) -> tuple[str, ...]:
    """Say what would make the answer surer or looks odd; nothing here makes a file unusable."""
    return (*_on_the_vin(job), *_on_completeness(job), *_on_rounds(job))


def _counted(job: Job) -> list[Round]:
    return [each for each in job.rounds if not each.void]


def _on_the_vin(job: Job) -> Iterable[str]:
    vin = job.vehicle.vin
    if vin and check_digit_verdict(vin) == "wrong":
        yield (
            f"The check digit of the VIN (position 9) is {vin[8]} and should be {check_digit(vin)}:"
            " one of its characters is most likely misread."
        )


def _on_completeness(job: Job) -> Iterable[str]:
    counted = _counted(job)
    if not any(count_readings(each) for each in counted):
        yield "There are no readings yet."
        return
    measured = {pin for each in counted for key in PIN_READINGS for pin in getattr(each, key)}
    measured |= {pin for each in counted for pair in each.sensor_ohms for pin in pair}
    missing = [pin for pin in job.connector.pins if pin not in measured]
    if missing:
        yield f"{_named('Pin', missing)} {_have(missing)} no reading in any round."


def _on_rounds(job: Job) -> Iterable[str]:
    for condition, remark in _ROUND_REMARKS:
        names = [each.name for each in _counted(job) if condition(each)]
        if names:
            yield f"{_named('Round', names)} {_have(names)} {remark}"


def _has_volts(each: Round) -> bool:
    return any(getattr(each, key) for key in _VOLTS)


_CHECK_BLACK_LEAD: Final = (
    "Measure from the battery's positive post to the point where the black lead is."
)
_CHECK_BATTERY: Final = "Measure across the battery posts in the same state."
_TOO_MUCH_LOAD: Final = (
    "which pulls down also what is sound; 1 kohm tells a stiff feed from a pull-up."
)
_ROUND_REMARKS: Final[tuple[tuple[Callable[[Round], bool], str], ...]] = (
    (
        lambda each: _has_volts(each) and each.black_lead_check is None,
        "no black_lead_check: a bad black-lead point can't be ruled out. " + _CHECK_BLACK_LEAD,
    ),
    (
        lambda each: _has_volts(each) and each.battery_volts is None,
        "no battery_volts: a weak battery can't be ruled out. " + _CHECK_BATTERY,
    ),
    (
        lambda each: each.key == "run" and each.rpm == 0,
        "the key run and no engine speed. Write the rpm at which the readings were taken.",
    ),
    (
        lambda each: each.action == "snap throttle" and each.key != "run",
        "a snap of the throttle without a running engine, in which no air flow or pressure moves.",
    ),
    (
        lambda each: bool(each.scan) and each.key == "off",
        "values from the control unit with the key off; most control units are asleep then.",
    ),
    (
        lambda each: bool(each.volts_loaded) and each.load_ohms < _LEAST_LOAD_OHMS,
        f"a load of less than {_LEAST_LOAD_OHMS:g} ohm, {_TOO_MUCH_LOAD}",
    ),
)


def _named(noun: str, names: list[str]) -> str:
    if len(names) == 1:
        return f"{noun} {names[0]}"
    return f"{noun}s {', '.join(names[:-1])} and {names[-1]}"


def _have(names: list[str]) -> str:
    return "has" if len(names) == 1 else "have"
