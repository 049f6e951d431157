"""The sheet at the vehicle: its page, the pieces that scripts renew, and forms that need none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from backprobe.errors import BackprobeError, NotFoundError, ValueOutOfRange
from backprobe.job import Round
from backprobe.job.model import LOAD_OHMS
from backprobe.quantities import parse_quantity
from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.job_book import JobBook
from backprobe.services.settings import costs_in_force
from backprobe.services.words import quantity_words
from backprobe.store.events import newest_event
from backprobe.store.record import RoundRecord, SheetRecord
from backprobe.vocabulary import ACTIONS, BATTERY_NEGATIVE, KEYS
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.at_hand import LiveAtHand
from backprobe.web.known_view import KnownView, known_view
from backprobe.web.live import Live
from backprobe.web.pages import pages_of
from backprobe.web.sheet_view import AT_PINS, PAD_UNITS, Cell, SheetView, sheet_view
from backprobe.web.visitor import AnyVisitor

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class SheetPage:
    """Everything on the page of a sheet."""

    sheet: SheetView
    known: KnownView | None
    after: int  # number of the last change that the page shows
    quantities: tuple[tuple[str, str, str], ...]  # key, words, units, of what is read at a pin


def _quantities() -> tuple[tuple[str, str, str], ...]:
    units = {"hertz": "hertz", "duty_percent": "percent", "harness_ohms": "ohm"}
    return tuple(
        (key, quantity_words(key), " ".join(PAD_UNITS[units.get(key, "volt")])) for key in AT_PINS
    )


def _page(key: str, book: JobBook, answers: AnswerDesk) -> SheetPage:
    with book.store.read() as session:
        after = newest_event(session)
    job_key, head, sheet = book.sheet(key)
    record = book.job(job_key)
    current = answers.current(key)
    stored = current or answers.latest(key)
    if current is None:
        answers.ask(key)
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
    )
    return SheetPage(view, known, after, _quantities())


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


# ------------------------------------------------------------------ one cell, without scripts
@dataclass(frozen=True, slots=True)
class EntryPage:
    """The form for one reading."""

    sheet: str
    round: str
    title: str
    quantity: str
    place: str
    written: str
    seen: str
    unit: str
    quantities: tuple[tuple[str, str, str], ...]
    error: BackprobeError | None = None


def _entry_page(
    book: JobBook, round_key: str, quantity: str, place: str, written: str = ""
) -> EntryPage:
    sheet, record = _round(book, round_key)
    view = next(
        (c for c in _cells(book, sheet, round_key) if (c.quantity, c.place) == (quantity, place)),
        None,
    )
    standing = [e for e in record.cell(quantity, place) if e.stands]
    return EntryPage(
        sheet=sheet.key,
        round=round_key,
        title=f"Round {record.round.name}: {quantity_words(quantity)}"
        + (f" at {place}" if place else ""),
        quantity=quantity,
        place=place,
        written=written or (view.text if view is not None else ""),
        seen=",".join(str(e.id) for e in standing),
        unit=view.units[0] if view is not None else "",
        quantities=_quantities() if place in sheet.connector.pins else (),
    )


def _cells(book: JobBook, sheet: SheetRecord, round_key: str) -> list[Cell]:
    job_key, head, _ = book.sheet(sheet.key)
    view = sheet_view(job_key, head, sheet, None, is_open=True)
    at = next(i for i, column in enumerate(view.columns) if column.key == round_key)
    return [cell for row in view.rows for cell in row.cells[at]]


def _round(book: JobBook, round_key: str) -> tuple[SheetRecord, RoundRecord]:
    _, _, sheet = book.sheet(book.sheet_of_round(round_key))
    return sheet, next(r for r in sheet.rounds if r.key == round_key)


@router.get("/rounds/{key}/entry")
def entry_form(
    key: str,
    request: Request,
    book: BookAtHand,
    quantity: Annotated[str, Query(max_length=60)],
    place: Annotated[str, Query(max_length=60)] = "",
) -> HTMLResponse:
    """The form for one reading."""
    return pages_of(request).page(request, "entry.html", _entry_page(book, key, quantity, place))


@router.post("/rounds/{key}/entry")
def enter(
    key: str,
    request: Request,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    quantity: Annotated[str, Form(max_length=60)],
    written: Annotated[str, Form(max_length=60)] = "",
    place: Annotated[str, Form(max_length=60)] = "",
    seen: Annotated[str, Form(max_length=500)] = "",
    take_back: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Write a reading and go back to the sheet."""
    numbers = [int(each) for each in seen.split(",") if each.isascii() and each.isdecimal()]
    try:
        entered = book.enter(
            key,
            (quantity, place),
            None if take_back else written,
            seen=numbers,
            device=visitor.name,
        )
    except ValueOutOfRange as error:
        page = _entry_page(book, key, quantity, place, written)
        page = replace(page, error=error)
        return pages_of(request).page(request, "entry.html", page, status=422)
    answers.ask(entered.sheet)
    live.wake()
    return RedirectResponse(f"/sheets/{entered.sheet}", 303)


# ------------------------------------------------------------------ rounds
@dataclass(frozen=True, slots=True)
class RoundPage:
    """The form for a round's state, as it was filled in."""

    job: str
    sheet: str
    connector: str
    round: str  # key; empty for a new one
    name: str
    plugged: str
    key: str
    rpm: str
    action: str
    black_lead: str
    ambient: str
    load: str
    fitted: str
    note: str
    void: str
    black_leads: tuple[str, ...]
    error: BackprobeError | None = None
    keys: tuple[str, ...] = KEYS
    actions: tuple[str, ...] = ACTIONS


_BLACK_LEADS = (BATTERY_NEGATIVE, "sensor ground at the connector", "engine block", "body")


class RoundForm(BaseModel):
    """A round's state as it comes from its form."""

    name: Annotated[str, Field(max_length=60)] = ""
    plugged: Annotated[str, Field(max_length=10)] = ""
    key: Annotated[str, Field(max_length=10)] = ""
    rpm: Annotated[str, Field(max_length=20)] = ""
    action: Annotated[str, Field(max_length=30)] = ""
    black_lead: Annotated[str, Field(max_length=200)] = BATTERY_NEGATIVE
    other_point: Annotated[str, Field(max_length=200)] = ""
    ambient: Annotated[str, Field(max_length=20)] = ""
    load: Annotated[str, Field(max_length=20)] = ""
    note: Annotated[str, Field(max_length=5000)] = ""

    def round(self) -> Round:
        """The state; what isn't a number is told with its field."""
        if self.plugged not in ("yes", "no"):
            raise ValueOutOfRange(
                "It isn't said whether the sensor is plugged in.", remedy="Choose one of the two."
            )
        running = self.key in ("run", "crank")
        return Round(
            name=self.name,
            plugged=self.plugged == "yes",
            key=self.key,
            rpm=parse_quantity(self.rpm, "rpm").value if running and self.rpm.strip() else 0.0,
            action=self.action,
            black_lead=self.other_point.strip() or self.black_lead,
            ambient_celsius=(
                parse_quantity(self.ambient, "celsius").value if self.ambient.strip() else None
            ),
            load_ohms=parse_quantity(self.load, "ohm").value if self.load.strip() else LOAD_OHMS,
            note=self.note,
        )

    def page(
        self, sheet: SheetRecord, round_key: str, error: BackprobeError | None = None
    ) -> RoundPage:
        """The form again, with what was filled in."""
        return RoundPage(
            job="",
            sheet=sheet.key,
            connector=sheet.connector.name,
            round=round_key,
            name=self.name,
            plugged=self.plugged,
            key=self.key,
            rpm=self.rpm,
            action=self.action,
            black_lead=self.other_point or self.black_lead,
            ambient=self.ambient,
            load=self.load,
            fitted="",
            note=self.note,
            void="",
            black_leads=_points(sheet),
            error=error,
        )


def _points(sheet: SheetRecord) -> tuple[str, ...]:
    """Points for the black lead: usual ones, and those used on this sheet."""
    used = [r.round.black_lead for r in sheet.rounds]
    return tuple(dict.fromkeys((*_BLACK_LEADS, *used)))


@router.get("/sheets/{key}/rounds/new")
def new_round(
    key: str,
    request: Request,
    book: BookAtHand,
    plugged: Annotated[str, Query(max_length=10)] = "",
    at: Annotated[str, Query(alias="key", max_length=10)] = "on",
    rpm: Annotated[str, Query(max_length=20)] = "",
    action: Annotated[str, Query(max_length=30)] = "",
) -> HTMLResponse:
    """The form for a new round; the black lead stays where it was."""
    _, _, sheet = book.sheet(key)
    lead = sheet.rounds[-1].round.black_lead if sheet.rounds else BATTERY_NEGATIVE
    shown = "" if rpm in ("", "0") else rpm
    form = RoundForm(plugged=plugged, key=at, rpm=shown, action=action, black_lead=lead)
    return pages_of(request).page(request, "round.html", form.page(sheet, ""))


@router.post("/sheets/{key}/rounds")
def begin_round(
    key: str,
    request: Request,
    book: BookAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    form: Annotated[RoundForm, Form()],
) -> Response:
    """Begin a round and go back to the sheet."""
    try:
        found = book.add_round(key, form.round(), device=visitor.name)
    except NotFoundError:
        raise
    except BackprobeError as error:
        page = form.page(book.sheet(key)[2], "", error)
        return pages_of(request).page(request, "round.html", page, status=422)
    live.wake()
    return RedirectResponse(f"/sheets/{key}#round-{found}", 303)


@router.get("/rounds/{key}")
def show_round(key: str, request: Request, book: BookAtHand) -> HTMLResponse:
    """A round's state, to be changed, voided or counted again."""
    return pages_of(request).page(request, "round.html", _round_page(book, key))


def _round_page(book: JobBook, key: str, error: BackprobeError | None = None) -> RoundPage:
    sheet, record = _round(book, key)
    each = record.round
    return RoundPage(
        job=book.sheet(sheet.key)[0],
        sheet=sheet.key,
        connector=sheet.connector.name,
        round=key,
        name=each.name,
        plugged="yes" if each.plugged else "no",
        key=each.key,
        rpm=f"{each.rpm:g}" if each.rpm else "",
        action=each.action,
        black_lead=each.black_lead,
        ambient="" if each.ambient_celsius is None else f"{each.ambient_celsius:g}",
        load=f"{each.load_ohms:g}",
        fitted=", ".join(f"{f.ohms:g} ohm from {f.start} to {f.end}" for f in each.fitted),
        note=each.note,
        void=each.void,
        black_leads=_points(sheet),
        error=error,
    )


@router.post("/rounds/{key}")
def change_round(
    key: str,
    request: Request,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    form: Annotated[RoundForm, Form()],
) -> Response:
    """Write a round's state anew."""
    sheet, record = _round(book, key)
    try:
        old, state = record.round, form.round()
        kept = replace(state, fitted=old.fitted, name=state.name.strip() or old.name)
        book.change_round(key, kept, device=visitor.name)
    except BackprobeError as error:
        page = form.page(sheet, key, error)
        return pages_of(request).page(request, "round.html", page, status=422)
    return _back(sheet.key, answers, live)


@router.post("/rounds/{key}/void")
def void_round(
    key: str,
    request: Request,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    reason: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Take a round out of the reasoning."""
    try:
        book.void_round(key, reason, device=visitor.name)
    except ValueOutOfRange as error:
        page = _round_page(book, key, error)
        return pages_of(request).page(request, "round.html", page, status=422)
    return _back(book.sheet_of_round(key), answers, live)


@router.post("/rounds/{key}/count-again")
def count_again(
    key: str, book: BookAtHand, answers: AnswersAtHand, live: LiveAtHand, visitor: AnyVisitor
) -> Response:
    """Let a void round count again."""
    book.count_again(key, device=visitor.name)
    return _back(book.sheet_of_round(key), answers, live)


@router.post("/rounds/{key}/undo")
def undo(
    key: str,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    entry: Annotated[int, Form(ge=1, lt=2**53)],
) -> Response:
    """Put back what stood in a cell before its last entry."""
    found = book.undo(key, entry, device=visitor.name)
    return _back(found.sheet, answers, live)


# ------------------------------------------------------------------ readings set aside
@router.post("/sheets/{key}/set-aside")
def set_aside(
    key: str,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    quantity: Annotated[str, Form(max_length=60)] = "",
    place: Annotated[str, Form(max_length=60)] = "",
    state: Annotated[str, Form(max_length=60)] = "",
) -> Response:
    """Have another reading proposed in place of one that can't be had."""
    book.set_aside(
        key,
        quantity=quantity,
        place=place,
        state=state,
        reason="can't reach it",
        device=visitor.name,
    )
    return _back(key, answers, live, "#next")


@router.post("/sheets/{key}/take-up-again")
def take_up_again(
    key: str,
    book: BookAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
    number: Annotated[int, Form(ge=1, lt=2**53)],
) -> Response:
    """Let a reading be proposed again."""
    book.take_up_again(key, number, device=visitor.name)
    return _back(key, answers, live, "#next")


def _back(sheet: str, answers: AnswerDesk, live: Live, where: str = "") -> Response:
    answers.ask(sheet)
    live.wake()
    return RedirectResponse(f"/sheets/{sheet}{where}", 303)
