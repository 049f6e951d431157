"""What is known of a sheet, as its page tells it: doubts, wires, faults, next readings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from backprobe.job import Job
from backprobe.services.answer import (
    DOUBTFUL_BELOW,
    Answer,
    FaultAnswer,
    NextReading,
    Reason,
)
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.costs import Costs
from backprobe.services.pictures import circuit_picture, connector_face
from backprobe.services.proof import minimum_proof
from backprobe.services.repair_decision import repair_decision
from backprobe.services.telling import (
    ALWAYS,
    NOTHING_WORTH,
    ONLY_AMONG_KNOWN,
    WORTH_NAMING,
    because,
    capital,
    faults_because,
    fits_nothing,
    fits_poorly,
    headline,
    listed,
    other_roles,
    price,
    remarks_beside,
    role_line,
    sentence,
    settled_words,
    small_percent,
    telling_estimates,
    verdict,
    what_follows,
    wire_because,
)
from backprobe.services.unavailable import state_of
from backprobe.services.words import (
    fault_words,
    interval_words,
    measured,
    percent,
    reading_words,
    role_words,
    weight_words,
)
from backprobe.standards.wire_colour import colour_letters
from backprobe.store.record import SetAside
from backprobe.vocabulary import NO_FAULT
from backprobe.web.sheet_view import reading_query

MOST_FAULTS = 6
MOST_NEXT = 5
MOST_CIRCUITS = 4
TO_FOLLOW = "Working out which reading is worth taking next ..."
DRAWN_FROM = 0.6  # probability of a role from which on the connector's face shows it


@dataclass(frozen=True, slots=True)
class Evidence:
    """The weight of one reading for a claim."""

    reading: str
    decibans: str
    words: str
    text: str
    is_for: bool


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire: what it is, how sure, why."""

    pin: str
    colours: tuple[str, ...]
    role: str
    reason: str
    others: str
    contradiction: str
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault that remains, or is ruled out."""

    share: str
    words: str
    reason: str
    evidence: tuple[Evidence, ...] = ()


@dataclass(frozen=True, slots=True)
class Next:
    """One proposed reading."""

    headline: str
    price: str
    text: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    quantity: str
    place: str
    state: str
    query: str  # the reading and its state, as an address carries them


@dataclass(frozen=True, slots=True)
class KnownView:
    """All that is known of a sheet."""

    sheet: str
    is_current: bool
    trouble: str
    alarm: str  # title, where the measurement is doubtful
    remarks: tuple[str, ...]
    misfit: str
    misfit_is_bad: bool
    verdict: str
    wires: tuple[Wire, ...]
    circuits: tuple[str, ...]
    faults: tuple[Fault, ...]
    ruled_out: tuple[Fault, ...]
    proof: str
    is_sound: bool  # no fault is the likeliest
    decision: str
    estimates: tuple[tuple[str, str, str, str], ...]
    next: tuple[Next, ...]
    settled: str
    set_aside: tuple[SetAside, ...]
    circuit_svg: str
    face_svg: str
    footer: str
    always: str = ALWAYS


def known_view(
    job: Job,
    stored: StoredAnswer,
    *,
    sheet: str,
    set_aside: tuple[SetAside, ...],
    costs: Costs,
    is_current: bool,
    trouble: str = "",
) -> KnownView:
    """Put an answer into the pieces that the page lays out."""
    answer = stored.answer
    alarm, remarks = _doubts(answer)
    misfit, is_bad = _misfit(answer)
    top = max(answer.faults, key=lambda f: f.probability, default=None)
    # Nothing is decided on a glance, and whether all is settled takes a closer look.
    decision = (
        None if stored.is_glance else repair_decision(answer, costs=costs, kind=job.connector.kind)
    )
    is_open = stored.is_glance and not answer.next
    return KnownView(
        sheet=sheet,
        is_current=is_current,
        trouble=trouble,
        alarm=alarm,
        remarks=remarks,
        misfit=misfit,
        misfit_is_bad=is_bad,
        verdict=verdict(answer),
        wires=tuple(_wires(job, answer)),
        circuits=tuple(_circuits(answer)),
        faults=tuple(_faults(answer)),
        ruled_out=tuple(_ruled_out(answer)),
        proof=minimum_proof(top.fault) if top and top.probability >= 0.5 else "",
        is_sound=top is not None and top.fault == NO_FAULT,
        decision="" if decision is None else decision.words,
        estimates=tuple(_estimates(job, answer)),
        next=tuple(_next(each, job) for each in answer.next[:MOST_NEXT]),
        settled=TO_FOLLOW if is_open else _settled(answer),
        set_aside=set_aside,
        circuit_svg=circuit_picture(job, answer),
        face_svg=_face(job, answer),
        footer=_footer(stored),
    )


def _settled(answer: Answer) -> str:
    if answer.settled:
        return settled_words(answer)
    return "" if answer.next else NOTHING_WORTH


def _doubts(answer: Answer) -> tuple[str, tuple[str, ...]]:
    """Title and lines of the alarm where the measurement is doubtful, else its remarks."""
    found = answer.measurement
    if found.trusted >= DOUBTFUL_BELOW:
        return "", remarks_beside(answer)
    doubtful = [
        f"round {name} {percent(share)}"
        for name, share in found.rounds.items()
        if share < DOUBTFUL_BELOW
    ]
    chance = ", ".join(doubtful) or percent(found.trusted)
    lines = (
        *remarks_beside(answer),
        f"Chance that black lead and vehicle were as noted: {chance}.",
        what_follows(answer),
    )
    return "The measurement is doubtful", lines


def _misfit(answer: Answer) -> tuple[str, bool]:
    """What to say of readings that fit poorly or not at all; whether it is bad."""
    found = answer.misfit
    if not fits_poorly(answer):
        return "", False
    named = listed(reading_words(each) for each in found.readings)
    again = f" Read again {named}." if named else ""
    chance = f" Chance of a surprise this large: {small_percent(found.probability)}."
    if not fits_nothing(answer):
        return f"The readings fit poorly.{chance}{again}", False
    if len(found.readings) == 1:
        return f"One reading fits nothing else.{chance}{again}", True
    return f"These readings fit nothing known here.{chance}{again} {ONLY_AMONG_KNOWN}", True


def _wires(job: Job, answer: Answer) -> Iterable[Wire]:
    said = {terminal.pin: terminal for terminal in answer.terminals}
    for terminal in job.connector.terminals:
        found = said.get(terminal.pin)
        if found is None:
            continue
        claim = f"terminal {found.pin} is {found.role}"
        differs = terminal.diagram and terminal.diagram != found.role
        yield Wire(
            pin=terminal.pin,
            colours=colour_letters(terminal.colour),
            role=capital(role_line(found)),
            reason=wire_because(answer, found),
            others=other_roles(found),
            contradiction=f"The diagram says: {role_words(terminal.diagram)}." if differs else "",
            evidence=_evidence(answer.evidence.get(claim, ())),
        )


def _evidence(reasons: Iterable[Reason]) -> tuple[Evidence, ...]:
    strongest = sorted(reasons, key=lambda r: -abs(r.decibans))
    return tuple(
        Evidence(
            reading_words(each.reading),
            f"{each.decibans:+.0f}",
            weight_words(each.decibans),
            sentence(each.text),
            each.decibans > 0,
        )
        for each in strongest
        if abs(each.decibans) >= 1.0
    )


def _faults(answer: Answer) -> Iterable[Fault]:
    falling = sorted(answer.faults, key=lambda f: -f.probability)
    kept: list[FaultAnswer] = [f for f in falling if f.probability >= WORTH_NAMING] or falling[:1]
    for each, why in zip(kept[:MOST_FAULTS], faults_because(answer, kept), strict=False):
        claim = f"fault {each.fault}"
        yield Fault(
            percent(each.probability),
            capital(fault_words(each.fault, each.terminals)),
            why,
            _evidence(answer.evidence.get(claim, ())),
        )


def _ruled_out(answer: Answer) -> Iterable[Fault]:
    for each in answer.ruled_out:
        yield Fault("", capital(fault_words(each.fault, each.terminals)), because(answer, each))


def _circuits(answer: Answer) -> Iterable[str]:
    for each in sorted(answer.circuits, key=lambda c: -c.probability)[:MOST_CIRCUITS]:
        if each.probability >= WORTH_NAMING:
            yield f"{each.circuit}, {percent(each.probability)}"


def _estimates(job: Job, answer: Answer) -> Iterable[tuple[str, str, str, str]]:
    for each in telling_estimates(job, answer):
        yield (
            each.name,
            ", ".join(part for part in (each.terminal, each.round) if part),
            measured(each.value, each.unit),
            interval_words(each.low, each.high, each.unit),
        )


def _next(reading: NextReading, job: Job) -> Next:
    return Next(
        headline=capital(headline(reading, job)),
        price=price(reading),
        text=reading.text,
        steps=reading.steps,
        cautions=reading.cautions,
        quantity=reading.quantity,
        place=reading.terminal,
        state=state_of(reading),
        query=reading_query(reading),
    )


def _face(job: Job, answer: Answer) -> str:
    """The connector's face with the roles that are likely, the terminal to read next marked."""
    roles = {t.pin: t.role for t in answer.terminals if t.probability >= DRAWN_FROM}
    return connector_face(job.connector, roles, answer.next[0].terminal if answer.next else "")


def _footer(stored: StoredAnswer) -> str:
    how = "by the whole search" if stored.is_whole else "quickly; the whole search follows"
    if stored.is_glance:
        how = "at a glance; estimates and next readings follow with a closer look"
    shaky = "" if stored.answer.stable else " Not stable: its percentages may move."
    return f"Worked out in {stored.seconds:.1f} s, {how}.{shaky}"
