"""Where the most probable fault is marked in a circuit's picture, and in which few words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from backprobe.services.answer import Answer, Estimate, FaultAnswer
from backprobe.services.words import interval_words, measured
from backprobe.vocabulary import NO_FAULT, split_fault

Place = Literal["wire", "behind", "sensor"]

MARKED_FROM: Final = 0.5  # probability; below it no place is pointed at
_PLACES: Final[dict[str, tuple[Place, str]]] = {
    "open": ("wire", "FAULT: broken or no contact here"),
    "resistance": ("wire", "FAULT: unwanted resistance here"),
    "short-to-ground": ("wire", "FAULT: touches body or ground"),
    "short-to-supply": ("wire", "FAULT: touches the regulated supply"),
    "short-to-battery": ("wire", "FAULT: touches battery voltage"),
    "supply-low": ("behind", "FAULT: this supply is weak or pulled down"),
    "ground-lifted": ("behind", "FAULT: this ground itself is lifted"),
    "control-unit-input": ("behind", "FAULT: pull-up, bias or input in here"),
    "sensor-open": ("sensor", "FAULT: open inside, or bad contact"),
    "sensor-shorted": ("sensor", "FAULT: shorted inside"),
    "sensor-stuck": ("sensor", "FAULT: output does not move"),
    "sensor-drift": ("sensor", "FAULT: output off its curve"),
    "swapped": ("wire", "FAULT: wires exchanged"),
}


@dataclass(frozen=True, slots=True)
class FaultMark:
    """A mark at one terminal's wire."""

    kind: str
    place: Place
    words: str


def likely_fault(answer: Answer | None) -> FaultAnswer | None:
    """The most probable entry of the answer's faults, "none" included, where it is worth a mark."""
    if answer is None or not answer.faults:
        return None
    first = max(answer.faults, key=lambda fault: fault.probability)
    return first if first.probability >= MARKED_FROM else None


def fault_marks(answer: Answer | None) -> dict[str, FaultMark]:
    """The marks of the most probable fault, by terminal."""
    fault = likely_fault(answer)
    if answer is None or fault is None:
        return {}
    kind, _ = split_fault(fault.fault)
    if kind == NO_FAULT or kind not in _PLACES:
        return {}
    place, words = _PLACES[kind]
    marks = {}
    for pin in fault.terminals:
        said = words
        if kind == "resistance":
            said += added_ohms(answer, pin)
        if kind == "swapped":
            others = [other for other in fault.terminals if other != pin]
            said += f" with terminal {others[0]}" if others else ""
        marks[pin] = FaultMark(kind, place, said)
    return marks


def added_ohms(answer: Answer, pin: str) -> str:
    """How large an unwanted resistance is, where that is estimated."""
    found = estimate_of(answer, "added resistance", pin)
    return f", {estimate_words(found)}" if found is not None else ""


def estimate_of(answer: Answer | None, name: str, pin: str) -> Estimate | None:
    """The latest estimate of this name at a terminal."""
    estimates = answer.estimates if answer is not None else ()
    found = [each for each in estimates if each.name == name and each.terminal == pin]
    return found[-1] if found else None


def estimate_words(estimate: Estimate) -> str:
    """A value with its interval: "2.2 kohm (2.15 to 2.25)"."""
    value = measured(estimate.value, estimate.unit)
    interval = interval_words(estimate.low, estimate.high, estimate.unit)
    return f"{value} ({interval.removesuffix(' ' + value.split(' ')[-1])})"
