"""What a diagram and the control unit say, held against what the readings say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from backprobe.families.loader import load_families
from backprobe.job import Connector, Round
from backprobe.quantities import format_quantity
from backprobe.services.answer import Answer, Reason, TerminalAnswer
from backprobe.services.before_after import indication_words
from backprobe.services.words import role_words, strength_words, sure
from backprobe.store.cells import SCAN

Agreement = Literal["agrees", "contradicts", "open"]
# Below this share a role counts as spoken against, from this on as confirmed: as where the program
# says "unlikely" and "very likely".
CONTRADICTS_BELOW: Final = 0.05
AGREES_FROM: Final = 0.80
SUPPLY_SCAN: Final = "control unit supply"
ANY_SENSOR: Final = (SUPPLY_SCAN, "engine speed")  # noted at whatever connector, as conditions are
# A control unit is fed through relay, fuse and wires: it sees somewhat less than the posts. Common
# practice, no source.
SUPPLY_APART_VOLTS: Final = 0.5


@dataclass(frozen=True, slots=True)
class Witness:
    """One statement of a witness, and what the readings say to it."""

    says: str
    readings: str
    agreement: Agreement
    words: str


def diagram_witness(connector: Connector, answer: Answer | None) -> dict[str, Witness]:
    """For each terminal to which a diagram gives a role: whether the readings bear it out."""
    told = {t.pin: t for t in answer.terminals} if answer else {}
    return {
        each.pin: _diagram(each.diagram, told.get(each.pin))
        for each in connector.terminals
        if each.diagram
    }


def _diagram(role: str, told: TerminalAnswer | None) -> Witness:
    says = role_words(role)
    if told is None:
        return Witness(says, "", "open", "Nothing is worked out yet to hold it against.")
    share = told.roles.get(role, 0.0)
    found = f"{role_words(told.role)}: {sure(told.probability)}"
    if share < CONTRADICTS_BELOW:
        words = (
            "The readings contradict the diagram. Is it this vehicle's diagram, this connector "
            "and this side of it? Was the right terminal probed?"
        )
        return Witness(says, found, "contradicts", words)
    if share >= AGREES_FROM:
        return Witness(says, found, "agrees", "Diagram and readings agree.")
    return Witness(says, found, "open", f"Not decided: by the readings this is {sure(share)}.")


def scan_witnesses(
    rounds: Sequence[Round], answer: Answer | None
) -> tuple[tuple[str, str, Witness], ...]:
    """For each value of the control unit: round, name, and what the readings say to it."""
    return tuple(
        (each.name, name, _scan(each, name, answer))
        for each in rounds
        if not each.void
        for name in each.scan
    )


def _scan(each: Round, name: str, answer: Answer | None) -> Witness:
    indication = each.scan[name]
    says = indication_words(indication, (SCAN, name))
    if name == SUPPLY_SCAN and each.battery_volts is not None:
        return _supply(says, indication.value, each.battery_volts.value)
    label = f"{each.name} {SCAN} {name}"
    if answer is None:
        return Witness(says, "", "open", "Nothing is worked out yet to hold it against.")
    if label in answer.misfit.readings:
        words = "It fits none of the likely explanations of the readings: read both again."
        return Witness(says, "", "contradicts", words)
    reasons = sorted(_on(label, answer), key=lambda reason: -abs(reason.decibans))
    if not reasons or abs(reasons[0].decibans) < 1.0:
        if _is_of_another(name, answer):
            words = (
                "None of the likely circuits has such a value. Is it another sensor's, or is this "
                "another connector than it was taken for?"
            )
            return Witness(says, "", "contradicts", words)
        return Witness(says, "", "open", "It fits the readings and decides nothing among them.")
    first = reasons[0]
    against = first.decibans < 0
    side = "against" if against else "for"
    words = f"{strength_words(first.decibans).capitalize()} evidence {side} what the readings say."
    return Witness(says, first.text, "contradicts" if against else "agrees", words)


def _is_of_another(name: str, answer: Answer) -> bool:
    """Whether hardly any circuit that the connector may have has a value of that name."""
    base = name.removesuffix(" volts").removesuffix(" hertz")
    if base in ANY_SENSOR:
        return False
    titles = {family.title for family in load_families() if base in dict(family.reports)}
    share = sum(each.probability for each in answer.circuits if each.circuit in titles)
    return share < CONTRADICTS_BELOW


def _on(label: str, answer: Answer) -> Iterator[Reason]:
    """What this reading weighs for that which the answer holds to be so, and for nothing else."""
    best = max(answer.faults, key=lambda each: each.probability, default=None)
    held = {f"terminal {each.pin} is {each.role}" for each in answer.terminals}
    if best is not None:
        held.add(f"fault {best.fault}")
    for reason in (*answer.reasons, *(r for rs in answer.evidence.values() for r in rs)):
        if reason.reading == label and reason.claim in held:
            yield reason


def _supply(says: str, unit: float, posts: float) -> Witness:
    shown = f"battery posts: {format_quantity(posts, 'volt')}"
    missing = posts - unit
    if abs(missing) <= SUPPLY_APART_VOLTS:
        return Witness(says, shown, "agrees", "The control unit sees what the battery has.")
    if missing > 0:
        words = (
            f"{format_quantity(missing, 'volt')} are missing on the control unit's way from the "
            f"battery: check its feed and its grounds under load before anything else."
        )
    else:
        words = (
            "The control unit reports more than the battery posts have: read both again at the "
            "same time; the black lead may be on a bad point."
        )
    return Witness(says, shown, "contradicts", words)
