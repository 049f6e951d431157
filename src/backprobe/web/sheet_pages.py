"""The sheet at the vehicle: its page, and the pieces of it that scripts renew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.job_book import JobBook
from backprobe.services.settings import costs_in_force
from backprobe.store.events import newest_event
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.known_view import KnownView, known_view
from backprobe.web.pages import pages_of
from backprobe.web.sheet_pieces import (
    back_to,
    pin_quantities,
)
from backprobe.web.sheet_view import SheetView, sheet_view

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class SheetPage:
    """Everything on the page of a sheet."""

    sheet: SheetView
    known: KnownView | None
    after: int  # number of the last change that the page shows
    quantities: tuple[tuple[str, str, str], ...]  # key, words, units, of what is read at a pin


def _page(key: str, book: JobBook, answers: AnswerDesk) -> SheetPage:
    with book.store.read() as session:
        after = newest_event(session)
    job_key, head, sheet = book.sheet(key)
    record = book.job(job_key)
    current = answers.current_or_asked(key)
    stored = current or answers.latest(key)
    known = None
    if stored is not None:
        with book.store.read() as session:
            costs = costs_in_force(session)
        trouble = answers.trouble.get(key)
        known = known_view(
            record.job_of(sheet),
            stored,
            sheet=key,
            set_aside=sheet.set_aside,
            costs=costs,
            is_current=current is not None,
            trouble="" if trouble is None else str(trouble),
        )
    view = sheet_view(
        job_key,
        head,
        sheet,
        None if stored is None else stored.answer,
        is_open=record.closed_at is None,
        pictures=record.attachments,
    )
    return SheetPage(view, known, after, pin_quantities())


@router.get("/sheets/{key}")
def show(key: str, request: Request, book: BookAtHand, answers: AnswersAtHand) -> HTMLResponse:
    """The whole page."""
    return pages_of(request).page(request, "sheet.html", _page(key, book, answers))


@router.get("/sheets/{key}/table")
def table(key: str, request: Request, book: BookAtHand, answers: AnswersAtHand) -> HTMLResponse:
    """The sheet's table alone."""
    return pages_of(request).page(request, "sheet_table.html", _page(key, book, answers))


@router.get("/sheets/{key}/known")
def known(key: str, request: Request, book: BookAtHand, answers: AnswersAtHand) -> HTMLResponse:
    """What is known alone."""
    return pages_of(request).page(request, "known.html", _page(key, book, answers))


@router.post("/sheets/{key}/set-aside")
def set_aside(
    key: str,
    change: ChangeAtHand,
    quantity: Annotated[str, Form(max_length=60)] = "",
    place: Annotated[str, Form(max_length=60)] = "",
    state: Annotated[str, Form(max_length=60)] = "",
) -> Response:
    """Have another reading proposed in place of one that can't be had."""
    change.book.set_aside(
        key,
        quantity=quantity,
        place=place,
        state=state,
        reason="can't reach it",
        device=change.device,
    )
    return back_to(change, key, "#next")


@router.post("/sheets/{key}/take-up-again")
def take_up_again(
    key: str,
    change: ChangeAtHand,
    number: Annotated[int, Form(ge=1, lt=2**53)],
) -> Response:
    """Let a reading be proposed again."""
    change.book.take_up_again(key, number, device=change.device)
    return back_to(change, key, "#next")
