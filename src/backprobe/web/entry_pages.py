"""One reading of a sheet: its form, which needs no script, and its pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.services.job_book import JobBook
from backprobe.store.record import SheetRecord
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.pages import pages_of
from backprobe.web.sheet_pieces import (
    PictureLine,
    back_to,
    picture_lines,
    pin_quantities,
    reading_title,
    round_of,
)
from backprobe.web.sheet_view import Cell, sheet_view

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class EntryPage:
    """The form for one reading."""

    job: str
    sheet: str
    round: str
    title: str
    quantity: str
    place: str
    written: str
    seen: str
    unit: str
    quantities: tuple[tuple[str, str, str], ...]
    pictures: tuple[PictureLine, ...]
    takes_pictures: bool
    error: BackprobeError | None = None


def _entry_page(
    book: JobBook, round_key: str, quantity: str, place: str, written: str = ""
) -> EntryPage:
    sheet, record = round_of(book, round_key)
    job = book.job(book.sheet(sheet.key)[0])
    view = next(
        (c for c in _cells(book, sheet, round_key) if (c.quantity, c.place) == (quantity, place)),
        None,
    )
    standing = [e for e in record.cell(quantity, place) if e.stands]
    return EntryPage(
        job=job.key,
        sheet=sheet.key,
        round=round_key,
        title=f"Round {record.round.name}: {reading_title(quantity, place)}",
        quantity=quantity,
        place=place,
        written=written or (view.text if view is not None else ""),
        seen=",".join(str(e.id) for e in standing),
        unit=view.units[0] if view is not None else "",
        quantities=pin_quantities() if place in sheet.connector.pins else (),
        pictures=picture_lines(
            each
            for each in job.pictures_of(round_key)
            if (each.quantity, each.place) == (quantity, place)
        ),
        takes_pictures=job.closed_at is None,
    )


def _cells(book: JobBook, sheet: SheetRecord, round_key: str) -> list[Cell]:
    job_key, head, _ = book.sheet(sheet.key)
    view = sheet_view(job_key, head, sheet, None, is_open=True)
    at = next(i for i, column in enumerate(view.columns) if column.key == round_key)
    return [cell for row in view.rows for cell in row.cells[at]]


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
    change: ChangeAtHand,
    quantity: Annotated[str, Form(max_length=60)],
    written: Annotated[str, Form(max_length=60)] = "",
    place: Annotated[str, Form(max_length=60)] = "",
    seen: Annotated[str, Form(max_length=500)] = "",
    take_back: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Write a reading and go back to the sheet."""
    numbers = [int(each) for each in seen.split(",") if each.isascii() and each.isdecimal()]
    try:
        entered = change.book.enter(
            key,
            (quantity, place),
            None if take_back else written,
            seen=numbers,
            device=change.device,
        )
    except ValueOutOfRange as error:
        page = _entry_page(change.book, key, quantity, place, written)
        page = replace(page, error=error)
        return pages_of(request).page(request, "entry.html", page, status=422)
    change.told_of(entered.sheet)
    return RedirectResponse(f"/sheets/{entered.sheet}", 303)


@router.post("/rounds/{key}/undo")
def undo(
    key: str,
    change: ChangeAtHand,
    entry: Annotated[int, Form(ge=1, lt=2**53)],
) -> Response:
    """Put back what stood in a cell before its last entry."""
    found = change.book.undo(key, entry, device=change.device)
    return back_to(change, found.sheet)
