"""What somebody knows of a proposed reading already: its value, or what the wire is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from backprobe.errors import BackprobeError, NotFoundError, ValueOutOfRange
from backprobe.job import Round
from backprobe.services.job_book import JobBook
from backprobe.services.known_reading import enter_known
from backprobe.services.words import role_words, state_words
from backprobe.store.cells import SCAN
from backprobe.store.record import SheetRecord
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.pages import pages_of
from backprobe.web.sheet_pieces import back_to, black_lead_points, reading_title

router = APIRouter(include_in_schema=False)
ROLE_CHOICES = tuple((role, role_words(role)) for role in ROLES)
Word = Annotated[str, Field(max_length=60)]


class Wanted(BaseModel):
    """A proposed reading as an address or a form carries it."""

    quantity: Word
    place: Word = ""
    plugged: Annotated[str, Field(pattern="^(yes|no)$")]
    key: Word
    rpm: Annotated[float, Field(ge=0, le=20_000, allow_inf_nan=False)] = 0.0
    action: Word = ""

    def state(self, black_lead: str) -> Round:
        """The state in which it is read."""
        return Round(
            name="",
            plugged=self.plugged == "yes",
            key=self.key,
            rpm=self.rpm if self.key in ("run", "crank") else 0.0,
            action=self.action,
            black_lead=black_lead,
        )


class Known(Wanted):
    """What is known of it."""

    written: Word = ""
    black_lead: Annotated[str, Field(max_length=200)] = BATTERY_NEGATIVE


class KnownRole(Wanted):
    """What a diagram says of its wire."""

    role: Word = ""


@dataclass(frozen=True, slots=True)
class WirePart:
    """A terminal of the reading, and what a diagram says of it so far."""

    pin: str
    role: str


@dataclass(frozen=True, slots=True)
class KnownReadingPage:
    """The two ways to tell what is known."""

    sheet: str
    connector: str
    title: str
    state: str
    wanted: Wanted
    written: str
    black_lead: str
    black_leads: tuple[str, ...]
    is_reported: bool  # by the control unit: there is no black lead
    wires: tuple[WirePart, ...]
    error: BackprobeError | None = None
    roles: tuple[tuple[str, str], ...] = ROLE_CHOICES


def _page(sheet: SheetRecord, wanted: Wanted, error: BackprobeError | None) -> KnownReadingPage:
    ends = wanted.place.split("-")
    lead = sheet.rounds[-1].round.black_lead if sheet.rounds else BATTERY_NEGATIVE
    return KnownReadingPage(
        sheet=sheet.key,
        connector=sheet.connector.name,
        title=reading_title(wanted.quantity, wanted.place),
        state=state_words(
            plugged=wanted.plugged == "yes", key=wanted.key, rpm=wanted.rpm, action=wanted.action
        ),
        wanted=wanted,
        written=wanted.written if isinstance(wanted, Known) else "",
        black_lead=wanted.black_lead if isinstance(wanted, Known) else lead,
        black_leads=black_lead_points(sheet),
        is_reported=wanted.quantity == SCAN,
        wires=tuple(
            WirePart(each.pin, each.diagram)
            for each in sheet.connector.terminals
            if each.pin in ends
        ),
        error=error,
    )


@router.get("/sheets/{key}/known-reading")
def known_reading(
    key: str, request: Request, book: BookAtHand, wanted: Annotated[Wanted, Query()]
) -> HTMLResponse:
    """Ask for what is known."""
    page = _page(book.sheet(key)[2], wanted, None)
    return pages_of(request).page(request, "known_reading.html", page)


@router.post("/sheets/{key}/known-reading")
def enter(
    key: str,
    request: Request,
    change: ChangeAtHand,
    given: Annotated[Known, Form()],
) -> Response:
    """Write the value where it belongs, and have the next reading proposed."""
    cell, state = (given.quantity, given.place), given.state(given.black_lead)
    try:
        enter_known(change.book, key, state, cell, given.written, device=change.device)
    except ValueOutOfRange as error:
        page = _page(change.book.sheet(key)[2], given, error)
        return pages_of(request).page(request, "known_reading.html", page, status=422)
    return back_to(change, key, "#next")


@router.post("/sheets/{key}/known-role/{pin}")
def tell_role(
    key: str,
    pin: str,
    request: Request,
    change: ChangeAtHand,
    given: Annotated[KnownRole, Form()],
) -> Response:
    """Take the role that a diagram gives a wire, as a witness beside the readings."""
    try:
        _tell_role(change.book, key, pin, given.role, change.device)
    except ValueOutOfRange as error:
        page = _page(change.book.sheet(key)[2], given, error)
        return pages_of(request).page(request, "known_reading.html", page, status=422)
    return back_to(change, key, "#next")


def _tell_role(book: JobBook, key: str, pin: str, role: str, device: str) -> None:
    connector = book.sheet(key)[2].connector
    if pin not in connector.pins:
        raise NotFoundError("There is no such terminal.", remedy="Load the sheet again.")
    told = tuple(
        replace(each, diagram=role) if each.pin == pin else each for each in connector.terminals
    )
    book.change_connector(key, replace(connector, terminals=told), device=device)
