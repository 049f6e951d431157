"""What the readings say: wires, faults that remain and that are ruled out, values, weights."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from backprobe.job import Job, write_job
from backprobe.report.blocks import (
    Block,
    Column,
    Group,
    Section,
    Words,
    facts,
    paragraph,
    points,
    table,
    words,
)
from backprobe.report.customer_part import draws_circuit_of
from backprobe.report.input import ReportInput
from backprobe.report.pictures import circuit_drawing
from backprobe.services.answer import Answer, FaultAnswer
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.telling import (
    WORTH_NAMING,
    because,
    capital,
    faults_because,
    fits_poorly,
    headline,
    listed,
    other_roles,
    remarks_beside,
    role_line,
    small_percent,
    telling_estimates,
    verdict,
    wire_because,
)
from backprobe.services.words import (
    claim_words,
    counted,
    fault_words,
    interval_words,
    measured,
    percent,
    reading_words,
    sure,
)
from backprobe.store.record import REPAIRED, SheetRecord

MOST_CLAIMS: Final = 12  # columns that a page bears
LEAST_WEIGHT: Final = 1.0  # decibans: about the least that a mind notices [good1950]
_WEIGHTS_EXPLAINED: Final = (
    "Decibans: ten of them make a claim ten times likelier against its nearest rival; a minus "
    "speaks against it."
)
_NOT_EXPLAINED: Final = "No explanation of these readings is stored, so nothing is claimed of them."
_OUTDATED: Final = (
    "Readings or notes were changed after this was worked out; it holds for what stood then."
)


def answer_sections(source: ReportInput) -> Iterator[Section]:
    """One section a sheet: what its readings say, and the circuit as it is understood."""
    for sheet in source.record.sheets:
        when = "after the repair" if sheet.phase == REPAIRED else "as found"
        title = f"What the readings at {sheet.connector.name} say, {when}"
        stored = source.answers.get(sheet.key)
        if stored is None:
            if any(each.entries for each in sheet.rounds):
                yield Section(title, paragraph(_NOT_EXPLAINED))
            continue
        yield Section(title, (*_answer(source, sheet, stored),))


def _answer(source: ReportInput, sheet: SheetRecord, stored: StoredAnswer) -> Iterator[Block]:
    job, answer = source.record.job_of(sheet), stored.answer
    yield from paragraph(verdict(answer), "lead")
    if is_outdated(job, stored):
        yield from paragraph(_OUTDATED, "warning")
    yield from _measurement(answer)
    yield Group("Wires", (*_wires(job, answer), *_circuits(answer)))
    yield Group("Faults that remain", _remaining(answer))
    if answer.ruled_out:
        yield Group("Ruled out, and by which reading", _ruled_out(answer))
    values = _estimates(job, answer)
    if values:
        yield Group("Values worked out", values)
    yield Group("Weight of each reading", (*_weights(answer),))
    if draws_circuit_of(source, sheet):
        yield from paragraph("The circuit with these readings is drawn on page one.", "small")
    else:
        yield Group("Circuit drawing", (circuit_drawing(source, sheet),))
    if answer.next and not answer.settled and source.record.outcome is None:
        yield Group("To be measured next", points(capital(headline(n, job)) for n in answer.next))


def is_outdated(job: Job, stored: StoredAnswer) -> bool:
    """Whether the answer was derived from other readings than stand now."""
    return bool(stored.job_file) and stored.job_file != write_job(job)


def _measurement(answer: Answer) -> Iterator[Block]:
    said_of = answer.measurement
    doubted = [f"round {name} {percent(share)}" for name, share in said_of.rounds.items()]
    trust = f"Black lead, battery and key were as noted: {sure(said_of.trusted)}"
    rounds = f" (by round: {', '.join(doubted)})" if doubted else ""
    yield from paragraph(f"{trust}{rounds}.")
    misfit = answer.misfit
    if fits_poorly(answer):
        blamed = listed(reading_words(each) for each in misfit.readings)
        named = f" Least at home: {blamed}." if blamed else ""
        yield from paragraph(
            "These readings fit nothing known well: so odd a set would come up in "
            f"{small_percent(misfit.probability)} of cases.{named}",
            "warning",
        )
    yield from points(remarks_beside(answer))


def _wires(job: Job, answer: Answer) -> tuple[Block, ...]:
    answers = {terminal.pin: terminal for terminal in answer.terminals}
    rows: list[list[str | Words]] = []
    for terminal in job.connector.terminals:
        told = answers.get(terminal.pin)
        if told is None:
            continue
        others = other_roles(told)
        why = wire_because(answer, told)
        more = f" Else {others}." if others else ""
        rows.append(
            [
                words(terminal.pin, "bold"),
                terminal.colour,
                capital(role_line(told)),
                f"{why}{more}".strip(),
            ]
        )
    columns = (
        Column("Terminal", 0.7),
        Column("Wire", 0.8),
        Column("Is", 2.0),
        Column("Because", 4.0),
    )
    return table(columns, rows)


def _circuits(answer: Answer) -> tuple[Block, ...]:
    falling = sorted(answer.circuits, key=lambda circuit: -circuit.probability)
    if not falling:
        return ()
    others = [
        f"{circuit.circuit} {percent(circuit.probability)}"
        for circuit in falling[1:5]
        if circuit.probability >= WORTH_NAMING
    ]
    more = f", or {listed(others, joint='or')}" if others else ""
    return paragraph(f"Circuit: {falling[0].circuit} ({sure(falling[0].probability)}){more}.")


def _remaining(answer: Answer) -> tuple[Block, ...]:
    rows: list[list[str | Words]] = []
    remaining = _remaining_faults(answer)
    for fault, why in zip(remaining, faults_because(answer, remaining), strict=True):
        rows.append(
            [
                words(percent(fault.probability), "bold"),
                capital(fault_words(fault.fault, fault.terminals)),
                why,
            ]
        )
    columns = (Column("How sure", 0.8, "right"), Column("Fault", 2.7), Column("Because", 4.0))
    return table(columns, rows)


def _remaining_faults(answer: Answer) -> list[FaultAnswer]:
    falling = sorted(answer.faults, key=lambda fault: -fault.probability)
    return [f for f in falling if f.probability >= WORTH_NAMING] or falling[:1]


def _ruled_out(answer: Answer) -> tuple[Block, ...]:
    columns = (Column("Fault", 3.2), Column("Because", 4.3))
    return table(
        columns,
        [
            [
                capital(fault_words(each.fault, each.terminals)),
                capital(because(answer, each)),
            ]
            for each in answer.ruled_out
        ],
    )


def _estimates(job: Job, answer: Answer) -> tuple[Block, ...]:
    columns = (
        Column("Value", 2.0),
        Column("Terminal"),
        Column("Round"),
        Column("Best", 1.2, "right"),
        Column("Interval", 2.0, "right"),
        Column("Coverage", 0.8, "right"),
    )
    return table(
        columns,
        [
            [
                capital(each.name),
                each.terminal,
                each.round,
                measured(each.value, each.unit),
                interval_words(each.low, each.high, each.unit),
                f"{100 * each.coverage:.0f} %",
            ]
            for each in telling_estimates(job, answer)
        ],
    )


def _weights(answer: Answer) -> Iterator[Block]:
    """A row a reading, a column a claim: the wires as said above, and the faults that remain."""
    claims = [
        (f"Wire {each.pin}", f"terminal {each.pin} is {each.role}") for each in answer.terminals
    ] + [(f"F{k + 1}", f"fault {f.fault}") for k, f in enumerate(_remaining_faults(answer))]
    tables = {claim: _by_reading(answer, claim) for _, claim in claims}
    shown = [(head, claim) for head, claim in claims if tables[claim]][:MOST_CLAIMS]
    if not shown:
        return
    readings = dict.fromkeys(reading for _, claim in shown for reading in tables[claim])
    rows: list[list[str | Words]] = []
    for reading in readings:
        weights = [tables[claim].get(reading, 0.0) for _, claim in shown]
        if max(map(abs, weights)) >= LEAST_WEIGHT:
            rows.append([capital(reading_words(reading)), *map(_weight, weights)])
    columns = [Column("Reading", 2.6), *(Column(head, 0.8, "right") for head, _ in shown)]
    yield from table(columns, rows)
    faults = [
        f"{head}: {claim_words(claim)}" for head, claim in shown if claim.startswith("fault ")
    ]
    legend = "; ".join(["Wire: it is what is said above", *faults])
    yield from paragraph(f"{legend}. {_WEIGHTS_EXPLAINED} {_how_found(answer)}", "small")


def _by_reading(answer: Answer, claim: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for reason in answer.evidence.get(claim, ()) or answer.reasons:
        if reason.claim == claim:
            found[reason.reading] = found.get(reason.reading, 0.0) + reason.decibans
    return found


def _weight(decibans: float) -> str:
    if abs(decibans) < LEAST_WEIGHT:
        return ""
    return f"{decibans:+.0f}".replace("-", "\N{MINUS SIGN}")


def _how_found(answer: Answer) -> str:
    limits = f"Below {LEAST_WEIGHT:.0f} deciban left out."
    size = answer.effective_sample_size
    samples = counted(round(size), "effective sample") if math.isfinite(size) else ""
    weighed = f" Weighed with about {samples}." if samples else ""
    shaky = (
        ""
        if answer.stable
        else " Not stable: its percentages may move by several points when asked again."
    )
    return f"{limits}{weighed}{shaky}"


def _parameters(stored: StoredAnswer) -> list[str]:
    """What beside the readings an answer came from, in words."""
    given = stored.parameters
    how = "a glance" if stored.is_glance else "quick search"
    found = ["whole search" if stored.is_whole else how]
    for name, usual in (("limits", "usual limits"), ("costs", "usual minutes and prices")):
        own = [f"{n} {' to '.join(f'{v:g}' for v in values)}" for n, *values in given.get(name, ())]
        found.append(f"own {name}: {', '.join(own)}" if own else usual)
    aside = [" ".join(str(part) for part in each if part) for each in given.get("without", ())]
    return [*found, *([f"readings set aside: {', '.join(aside)}"] if aside else [])]


def derivation_section(source: ReportInput) -> Section:
    """When, from what and with which versions the answers were worked out."""
    blocks: list[Block] = []
    for sheet in source.record.sheets:
        stored = source.answers.get(sheet.key)
        if stored is None:
            continue
        when = "after the repair" if sheet.phase == REPAIRED else "as found"
        rows = [
            ("Worked out", f"{source.instant(stored.computed_at)}, in {stored.seconds:.1f} s"),
            ("Versions", ", ".join(f"{k} {v}" for k, v in stored.versions.items())),
            ("Parameters", "; ".join(_parameters(stored))),
            ("Hash of its input", stored.input_hash),
        ]
        blocks.append(Group(f"{capital(sheet.connector.name)}, {when}", facts(rows)))
    blocks += facts([("Printed by", f"backprobe {source.program_version}")])
    return Section("Versions and parameters", tuple(blocks))
