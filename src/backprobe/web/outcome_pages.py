"""The outcome of a job: verdict with its proof, repair, and the same readings after it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from markupsafe import Markup

from backprobe.errors import ValueOutOfRange
from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.before_after import Compared, compare_sheets
from backprobe.services.outcome_terminals import found_sheets, terminal_key
from backprobe.services.pictures.comparison_picture import comparison_picture
from backprobe.services.proof import proof_steps
from backprobe.services.words import fault_words, percent, role_words
from backprobe.store.record import JobRecord, SheetRecord
from backprobe.vocabulary import FAULT_KINDS, NO_FAULT, ROLES, fault_name, split_fault
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.job_form import WireLine, wire_lines
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Mistakes, Typed, TypedForm

router = APIRouter(include_in_schema=False)
MOST_LISTED: Final = 8
OTHER: Final = "other"
SWAPPED: Final = "swapped"


@dataclass(frozen=True, slots=True)
class ProofView:
    """What has to be seen before a verdict is acted on; ticked where it was."""

    fault: str
    steps: tuple[tuple[str, bool], ...]

    @property
    def is_whole(self) -> bool:
        """Whether all of it was seen."""
        return all(seen for _, seen in self.steps)


@dataclass(frozen=True, slots=True)
class PairView:
    """A sheet as found, and what was read again after the repair."""

    name: str
    found: str  # keys of the two sheets
    repaired: str
    cells: tuple[Compared, ...]
    picture: Markup

    @property
    def told(self) -> str:
        """How many have changed."""
        read = [each for each in self.cells if each.after]
        changed = sum(each.has_changed for each in read)
        return f"{len(read)} of {len(self.cells)} read again, {changed} changed."


@dataclass(frozen=True, slots=True)
class TerminalChoice:
    """A terminal that the fault may sit on."""

    key: str
    wire: WireLine
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class ConnectorTerminals:
    """The terminals of one connector as found."""

    name: str
    terminals: tuple[TerminalChoice, ...]


@dataclass(frozen=True, slots=True)
class OutcomeView:
    """Everything on the page of the outcome."""

    key: str
    title: str
    is_open: bool
    form: FormView
    verdicts: tuple[tuple[str, str], ...]
    proof: ProofView
    connectors: tuple[ConnectorTerminals, ...]
    pairs: tuple[PairView, ...]
    is_stored: bool

    @property
    def kinds(self) -> tuple[tuple[str, str], ...]:
        """Kinds of fault, for one that isn't listed."""
        return tuple((kind, kind.replace("-", " ")) for kind in FAULT_KINDS)

    @property
    def roles(self) -> tuple[tuple[str, str], ...]:
        """Wires that a fault can sit on."""
        return tuple((role, role_words(role)) for role in ROLES)


def proof_view(fault: str, seen: tuple[str, ...] = ()) -> ProofView:
    """The proof that a verdict needs, with what was seen of it."""
    return ProofView(fault_words(fault), tuple((step, step in seen) for step in proof_steps(fault)))


@router.get("/fragments/proof")
def proof_piece(
    request: Request, fault: Annotated[str, Query(max_length=100)] = ""
) -> HTMLResponse:
    """Show the proof that a verdict needs."""
    return pages_of(request).page(request, "proof.html", proof_view(fault))


@router.get("/jobs/{key}/outcome")
def outcome_page(
    request: Request, key: str, book: BookAtHand, answers: AnswersAtHand
) -> HTMLResponse:
    """Show what was found and done so far, and what the readings say."""
    record = book.job(key)
    for sheet in record.sheets:
        answers.current_or_asked(sheet.key)
    kept, seen = record.outcome, tuple[str, ...]()
    listed = _listed(record, answers)
    if kept is None:
        # Nothing is chosen beforehand: a verdict is the technician's own. Its place is the guess.
        fault, form = "", FormView()
        pins = _blamed(record, answers, listed[0][0]) if listed else ()
    else:
        fault, seen, pins = kept.fault, kept.proof, kept.terminals
        values = {"cause": kept.cause, "repair": kept.repair, "not_tested": kept.not_tested}
        form = FormView({"fault": fault, **values})
    view = _view(record, answers, form, proof_view(fault, seen), pins, listed)
    return pages_of(request).page(request, "outcome.html", view)


@router.post("/jobs/{key}/outcome")
def conclude(
    request: Request,
    key: str,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Write down what was found and done; close the job too, where that was pressed."""
    wrong = Mistakes()
    fault = wrong.take("fault", lambda: _fault(typed), "")
    seen, pins = typed.all("proof"), typed.all("terminal")
    if wrong.found or typed.text("do") == "proof":
        record = change.book.job(key)
        chosen = fault or typed.text("fault")
        form = FormView({**typed.values, "fault": chosen}, wrong.found)
        view = _view(
            record,
            change.answers,
            form,
            proof_view(fault, seen),
            pins,
            _listed(record, change.answers),
        )
        status = UNUSABLE if wrong.found else 200
        return pages_of(request).page(request, "outcome.html", view, status=status)
    steps = proof_steps(fault)
    change.book.conclude(
        key,
        fault=fault,
        terminals=pins,
        cause=typed.text("cause"),
        repair=typed.text("repair"),
        not_tested=typed.text("not_tested"),
        proof=tuple(step for step in seen if step in steps),
        device=change.device,
    )
    if typed.text("do") == "close":
        change.book.close(key, device=change.device)
    change.told()
    return RedirectResponse(f"/jobs/{key}", SEE_OTHER)


@router.post("/sheets/{key}/repeat")
def repeat(key: str, change: ChangeAtHand) -> Response:
    """Begin the same sheet again, to be read after the repair."""
    sheet = change.book.repeat_after_repair(key, device=change.device)
    change.told_of(sheet)
    return RedirectResponse(f"/sheets/{sheet}", SEE_OTHER)


def _fault(typed: Typed) -> str:
    """The verdict: one of the list, or another put together from kind and wire."""
    chosen = typed.text("fault")
    if chosen != OTHER:
        if split_fault(chosen)[0] not in (NO_FAULT, *FAULT_KINDS):
            raise ValueOutOfRange("No verdict is chosen.", remedy="Choose one of the list.")
        return chosen
    kind, role, second = typed.text("kind"), typed.text("role"), typed.text("second")
    if kind not in FAULT_KINDS or role not in ROLES:
        raise ValueOutOfRange(
            "Another fault needs its kind and its wire.", remedy="Choose both below."
        )
    if kind != SWAPPED:
        return fault_name(kind, role)
    if second not in ROLES or second == role:
        raise ValueOutOfRange(
            "Exchanged wires are two.", remedy="Choose the second wire too, another than the first."
        )
    return fault_name(kind, f"{role}+{second}")


def _listed(record: JobRecord, answers: AnswerDesk) -> list[tuple[str, str]]:
    """Verdicts that the readings as found leave, the likeliest first."""
    shares: dict[str, tuple[float, tuple[str, ...], str]] = {}
    sheets = found_sheets(record)
    for sheet in sheets:
        where = f" at {sheet.connector.name}" if len(sheets) > 1 else ""
        stored = answers.latest(sheet.key)
        for each in stored.answer.faults if stored else ():
            known = shares.get(each.fault)
            if known is None or each.probability > known[0]:
                shares[each.fault] = (each.probability, each.terminals, where)
    ranked = sorted(shares.items(), key=lambda item: -item[1][0])[:MOST_LISTED]
    return [
        (fault, f"{fault_words(fault, pins)}{where} ({percent(share)})")
        for fault, (share, pins, where) in ranked
        if share >= 0.001 or fault == ranked[0][0]
    ]


def _blamed(record: JobRecord, answers: AnswerDesk, fault: str) -> tuple[str, ...]:
    """Terminals that a fault sits on, by the sheet on which it is the likeliest."""
    best, found = -1.0, tuple[str, ...]()
    for sheet in found_sheets(record):
        stored = answers.latest(sheet.key)
        for each in stored.answer.faults if stored else ():
            if each.fault == fault and each.probability > best:
                best = each.probability
                found = tuple(terminal_key(sheet, pin) for pin in each.terminals)
    return found


def _view(
    record: JobRecord,
    answers: AnswerDesk,
    form: FormView,
    proof: ProofView,
    pins: tuple[str, ...],
    listed: list[tuple[str, str]],
) -> OutcomeView:
    chosen = form.value("fault")
    verdicts = list(listed)
    for fault in (NO_FAULT, chosen):
        if fault and fault != OTHER and all(fault != known for known, _ in verdicts):
            verdicts.append((fault, fault_words(fault)))
    return OutcomeView(
        record.key,
        record.head.title,
        record.closed_at is None,
        form,
        (("", "choose"), *verdicts, (OTHER, "another fault, put together below")),
        proof,
        tuple(_terminals(sheet, pins) for sheet in found_sheets(record)),
        tuple(_pair(record, sheet, answers) for sheet in found_sheets(record)),
        record.outcome is not None,
    )


def _terminals(sheet: SheetRecord, chosen: tuple[str, ...]) -> ConnectorTerminals:
    """The choice of terminals; a pin without its sheet was written down by an older version."""
    lines = wire_lines(sheet.connector.terminals)
    keys = [terminal_key(sheet, each.pin) for each in lines]
    return ConnectorTerminals(
        sheet.connector.name,
        tuple(
            TerminalChoice(key, each, key in chosen or each.pin in chosen)
            for key, each in zip(keys, lines, strict=True)
        ),
    )


def _pair(record: JobRecord, found: SheetRecord, answers: AnswerDesk) -> PairView:
    again = next((s for s in record.sheets if s.repeats == found.key), None)
    if again is None:
        return PairView(found.connector.name, found.key, "", (), Markup(""))
    cells = compare_sheets(found, again)
    picture = Markup("")
    if any(each.after for each in cells):
        stored = answers.latest(found.key)
        drawn = comparison_picture(
            record.job_of(found), record.job_of(again), stored.answer if stored else None
        )
        # Drawn by this program, which escapes every text that it puts in.
        picture = Markup(drawn)  # noqa: S704
    return PairView(found.connector.name, found.key, again.key, cells, picture)
