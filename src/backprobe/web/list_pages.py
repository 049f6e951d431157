"""The list of jobs, and job files taken in from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.job import parse_job
from backprobe.services.job_book import JobBook
from backprobe.services.words import fault_words
from backprobe.store.record import JobLine
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import Change, ChangeAtHand
from backprobe.web.job_view import time_words
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, SentFile, TypedForm, said

router = APIRouter(include_in_schema=False)
ON_A_PAGE: Final = 25
LARGEST_FILE: Final = 1_000_000  # bytes; the largest example has some thousands
State = Literal["", "open", "closed"]
_STATES: Final[tuple[tuple[State, str], ...]] = (
    ("", "All"),
    ("open", "Open"),
    ("closed", "Closed"),
)


@dataclass(frozen=True, slots=True)
class LineView:
    """One job of the list."""

    key: str
    title: str
    vehicle: str
    codes: tuple[str, ...]
    dates: str
    is_open: bool
    outcome: str

    @property
    def state(self) -> str:
        """Open or closed, in a word."""
        return "open" if self.is_open else "closed"


@dataclass(frozen=True, slots=True)
class LinkView:
    """A choice that stands beside others."""

    words: str
    url: str
    is_current: bool = False


@dataclass(frozen=True, slots=True)
class FileView:
    """What became of one file."""

    name: str
    key: str = ""
    title: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True)
class ListView:
    """The list of jobs as it is shown."""

    lines: tuple[LineView, ...]
    found: str
    page: str
    filters: tuple[LinkView, ...]
    q: str = ""
    state: State = ""
    newer: str = ""
    older: str = ""
    files: tuple[FileView, ...] = ()

    @property
    def is_searched(self) -> bool:
        """Whether less than everything was asked for."""
        return bool(self.q or self.state)


@router.get("/")
def list_page(
    request: Request,
    book: BookAtHand,
    q: Annotated[str, Query(max_length=200)] = "",
    state: State = "",
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> HTMLResponse:
    """Show the jobs in which all words occur, the last changed first."""
    return pages_of(request).page(request, "jobs.html", _list(book, q, state, page))


def _list(
    book: JobBook, q: str = "", state: State = "", page: int = 1, files: tuple[FileView, ...] = ()
) -> ListView:
    is_open = None if not state else state == "open"
    start = (page - 1) * ON_A_PAGE
    lines, count = book.listed(q, is_open=is_open, limit=ON_A_PAGE, offset=start)
    last = max(1, -(-count // ON_A_PAGE))
    return ListView(
        tuple(_line(line) for line in lines),
        f"{count} {'job' if count == 1 else 'jobs'}, the last changed first.",
        f"Page {page} of {last}" if last > 1 else "",
        tuple(LinkView(words, _url(q, each), each == state) for each, words in _STATES),
        q,
        state,
        newer=_url(q, state, page - 1) if page > 1 else "",
        older=_url(q, state, page + 1) if page < last else "",
        files=files,
    )


def _line(line: JobLine) -> LineView:
    about = " ".join(part for part in (line.vehicle, line.vin) if part)
    opened = f"opened {line.opened.isoformat()}, " if line.opened else ""
    return LineView(
        line.key,
        line.title,
        about,
        line.codes,
        f"{opened}last change {time_words(line.changed_at)}",
        line.closed_at is None,
        fault_words(line.outcome) if line.outcome else "",
    )


def _url(q: str, state: str, page: int = 1) -> str:
    parts = {"q": q, "state": state, "page": str(page) if page > 1 else ""}
    query = urlencode({name: value for name, value in parts.items() if value})
    return f"/?{query}" if query else "/"


@router.post("/jobs/import")
def take_in_files(request: Request, typed: TypedForm, change: ChangeAtHand) -> Response:
    """Take job files in; each by itself, so that a bad one doesn't hold up the others."""
    taken = tuple(_take_in(each, change) for each in typed.files)
    change.told()
    if len(taken) == 1 and taken[0].key:
        return RedirectResponse(f"/jobs/{taken[0].key}", SEE_OTHER)
    files = taken or (FileView("No file", error="Choose one or several job files first."),)
    status = UNUSABLE if any(each.error for each in files) else 200
    return pages_of(request).page(
        request, "jobs.html", _list(change.book, files=files), status=status
    )


def _take_in(file: SentFile, change: Change) -> FileView:
    try:
        job = parse_job(_text(file), file.name)
        key, sheet = change.book.take_in(job, device=change.device)
    except BackprobeError as error:
        place = f"{error.where}: " if error.where and error.where != file.name else ""
        return FileView(file.name, error=f"{place}{said(error)}")
    change.answers.ask(sheet)
    return FileView(file.name, key, job.title)


def _text(file: SentFile) -> str:
    if len(file.content) > LARGEST_FILE:
        raise ValueOutOfRange(
            "This is too large for a job file.", remedy="Choose the .toml file of a job."
        )
    try:
        return file.content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueOutOfRange(
            "This isn't a text file.", remedy="Choose the .toml file of a job."
        ) from error
