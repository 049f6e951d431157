"""Readings that can't be had here ("can't reach it"), so that others are proposed instead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

from backprobe.job import Job, Round
from backprobe.services.answer import NextReading
from backprobe.services.problem import RAISED_FROM_RPM

IDLE: Final = "idle"
RAISED: Final = "raised"
_JOINT: Final = "|"
# The sensor hanging free does not care about the key, and its resistance is read in any state.
_STATELESS: Final = ("sensor_ohms",)


def rpm_class(key: str, rpm: float) -> str:
    """Tell idle from raised speed; nothing where the engine does not run."""
    if key != "run":
        return ""
    return RAISED if rpm >= RAISED_FROM_RPM else IDLE


def state_key(*, plugged: bool, key: str, rpm_class: str, action: str) -> str:
    """Name a state in one text, alike whatever the exact engine speed: "plugged|run|idle|"."""
    return _JOINT.join(("plugged" if plugged else "unplugged", key, rpm_class, action))


class InState(Protocol):
    """What is said of a reading's state."""

    @property
    def plugged(self) -> bool:
        """Whether the sensor is plugged in."""

    @property
    def key(self) -> str:
        """Position of the key."""

    @property
    def rpm(self) -> float:
        """Engine speed, 1/min."""

    @property
    def action(self) -> str:
        """What is done meanwhile, such as a sweep; nothing mostly."""


def state_of(reading: InState) -> str:
    """Name the state in which a reading is to be taken."""
    return state_key(
        plugged=reading.plugged,
        key=reading.key,
        rpm_class=rpm_class(reading.key, reading.rpm),
        action=reading.action,
    )


@dataclass(frozen=True, slots=True)
class Unavailable:
    """A reading that can't be had; an empty field stands for any.

    quantity : its key in the job file; place : a pin, or a pair of pins such as "1-2" in either
    order; state : from `state_key`.
    """

    quantity: str = ""
    place: str = ""
    state: str = ""

    @property
    def key(self) -> str:
        """Position of the key in its state; nothing where it stands for any."""
        return self.state.split(_JOINT)[1] if self.state else ""

    def covers(self, quantity: str, place: str, state: str) -> bool:
        """Tell whether a reading is one of those that can't be had."""
        return (
            self.quantity in ("", quantity)
            and (not self.place or _ends(self.place) == _ends(place))
            and (self.state in ("", state) or quantity in _STATELESS)
        )


def unavailable(reading: NextReading) -> Unavailable:
    """Set one proposed reading aside in the state in which it was proposed."""
    return Unavailable(reading.quantity, reading.terminal, state_of(reading))


def not_taken(proposed: Iterable[NextReading], job: Job) -> tuple[NextReading, ...]:
    """Those of some proposed readings that the job does not hold yet."""
    rounds = [each for each in job.rounds if not each.void]
    return tuple(p for p in proposed if not any(_holds(each, p) for each in rounds))


def _holds(found: Round, reading: NextReading) -> bool:
    if state_of(found) != state_of(reading) and reading.quantity not in _STATELESS:
        return False
    values = getattr(found, reading.quantity, None)
    if not isinstance(values, Mapping):
        return values is not None
    places = ["-".join(key) if isinstance(key, tuple) else key for key in values]
    return _ends(reading.terminal) in [_ends(place) for place in places]


def _ends(place: str) -> frozenset[str]:
    return frozenset(place.split("-"))
