"""Fuel trims: typed at three points, explained on the same page. Works without scripts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from backprobe.errors import UsageError
from backprobe.services.job_book import JobBook
from backprobe.services.pictures.trim_picture import trim_picture
from backprobe.services.trim_entry import metering_of, total_of
from backprobe.services.trim_frames import frame_cells
from backprobe.services.trim_review import TrimReview, review_trims
from backprobe.services.trim_table import STANDARD_POINTS, TrimCell, TrimTable, joined, typed_table
from backprobe.services.trim_tests import TESTS, TrimTest
from backprobe.services.words import gain_words, minutes_words
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import UNUSABLE, FormView, Mistakes
from backprobe.web.visitor import AnyVisitor

router = APIRouter(include_in_schema=False)
BANKS: Final = (1, 2)
LONGEST: Final = 40  # signs in a field
_METERING_SAID: Final = {
    "": "not known",
    "air-mass": "by an air-mass sensor",
    "pressure": "by manifold pressure",
}


@dataclass(frozen=True, slots=True)
class PointRow:
    """One point of the form: names of its two fields."""

    name: str
    label: str
    words: str

    @property
    def fields(self) -> tuple[tuple[int, str], ...]:
        """Bank and name of its field."""
        return tuple((bank, field_name(self.name, bank)) for bank in BANKS)


@dataclass(frozen=True, slots=True)
class NextView:
    """A test worth doing, as the page words it."""

    words: str
    about: str
    outcomes: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrimsView:
    """Everything on the page of fuel trims."""

    form: FormView
    job: str  # key; empty without one
    title: str
    frames: tuple[str, ...]
    review: TrimReview | None
    picture: Markup
    next: tuple[NextView, ...]

    @property
    def rows(self) -> tuple[PointRow, ...]:
        """The points of the form."""
        return tuple(PointRow(p.name, p.label, p.words) for p in STANDARD_POINTS)

    @property
    def meterings(self) -> tuple[tuple[str, str], ...]:
        """Ways to meter air."""
        return tuple(_METERING_SAID.items())

    @property
    def tests(self) -> tuple[tuple[str, TrimTest], ...]:
        """Tests that may have been done, with the names of their fields."""
        return tuple((finding_name(test.name), test) for test in TESTS)

    @property
    def has_findings(self) -> bool:
        """Whether one was given."""
        return any(self.form.value(name) for name, _ in self.tests)


def field_name(point: str, bank: int) -> str:
    """Name of the field of a point and bank."""
    return f"trim-{point}-{bank}"


def finding_name(test: str) -> str:
    """Name of the field of a test."""
    return f"found-{test.replace(' ', '-')}"


@router.get("/trims")
def trims_page(
    request: Request,
    book: BookAtHand,
    _visitor: AnyVisitor,
    job: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Show the form, and what the trims in it mean."""
    values = {name: text.strip()[:LONGEST] for name, text in request.query_params.items()}
    title, frames = _of_job(book, job)
    wrong = Mistakes()
    table = wrong.take("trims", lambda: _table(values, frames, wrong), None)
    findings = {
        test.name: values[finding_name(test.name)]
        for test in TESTS
        if values.get(finding_name(test.name))
    }
    review = None
    if table is not None and not wrong.found:
        review = wrong.take("trims", lambda: review_trims(table, findings), None)
    view = TrimsView(
        FormView(values, wrong.found),
        job,
        title,
        tuple(cell.name for cell in frames),
        review,
        _picture(table) if review is not None else Markup(),
        tuple(_next_view(review)) if review is not None else (),
    )
    status = UNUSABLE if wrong.found else 200
    return pages_of(request).page(request, "trims.html", view, status=status)


def _picture(table: TrimTable | None) -> Markup:
    return Markup(trim_picture(table)) if table else Markup()  # noqa: S704 - the canvas escapes


def _of_job(book: JobBook, key: str) -> tuple[str, tuple[TrimCell, ...]]:
    """Title of a job, and the trims in its freeze frames."""
    if not key:
        return "", ()
    head = book.job(key).head
    return head.title, frame_cells(head.codes)


def _table(
    values: dict[str, str], frames: tuple[TrimCell, ...], wrong: Mistakes
) -> TrimTable | None:
    """What was typed, and the freeze frames where they are wanted; None where nothing was."""
    metering = metering_of(values.get("metering", ""))
    typed = {
        point.name: [_trim(values, field_name(point.name, bank), wrong) for bank in BANKS]
        for point in STANDARD_POINTS
    }
    is_typed = any(values.get(field_name(p.name, bank)) for p in STANDARD_POINTS for bank in BANKS)
    kept = frames if values.get("frames") else ()
    if wrong.found or not (is_typed or kept):
        if not wrong.found and values.get("do"):
            raise UsageError("No trim is typed yet.", remedy="Type at least the one at idle.")
        return None
    cells = typed_table(typed, metering).cells if is_typed else ()
    return joined((*cells, *kept), metering)


def _trim(values: dict[str, str], name: str, wrong: Mistakes) -> float:
    text = values.get(name, "")
    return wrong.take(name, lambda: total_of(text), float("nan")) if text else float("nan")


def _next_view(review: TrimReview) -> list[NextView]:
    return [
        NextView(
            test.words,
            f"{minutes_words(test.minutes)}; {gain_words(test.bits)}",
            test.outcomes,
            test.cautions,
        )
        for test in review.next
    ]
