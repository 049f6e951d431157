"""Further witnesses of a sheet: a wiring diagram, and the values that the control unit reports."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.job import Round
from backprobe.services.answer import Answer
from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.job_book import JobBook
from backprobe.services.witnesses import Witness, diagram_witness, scan_witnesses
from backprobe.services.words import role_words, state_words, sure
from backprobe.vocabulary import ROLES, SCAN_NAMES
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.job_form import WireLine, wire_lines
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Mistakes, TypedForm

router = APIRouter(include_in_schema=False)
ROLE_CHOICES = tuple((role, role_words(role)) for role in ROLES)


@dataclass(frozen=True, slots=True)
class TerminalRow:
    """One terminal: what the diagram says, and what the readings say."""

    wire: WireLine
    field: str
    readings: str
    witness: Witness | None


@dataclass(frozen=True, slots=True)
class ScanRow:
    """One value that the control unit reported."""

    round: str
    name: str
    witness: Witness


@dataclass(frozen=True, slots=True)
class WitnessView:
    """Everything on the page of the witnesses."""

    key: str
    job_key: str
    title: str
    connector: str
    is_open: bool
    is_answered: bool
    form: FormView
    terminals: tuple[TerminalRow, ...]
    scans: tuple[ScanRow, ...]
    rounds: tuple[tuple[str, str], ...]  # keys and names of rounds that take values

    @property
    def roles(self) -> tuple[tuple[str, str], ...]:
        """What a diagram can say of a wire."""
        return ROLE_CHOICES

    @property
    def scan_names(self) -> tuple[str, ...]:
        """Values that a control unit reports."""
        return SCAN_NAMES


def latest_answer(answers: AnswerDesk, sheet: str) -> Answer | None:
    """What is known so far; None where nothing was worked out yet."""
    stored = answers.latest(sheet)
    return None if stored is None else stored.answer


@router.get("/sheets/{key}/witnesses")
def witness_page(
    request: Request, key: str, book: BookAtHand, answers: AnswersAtHand
) -> HTMLResponse:
    """Show the witnesses side by side with the readings."""
    answers.current_or_asked(key)
    view = _view(key, book, answers, None)
    return pages_of(request).page(request, "witnesses.html", view)


@router.post("/sheets/{key}/witnesses")
def store_diagram(
    request: Request,
    key: str,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Write down the roles that a wiring diagram gives the wires."""
    _, _, sheet = change.book.sheet(key)
    terminals = tuple(
        replace(each, diagram=typed.text(f"diagram-{i}"))
        for i, each in enumerate(sheet.connector.terminals)
    )
    wrong = Mistakes()
    changed = replace(sheet.connector, terminals=terminals)
    wrong.take(
        "diagram", lambda: change.book.change_connector(key, changed, device=change.device), None
    )
    if wrong.found:
        view = _view(key, change.book, change.answers, FormView(typed.values, wrong.found))
        return pages_of(request).page(request, "witnesses.html", view, status=UNUSABLE)
    change.told_of(key)
    return RedirectResponse(f"/sheets/{key}/witnesses", SEE_OTHER)


def _view(key: str, book: JobBook, answers: AnswerDesk, form: FormView | None) -> WitnessView:
    job_key, head, sheet = book.sheet(key)
    answer = latest_answer(answers, key)
    told = {each.pin: each for each in answer.terminals} if answer else {}
    held = diagram_witness(sheet.connector, answer)
    kept = {f"diagram-{i}": t.diagram for i, t in enumerate(sheet.connector.terminals)}
    rows = tuple(
        TerminalRow(
            wire,
            f"diagram-{i}",
            f"{role_words(told[wire.pin].role)}: {sure(told[wire.pin].probability)}"
            if wire.pin in told
            else "",
            held.get(wire.pin),
        )
        for i, wire in enumerate(wire_lines(sheet.connector.terminals))
    )
    rounds = tuple(each.round for each in sheet.rounds)
    return WitnessView(
        key,
        job_key,
        head.title,
        sheet.connector.name,
        book.job(job_key).closed_at is None,
        answer is not None,
        form or FormView(kept),
        rows,
        tuple(ScanRow(*each) for each in scan_witnesses(rounds, answer)),
        tuple((r.key, _round_words(r.round)) for r in sheet.rounds if not r.round.void),
    )


def _round_words(each: Round) -> str:
    state = state_words(plugged=each.plugged, key=each.key, rpm=each.rpm, action=each.action)
    return f"{each.name}: {state}"
