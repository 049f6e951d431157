"""A reading that could be taken next, and the state of the vehicle that it is taken in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from backprobe.core.inference.sheet import Quantity, SheetRound
from backprobe.services.steps import State, reachable_state
from backprobe.services.what_is_there import VOLTS
from backprobe.vocabulary import SCAN_NAMES

QUANTITY_CODE = {
    "volts": Quantity.VOLTS,
    "volts_high": Quantity.VOLTS_HIGH,
    "volts_low": Quantity.VOLTS_LOW,
    "volts_ac": Quantity.VOLTS_AC,
    "hertz": Quantity.HERTZ,
    "duty_percent": Quantity.DUTY,
    "volts_loaded": Quantity.VOLTS_LOADED,
    "harness_ohms": Quantity.HARNESS_OHM,
    "sensor_ohms": Quantity.SENSOR_OHM,
    "battery_volts": Quantity.BATTERY,
    "black_lead_check": Quantity.LEAD_CHECK,
    "ambient_celsius": Quantity.AMBIENT,
}


@dataclass(frozen=True, slots=True)
class Setting:
    """A state within reach, and the round of the sheet that a reading in it would go on with."""

    state: State
    item: SheetRound
    continued: int | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading that could be taken.

    setting : its number among the settings; at, other : terminals, -1 where it has none.
    first : whether it has to be taken before the readings so far may be believed.
    again : round in the same state that is not to be believed, "" where there is none.
    scan : name of the value that the control unit reports, "" where it is none.
    """

    setting: int
    quantity: str
    at: int = -1
    other: int = -1
    first: bool = False
    again: str = ""
    scan: str = ""


def code_of(candidate: Candidate) -> Quantity:
    """What a candidate is to the sheet."""
    if not candidate.scan:
        return QUANTITY_CODE[candidate.quantity]
    volts = candidate.scan.endswith(VOLTS)
    return Quantity.INPUT_VOLTS if volts else Quantity.INPUT_CELSIUS


def value_of(candidate: Candidate) -> int:
    """Number of the control unit's value that a candidate is, -1 elsewhere."""
    return SCAN_NAMES.index(candidate.scan.removesuffix(VOLTS)) if candidate.scan else -1


@dataclass(frozen=True, slots=True)
class Candidates:
    """Settings within reach and the readings in them; whether some can't be had."""

    settings: tuple[Setting, ...]
    readings: tuple[Candidate, ...]
    withheld: bool = False


def place_of(pins: Sequence[str], candidate: Candidate) -> str:
    """Terminal, pair or reported value as the answer names it; nothing for a whole round."""
    if candidate.scan:
        return candidate.scan
    return "-".join(pins[t] for t in (candidate.at, candidate.other) if t >= 0)


def goal_of(now: State | None, setting: Setting, quantity: str) -> State:
    """State that a reading is in fact taken in, as the steps have it."""
    start = now or State(plugged=True, key="off")
    return reachable_state(start, setting.state, quantity)
