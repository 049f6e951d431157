"""What proves it: before and after, other witnesses, the minimum proof, and what wasn't tested."""

from __future__ import annotations

from collections.abc import Iterator

from backprobe.job import Indication, Round
from backprobe.report.blocks import (
    Block,
    Column,
    Group,
    Section,
    Words,
    paragraph,
    points,
    table,
    words,
)
from backprobe.report.input import ReportInput
from backprobe.report.rounds_part import not_had, value_words
from backprobe.services.answer import Answer
from backprobe.services.outcome_terminals import told_terminals
from backprobe.services.proof import minimum_proof
from backprobe.services.telling import DECIDED_FROM, capital
from backprobe.services.words import (
    fault_words,
    interval_words,
    measured,
    percent,
    quantity_words,
    role_words,
    state_words,
)
from backprobe.store.cells import SCAN, cells_of, unit_of
from backprobe.store.record import REPAIRED, RoundRecord, SheetRecord
from backprobe.vocabulary import NO_FAULT


def comparison_section(source: ReportInput) -> Section | None:
    """Every reading that was taken both before and after the repair."""
    groups: list[Block] = []
    for after in source.record.sheets:
        found = source.record.sheet(after.repeats) if after.repeats else None
        if found is None:
            continue
        rows = [row for record in after.rounds for row in _pairs(found, record)]
        if not rows:
            continue
        columns = (
            Column("State", 1.8),
            Column("Reading", 1.6),
            Column("Terminal", 2.2),
            Column("Before", 1.1, "right"),
            Column("After", 1.1, "right"),
        )
        groups.append(Group(capital(after.connector.name), table(columns, rows)))
    return Section("Before and after the repair", tuple(groups)) if groups else None


def _pairs(found: SheetRecord, after: RoundRecord) -> Iterator[list[str | Words]]:
    before = next((each for each in found.rounds if each.key == after.repeats), None)
    if before is None or before.round.void or after.round.void:
        return
    earlier = dict(cells_of(before.round))
    state = capital(_state(after.round))
    for (quantity, place), indication in cells_of(after.round):
        if (quantity, place) not in earlier:
            continue
        unit = unit_of(quantity, place)
        shown = [value_words(each, unit) for each in (earlier[quantity, place], indication)]
        bold = words(shown[1], "bold")
        yield [state, capital(quantity_words(quantity)), place, shown[0], bold]


def _state(each: Round) -> str:
    return state_words(plugged=each.plugged, key=each.key, rpm=each.rpm, action=each.action)


def witnesses_section(source: ReportInput) -> Section | None:
    """What diagram and control unit say, held against the readings."""
    blocks: list[Block] = []
    for sheet in source.record.sheets:
        when = "after the repair" if sheet.phase == REPAIRED else "as found"
        found = (*_diagram(source, sheet), *_reported(source, sheet))
        if found:
            blocks.append(Group(f"{capital(sheet.connector.name)}, {when}", found))
    return Section("Other witnesses", tuple(blocks)) if blocks else None


def _diagram(source: ReportInput, sheet: SheetRecord) -> tuple[Block, ...]:
    answer = source.answer(sheet)
    told = {each.pin: each for each in answer.terminals} if answer is not None else {}
    rows: list[list[str | Words]] = []
    for terminal in sheet.connector.terminals:
        if not terminal.diagram:
            continue
        by_readings = told.get(terminal.pin)
        if by_readings is None:
            rows.append([terminal.pin, role_words(terminal.diagram), "", "not compared"])
            continue
        share = by_readings.roles.get(terminal.diagram, 0.0)
        agree = "agree" if share >= DECIDED_FROM else words("DISAGREE", "bold")
        verdict: str | Words = agree if by_readings.probability >= DECIDED_FROM else "not decided"
        say = f"{role_words(by_readings.role)} ({percent(by_readings.probability)})"
        rows.append([terminal.pin, role_words(terminal.diagram), say, verdict])
    columns = (
        Column("Terminal", 0.8),
        Column("The diagram says", 2.0),
        Column("The readings say", 2.4),
        Column("They", 1.0),
    )
    return table(columns, rows)


def _reported(source: ReportInput, sheet: SheetRecord) -> tuple[Block, ...]:
    """Values of the control unit beside what the meter read on the only signal wire."""
    answer = source.answer(sheet)
    signals = [
        each.pin
        for each in (answer.terminals if answer is not None else ())
        if each.role.startswith("signal-") and each.probability >= DECIDED_FROM
    ]
    rows: list[list[str | Words]] = []
    for record in sheet.rounds:
        if record.round.void:
            continue
        for (quantity, name), indication in cells_of(record.round):
            if quantity != SCAN:
                continue
            by_meter = _temperature(answer, record.round.name, name)
            own = record.round.volts.get(signals[0]) if len(signals) == 1 else None
            if own is not None and name.endswith(" volts"):
                by_meter = f"{value_words(own, 'volt')} at {signals[0]}; {_apart(indication, own)}"
            shown = value_words(indication, unit_of(quantity, name))
            rows.append([record.round.name, name, shown, by_meter])
    columns = (
        Column("Round", 0.7),
        Column("Value", 2.0),
        Column("The control unit says", 1.4, "right"),
        Column("The readings say", 2.4),
    )
    return table(columns, rows)


def _apart(reported: Indication, own: Indication) -> str:
    """How far the control unit's volts are from the meter's."""
    difference = reported.value - own.value
    way = "above" if difference > 0 else "below"
    return f"reported {measured(abs(difference), 'volt')} {way} it" if difference else "the same"


def _temperature(answer: Answer | None, round_name: str, name: str) -> str:
    """What a thermistor's ohms say of a temperature that the control unit reports."""
    if answer is None or not name.endswith(" temperature"):
        return ""
    found = [
        each
        for each in answer.estimates
        if each.name == "thermistor temperature" and each.round == round_name
    ]
    if len(found) != 1:
        return ""
    only = found[0]
    interval = interval_words(only.low, only.high, only.unit)
    return f"{measured(only.value, only.unit)} at {only.terminal} ({interval})"


def proof_section(source: ReportInput) -> Section:
    """The least proof that the fault in question asks for, and what of it was seen."""
    outcome, fault = source.record.outcome, source.fault
    terminals = told_terminals(source.record, outcome.terminals) if outcome is not None else ()
    blocks: list[Block] = []
    if fault != NO_FAULT or outcome is not None:
        blocks += paragraph(f"For: {fault_words(fault, terminals)}.")
    asked = minimum_proof(fault)
    if asked:
        blocks += paragraph(f"{'Remember' if fault == NO_FAULT else 'Asked for'}: {asked}")
    seen = outcome.proof if outcome is not None else ()
    blocks += points(seen, ticked=True)
    if not seen and fault != NO_FAULT:
        blocks += paragraph("None of it has been ticked off.", "warning")
    return Section("Minimum proof", tuple(blocks))


def untested_section(source: ReportInput) -> Section:
    """What was not tested: as written down, and what the record itself shows."""
    outcome = source.record.outcome
    blocks: list[Block] = []
    if outcome is not None:
        blocks += paragraph(outcome.not_tested)
    blocks += points(untested(source))
    for sheet in source.record.sheets:
        blocks += not_had(sheet)
    if not blocks:
        blocks += paragraph("Nothing is written down as not tested.")
    return Section("Not tested", tuple(blocks))


def untested(source: ReportInput) -> Iterator[str]:
    """What the rounds show was never done, as far as it matters to every circuit."""
    rounds = [
        record.round
        for sheet in source.record.sheets
        for record in sheet.rounds
        if record.entries and not record.round.void
    ]
    if not rounds:
        yield "Nothing was read."
        return
    if not any(each.key == "run" for each in rounds):
        yield "Nothing was read with the engine running."
    if not any(each.volts_loaded for each in rounds):
        yield "Supply and return were not read under load at the connector."
    if not any(each.action == "wiggle" for each in rounds):
        yield "The harness was not moved while reading."
    if source.record.outcome is not None and source.repeated(source.found) is None:
        yield "The readings were not repeated after the repair."
