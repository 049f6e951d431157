"""What a circuit's picture says in words: its title, its notes, and all of it for who can't see."""

from __future__ import annotations

from backprobe.job.model import Job
from backprobe.services.answer import Answer
from backprobe.services.pictures.circuit_plan import CircuitPlan, Row
from backprobe.services.pictures.fault_mark import likely_fault
from backprobe.services.pictures.hanging import is_built_alike, parts_of
from backprobe.services.pictures.likeliest import DECIDED, Likeliest
from backprobe.services.pictures.shown_readings import DOUBTED_BELOW, sensor_readings
from backprobe.services.pictures.wire_line import words_text
from backprobe.services.words import fault_words, reading_words, sure, terminals_words
from backprobe.vocabulary import NO_FAULT


def heads(job: Job, answer: Answer | None) -> tuple[str, ...]:
    """The title of the picture, and a line under it."""
    name = job.connector.name
    if answer is None or not answer.circuits:
        return f"{name}: circuit not worked out yet", "Readings as they were taken."
    falling = sorted(answer.circuits, key=lambda circuit: -circuit.probability)
    first = falling[0]
    if first.probability >= DECIDED:
        said = f"Kind of circuit: {sure(first.probability)}."
        return f"{name}: {first.circuit}", said
    others = [f"{each.circuit} ({sure(each.probability)})" for each in falling[:2]]
    said = f"Likeliest are {' and '.join(others)}; the first is drawn, in dashes."
    return f"{name}: kind of circuit not decided", said


def fault_sentence(answer: Answer | None) -> str:
    """What is most probably wrong, or that nothing stands out."""
    if answer is None:
        return "No fault is looked for yet."
    fault = likely_fault(answer)
    if fault is None:
        return "No single fault is more likely than not."
    words = fault_words(fault.fault, fault.terminals)
    if fault.fault == NO_FAULT:
        return f"{words[0].upper()}{words[1:]}: {sure(fault.probability)}."
    return f"Most probable fault: {words} ({sure(fault.probability)})."


def notes(job: Job, answer: Answer | None, plan: CircuitPlan) -> tuple[str, ...]:
    """The sentences below the picture, the fault first."""
    found = [fault_sentence(answer)]
    trust = answer.measurement.rounds if answer is not None else {}
    doubted = [name for name, share in trust.items() if share < DOUBTED_BELOW]
    if doubted:
        rounds = f"round{'s' if len(doubted) > 1 else ''} {', '.join(doubted)}"
        found.append(f"The measurement of {rounds} is doubted: its values prove nothing.")
    if answer is not None and answer.misfit.readings:
        blamed = "; ".join(reading_words(each) for each in answer.misfit.readings)
        found.append(f"Doubted, because it fits nothing that is known: {blamed}.")
    found += [f"Sensor alone, ohms: {'; '.join(said)}." for said in [sensor_readings(job)] if said]
    found += _twin_notes(plan)
    if not is_built_alike(plan.likeliest):
        found.append(
            "The inside of the sensor may be built otherwise; the wires' jobs are the same."
        )
    return tuple(found)


def _twin_notes(plan: CircuitPlan) -> list[str]:
    """Say which terminals could change places in the drawing."""
    pins = plan.likeliest.pins
    found: dict[str, list[str]] = {}
    for row in plan.rows:
        if row.pin in plan.likeliest.twins and row.role and row.pin in pins.values():
            found.setdefault(row.role, []).append(row.pin)
    drawn = _joints(plan.likeliest, {})
    loose = [
        terminals_words(tuple(twins))
        for twins in found.values()
        if any(_joints(plan.likeliest, {twins[0]: b, b: twins[0]}) != drawn for b in twins[1:])
    ]
    if not loose:
        return []
    said = "; ".join(loose)
    return [
        f"Alike, not told apart, and drawn in order: {said}. In the sensor they may be exchanged."
    ]


def _joints(
    likeliest: Likeliest, exchanged: dict[str, str]
) -> set[tuple[str, frozenset[str], str]]:
    """Which terminals each part hangs on, were some of them exchanged."""
    at = {wire: exchanged.get(pin, pin) for wire, pin in likeliest.pins.items()}
    return {
        (part.symbol, frozenset(at[wire] for wire in part.wires), at.get(part.wiper, ""))
        for part in parts_of(likeliest)
    }


def describe(job: Job, answer: Answer | None, plan: CircuitPlan) -> str:
    """Everything that the picture shows, in sentences."""
    sentences = [*heads(job, answer)[1:], *(_row_sentence(plan, row) for row in plan.rows)]
    return " ".join([*sentences, *notes(job, answer, plan)])


def _row_sentence(plan: CircuitPlan, row: Row) -> str:
    colour = words_text(row.terminal.colour) or "colour not noted"
    said = f"Terminal {row.pin}, {colour}: {' '.join(row.role_lines)}."
    said += f" Behind it: {' '.join(row.behind_lines)}."
    number = plan.rows.index(row)
    parts = [" ".join(part.lines) for part in plan.sensor.parts if number in part.touched]
    if parts:
        said += f" On it in the sensor: {'; '.join(parts)}."
    if row.readings:
        said += f" Read: {'; '.join(reading.words for reading in row.readings)}."
    if row.mark is not None:
        said += f" {row.mark.words}."
    return said
