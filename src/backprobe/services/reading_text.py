"""What a proposed reading is told as: where it is taken, and which two answers it tells apart."""

from __future__ import annotations

import numpy as np

from backprobe.services.candidate import Candidate, Setting, place_of
from backprobe.services.engine import Posterior
from backprobe.services.foresight import LOG_QUANTITIES
from backprobe.services.planning_words import (
    again_sentence,
    check_sentence,
    expectation,
    fault_phrase,
    measurement_phrase,
    moved_lead_sentence,
    role_phrase,
    sentence,
)
from backprobe.services.split import MEASUREMENT, ROLE, Split
from backprobe.services.what_is_there import VOLTS
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES


def named_place(posterior: Posterior, candidate: Candidate) -> str:
    """Terminal or pair as the answer names it; nothing for a reading of the whole round."""
    return place_of(posterior.problem.job.connector.pins, candidate)


def reading_text(
    posterior: Posterior, candidate: Candidate, setting: Setting, split: Split | None
) -> str:
    """One sentence on what is measured and which two answers it tells apart."""
    if candidate.again and candidate.first:
        rounds = posterior.problem.rounds
        points = {r.name: r.black_lead for r in rounds}
        at_battery = points.get(candidate.again) == BATTERY_NEGATIVE
        return moved_lead_sentence(candidate.again, at_battery=at_battery)
    if candidate.again:
        return again_sentence(
            candidate.quantity, named_place(posterior, candidate), candidate.again
        )
    if split is None or (candidate.first and split.part != MEASUREMENT):
        r = setting.continued
        return check_sentence(
            candidate.quantity, "" if r is None else posterior.problem.rounds[r].name
        )
    opening, answers = _answers(posterior, split)
    shown = tuple(_shown(_kind(candidate), *ends) for ends in split.shown)
    return sentence(candidate.quantity, named_place(posterior, candidate), opening, answers, shown)


def _answers(posterior: Posterior, split: Split) -> tuple[str, tuple[str, str]]:
    """Opening words and the two answers of a split."""
    pins = posterior.problem.job.connector.pins
    both = (split.first, split.second)
    if split.part == ROLE:
        first, second = (role_phrase(ROLES[c.roles[split.terminal]]) for c in both)
        return f"tells whether terminal {pins[split.terminal]} is", (first, second)
    if split.part == MEASUREMENT:
        first, second = (_measurement(posterior, c.condition) for c in both)
    else:
        first, second = (fault_phrase(c.fault, tuple(pins[t] for t in c.places)) for c in both)
    return "tells", (first, second)


def _measurement(posterior: Posterior, condition: int) -> str:
    names = [r.name for r in posterior.problem.rounds]
    asked = posterior.problem.conditions[condition]
    bad = (asked.bad_lead, asked.key_off, asked.apart)
    return measurement_phrase(*(tuple(names[i] for i in some) for some in bad))


def _kind(candidate: Candidate) -> str:
    """Quantity of the number that is shown."""
    if candidate.scan:
        return "volts" if candidate.scan.endswith(VOLTS) else "ambient_celsius"
    return candidate.quantity


def _shown(quantity: str, low: float, high: float) -> str:
    """What the meter would usually show."""
    if quantity in LOG_QUANTITIES:
        low, high = float(np.exp(low)), float(np.exp(high))
    elif quantity == "duty_percent":
        low, high = 100.0 * low, 100.0 * high
    return expectation(quantity, low, high)
