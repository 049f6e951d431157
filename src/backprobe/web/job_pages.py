"""Pages of jobs: begun, shown, changed, closed and opened again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.services.job_book import JobBook
from backprobe.services.settings import meter_for_new_job, meters
from backprobe.store.columns import now
from backprobe.store.record import JobHead
from backprobe.store.workshop import MeterProfile
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.job_form import (
    AS_IT_IS,
    CHOICES,
    EMPTY_LINES,
    CodeLine,
    WireLine,
    code_lines,
    lines_of_codes,
    read_connector,
    read_head,
    told_lines,
    understood,
    values_of_head,
)
from backprobe.web.job_view import job_view
from backprobe.web.pages import pages_of
from backprobe.web.said_pieces import SaidView, said_of_vin
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Mistakes, Typed, TypedForm

router = APIRouter(include_in_schema=False)
ENGINE_FIELDS = ("displacement", "cylinders", "cycle", "fuel", "induction")


@dataclass(frozen=True, slots=True)
class JobFormView:
    """What the form of a job shows; without a key it is a new one."""

    form: FormView
    codes: tuple[CodeLine, ...]
    meter_options: tuple[tuple[str, str], ...]
    key: str = ""
    title: str = ""
    wires: tuple[WireLine, ...] = ()
    vin: SaidView | None = None

    @property
    def choices(self) -> Mapping[str, tuple[str, ...]]:
        """The words to choose from, by field."""
        return CHOICES

    @property
    def kinds(self) -> tuple[tuple[str, str], ...]:
        """Kinds of connector."""
        return self.pairs("kind")

    def pairs(self, name: str) -> tuple[tuple[str, str], ...]:
        """Values and words of a choice."""
        return tuple((word, word) for word in CHOICES[name])

    @property
    def engine_open(self) -> bool:
        """Whether anything stands in the collapsed part."""
        return any(self.form.value(n) or self.form.error(n) for n in ENGINE_FIELDS)


# ------------------------------------------------------------------ a new job
@router.get("/jobs/new")
def new_job_page(request: Request, book: BookAtHand) -> HTMLResponse:
    """Show the empty form."""
    with book.store.read() as session:
        meter = meter_for_new_job(session)
    values = {
        "opened": now().astimezone().date().isoformat(),
        "kind": "unknown",
        "meter": meter.name,
    }
    blank = tuple(CodeLine() for _ in range(EMPTY_LINES))
    view = JobFormView(FormView(values), blank, _meter_options(_meters(book)))
    return pages_of(request).page(request, "job_form.html", view)


@router.post("/jobs/new")
def begin_job(
    request: Request,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Begin a job with its first connector; nothing is stored before all of it is right."""
    known = _meters(change.book)
    head, wrong = read_head(typed, known)
    connector = read_connector(typed, wrong)
    if wrong.found or typed.text("do"):
        return _again(request, typed, wrong, known)
    key = change.book.begin(head, device=change.device)
    sheet = change.book.add_sheet(key, connector, device=change.device)
    change.told_of(sheet)
    return RedirectResponse(f"/sheets/{sheet}", SEE_OTHER)


def _again(
    request: Request,
    typed: Typed,
    wrong: Mistakes,
    known: tuple[MeterProfile, ...],
    key: str = "",
    before: JobHead | None = None,
) -> HTMLResponse:
    """The form with what was typed: for more lines of codes, or with its mistakes."""
    more = typed.text("do")
    errors: dict[str, str] = {} if more else wrong.found
    filled = code_lines(typed)
    empty = EMPTY_LINES + (EMPTY_LINES if more else 0)
    lines = told_lines(filled, errors) + tuple(CodeLine() for _ in range(empty))
    view = JobFormView(
        FormView(typed.values, errors),
        lines,
        _meter_options(known, before),
        key,
        before.title if before else "",
        understood(typed.text("wires")),
        said_of_vin(typed.text("vin")),
    )
    status = 200 if more else UNUSABLE
    return pages_of(request).page(request, "job_form.html", view, status=status)


def _meters(book: JobBook) -> tuple[MeterProfile, ...]:
    with book.store.read() as session:
        return meters(session)


def _meter_options(
    known: tuple[MeterProfile, ...], before: JobHead | None = None
) -> tuple[tuple[str, str], ...]:
    named = tuple((m.name, m.name + (" (default)" if m.is_default else "")) for m in known)
    usual = (("", "a usual meter, 4000 counts"), *named)
    if before is None:
        return usual
    held = before.meter_name or f"{before.meter.counts} counts, without a name"
    return ((AS_IT_IS, f"as in this job: {held}"), *usual)


# ------------------------------------------------------------------ one job
@router.get("/jobs/{key}")
def job_page(request: Request, key: str, book: BookAtHand) -> HTMLResponse:
    """Show a job."""
    view = job_view(book.job(key, with_events=True))
    return pages_of(request).page(request, "job.html", view)


@router.get("/jobs/{key}/edit")
def edit_page(request: Request, key: str, book: BookAtHand) -> HTMLResponse:
    """Show the form of a job's head."""
    head = book.job(key).head
    lines = told_lines(lines_of_codes(head.codes)) + tuple(CodeLine() for _ in range(EMPTY_LINES))
    view = JobFormView(
        FormView(values_of_head(head)),
        lines,
        _meter_options(_meters(book), head),
        key,
        head.title,
        vin=said_of_vin(head.vehicle.vin),
    )
    return pages_of(request).page(request, "job_form.html", view)


@router.post("/jobs/{key}/edit")
def change_job(
    request: Request,
    key: str,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Write a job's head anew."""
    record, known = change.book.job(key), _meters(change.book)
    head, wrong = read_head(typed, known, record.head)
    if wrong.found or typed.text("do"):
        return _again(request, typed, wrong, known, key, record.head)
    change.book.change(key, head, device=change.device)
    for sheet in record.sheets:
        change.told_of(sheet.key)
    return RedirectResponse(f"/jobs/{key}", SEE_OTHER)


@router.post("/jobs/{key}/close")
def close_job(key: str, change: ChangeAtHand) -> Response:
    """Close a job."""
    change.book.close(key, device=change.device)
    change.told()
    return RedirectResponse(f"/jobs/{key}", SEE_OTHER)


@router.post("/jobs/{key}/reopen")
def reopen_job(key: str, change: ChangeAtHand) -> Response:
    """Open a closed job again."""
    change.book.reopen(key, device=change.device)
    change.told()
    return RedirectResponse(f"/jobs/{key}", SEE_OTHER)
