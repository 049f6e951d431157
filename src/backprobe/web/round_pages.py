"""A round: begun, looked at, changed, voided and counted again."""

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
from backprobe.services.job_book import JobBook
from backprobe.store.record import SheetRecord
from backprobe.vocabulary import ACTIONS, BATTERY_NEGATIVE, KEYS
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.pages import pages_of
from backprobe.web.sheet_pieces import (
    PictureLine,
    back_to,
    black_lead_points,
    picture_lines,
    round_of,
)

router = APIRouter(include_in_schema=False)


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
    pictures: tuple[PictureLine, ...] = ()
    takes_pictures: bool = False
    error: BackprobeError | None = None
    keys: tuple[str, ...] = KEYS
    actions: tuple[str, ...] = ACTIONS


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
            black_leads=black_lead_points(sheet),
            error=error,
        )


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
    change: ChangeAtHand,
    form: Annotated[RoundForm, Form()],
) -> Response:
    """Begin a round and go back to the sheet."""
    try:
        found = change.book.add_round(key, form.round(), device=change.device)
    except NotFoundError:
        raise
    except BackprobeError as error:
        page = form.page(change.book.sheet(key)[2], "", error)
        return pages_of(request).page(request, "round.html", page, status=422)
    change.told()
    return RedirectResponse(f"/sheets/{key}#round-{found}", 303)


@router.get("/rounds/{key}")
def show_round(key: str, request: Request, book: BookAtHand) -> HTMLResponse:
    """A round's state, to be changed, voided or counted again."""
    return pages_of(request).page(request, "round.html", _round_page(book, key))


def _round_page(book: JobBook, key: str, error: BackprobeError | None = None) -> RoundPage:
    sheet, record = round_of(book, key)
    job = book.job(book.sheet(sheet.key)[0])
    each = record.round
    return RoundPage(
        job=job.key,
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
        black_leads=black_lead_points(sheet),
        pictures=picture_lines(job.pictures_of(key)),
        takes_pictures=job.closed_at is None,
        error=error,
    )


@router.post("/rounds/{key}")
def change_round(
    key: str,
    request: Request,
    change: ChangeAtHand,
    form: Annotated[RoundForm, Form()],
) -> Response:
    """Write a round's state anew."""
    sheet, record = round_of(change.book, key)
    try:
        old, state = record.round, form.round()
        kept = replace(state, fitted=old.fitted, name=state.name.strip() or old.name)
        change.book.change_round(key, kept, device=change.device)
    except BackprobeError as error:
        page = form.page(sheet, key, error)
        return pages_of(request).page(request, "round.html", page, status=422)
    return back_to(change, sheet.key)


@router.post("/rounds/{key}/void")
def void_round(
    key: str,
    request: Request,
    change: ChangeAtHand,
    reason: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Take a round out of the reasoning."""
    try:
        change.book.void_round(key, reason, device=change.device)
    except ValueOutOfRange as error:
        page = _round_page(change.book, key, error)
        return pages_of(request).page(request, "round.html", page, status=422)
    return back_to(change, change.book.sheet_of_round(key))


@router.post("/rounds/{key}/count-again")
def count_again(key: str, change: ChangeAtHand) -> Response:
    """Let a void round count again."""
    change.book.count_again(key, device=change.device)
    return back_to(change, change.book.sheet_of_round(key))
