"""Page one, for the vehicle's owner: complaint, cause, correction, proof, what was not tested."""

from __future__ import annotations

from collections.abc import Iterator

from backprobe.report.blocks import Block, Section, paragraph, points
from backprobe.report.input import ReportInput, top_fault
from backprobe.report.pictures import circuit_drawing, comparison_drawing
from backprobe.report.proof_part import untested
from backprobe.services.answer import Answer
from backprobe.services.outcome_terminals import told_terminals
from backprobe.services.pictures.comparison_picture import most_changed
from backprobe.services.telling import because, best_reason, verdict
from backprobe.services.words import fault_words, sure
from backprobe.store.record import SheetRecord
from backprobe.vocabulary import NO_FAULT


def customer_sections(source: ReportInput) -> tuple[Section, ...]:
    """The sections of page one, in the order in which an owner asks."""
    head, outcome = source.record.head, source.record.outcome
    repair = outcome.repair if outcome is not None else ""
    return (
        Section("Complaint", paragraph(head.complaint) or paragraph("None was noted.")),
        Section("Cause", (*_cause(source),)),
        Section("Correction", paragraph(repair) or paragraph("No work has been noted.")),
        Section("Proof", (*_proof(source),)),
        Section("Not tested", (*_not_tested(source),)),
    )


def _cause(source: ReportInput) -> Iterator[Block]:
    outcome, answer = source.record.outcome, source.answer(source.found)
    if outcome is None:
        yield from paragraph("Not concluded yet.")
        if answer is not None:
            yield from paragraph(verdict(answer))
        return
    yield from paragraph(outcome.cause)
    found = fault_words(outcome.fault, told_terminals(source.record, outcome.terminals))
    yield from paragraph(f"Found at {_place(source)}: {found}.")
    if answer is not None and answer.faults and top_fault(answer) != outcome.fault:
        yield from paragraph(f"By the readings alone, as found: {verdict(answer)}", "warning")


def _place(source: ReportInput) -> str:
    sheet = source.found
    return sheet.connector.name if sheet is not None else "the vehicle"


def _proof(source: ReportInput) -> Iterator[Block]:
    told = [each for each in _sentences(source) if each]
    if told:
        yield from paragraph(" ".join(told))
    else:
        yield from paragraph("No readings have been explained yet.")
    found, after = source.found, source.repeated(source.found)
    if found is not None and after is not None:
        yield comparison_drawing(source, found, after)
    elif found is not None and draws_circuit_of(source, found):
        yield circuit_drawing(source, found)


def draws_circuit_of(source: ReportInput, sheet: SheetRecord) -> bool:
    """Whether page one has a sheet's circuit, so that the record need not draw it again."""
    is_meant = source.found is not None and sheet.key == source.found.key
    return is_meant and source.repeated(sheet) is None and source.answer(sheet) is not None


def _sentences(source: ReportInput) -> Iterator[str]:
    """What points to the cause, what changed by the repair, what is there now."""
    found, after = source.found, source.repeated(source.found)
    answer = source.answer(found)
    if answer is not None:
        yield _carried_by(answer, source.fault)
    if found is not None and after is not None:
        record = source.record
        pairs = most_changed(record.job_of(found), record.job_of(after), answer)
        yield pairs[0].words if pairs else ""
        now = source.answer(after)
        yield f"After the repair the same readings say: {_now(now)}." if now is not None else ""
    elif answer is not None:
        trusted = sure(answer.measurement.trusted)
        yield f"That the measurement itself was sound is {trusted}."


def _carried_by(answer: Answer, fault: str) -> str:
    """The reading that carries the fault, and how sure the fault is by all readings."""
    share = next((each.probability for each in answer.faults if each.fault == fault), 0.0)
    reason = best_reason(answer, f"fault {fault}")
    certain = f"By the readings as found the cause is {sure(share)}"
    if fault == NO_FAULT:
        certain = f"That this circuit has no fault is {sure(share)}"
    if reason is None or not reason.text:
        return f"{certain}."
    return f"{certain}: {because(answer, reason)}."


def _now(answer: Answer) -> str:
    top = max(answer.faults, key=lambda fault: fault.probability, default=None)
    if top is None:
        return "nothing can be said"
    return f"{fault_words(top.fault, top.terminals)} ({sure(top.probability)})"


def _not_tested(source: ReportInput) -> Iterator[Block]:
    outcome = source.record.outcome
    written = outcome.not_tested if outcome is not None else ""
    if written:
        yield from paragraph(written)
        return
    items = tuple(untested(source))
    yield from points(items) or paragraph("Nothing is written down as not tested.")
