"""The air check: an engine and a few points typed in, answered on the same page, no scripts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from backprobe.services.air_check import AirAnswer, check_air
from backprobe.services.air_prefill import barometer_text, engine_texts, point_texts
from backprobe.services.air_quick_checks import QuickCheck
from backprobe.services.job_book import JobBook
from backprobe.services.pictures.air_picture import air_picture
from backprobe.services.words import percent
from backprobe.vocabulary import ENGINE_CYCLES, FUELS, INDUCTIONS
from backprobe.web.air_form import (
    N_POINT,
    POINT_NAMES,
    SOAKED,
    STILL,
    USUAL_HOURS,
    field_of,
    read_case,
    read_standing,
)
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import UNUSABLE, FormView, Mistakes
from backprobe.web.visitor import AnyVisitor

router = APIRouter(include_in_schema=False)
LONGEST: Final = 40  # signs in a field
_FIELDS: Final = (
    ("speed", "Engine speed", "780 rpm"),
    ("pressure", "Manifold, absolute", "34 kPa"),
    ("temperature", "Intake air", "32 °C"),
    ("flow", "Air by the sensor", "3.2 g/s"),
    ("trim", "Trim, short + long", "+5 %"),
)
_SAID: Final = {"usual": "✓ as usual", "doubtful": "? grey zone", "wrong": "! wrong"}
_CHOICES: Final = {"fuel": FUELS, "induction": INDUCTIONS, "cycle": ENGINE_CYCLES}


@dataclass(frozen=True, slots=True)
class PointForm:
    """One point of the form: legend, and of each field name, label, example."""

    legend: str
    fields: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class CheckView:
    """A quick check with how it came out, in a sign and a word."""

    said: str
    is_wrong: bool
    check: QuickCheck


@dataclass(frozen=True, slots=True)
class AirView:
    """Everything on the page of the air check."""

    form: FormView
    job: str  # key; empty without one
    title: str
    answer: AirAnswer | None
    picture: Markup
    checks: tuple[CheckView, ...]

    @property
    def tone(self) -> str:
        """Class of the notice that holds the answer."""
        if self.answer is None or self.answer.verdict in {"can't tell", "calculated only"}:
            return ""
        return "notice-good" if self.answer.is_sound else "notice-bad"

    @property
    def possible(self) -> tuple[tuple[str, str], ...]:
        """Explanations with their probabilities, in words."""
        found = self.answer.possible if self.answer is not None else ()
        return tuple((percent(each.probability), each.words) for each in found)

    @property
    def points(self) -> tuple[PointForm, ...]:
        """Points that stand open."""
        return tuple(p for p, is_open in self._points() if is_open)

    @property
    def more_points(self) -> tuple[PointForm, ...]:
        """Points that nothing was typed into yet, beyond the first two."""
        return tuple(p for p, is_open in self._points() if not is_open)

    def _points(self) -> list[tuple[PointForm, bool]]:
        found = []
        for place in range(1, N_POINT + 1):
            fields = tuple((field_of(name, place), label, like) for name, label, like in _FIELDS)
            is_open = place <= 2 or any(self.form.value(name) for name, _, _ in fields)
            found.append((PointForm(POINT_NAMES[place - 1], fields), is_open))
        return found

    @property
    def choices(self) -> dict[str, tuple[tuple[str, str], ...]]:
        """Words to choose from, by field."""
        return {name: tuple((word, word) for word in words) for name, words in _CHOICES.items()}

    @property
    def still(self) -> tuple[tuple[str, str], ...]:
        """Fields of pressures with the engine standing."""
        return tuple((field, f"{name.capitalize()} sensor") for field, name in STILL.items())

    @property
    def soaked(self) -> tuple[tuple[str, str], ...]:
        """Fields of temperatures after a cold soak."""
        return tuple((field, f"{name.capitalize()} sensor") for field, name in SOAKED.items())

    @property
    def has_standing(self) -> bool:
        """Whether anything stands in that part."""
        return any(self.form.value(f) or self.form.error(f) for f in (*STILL, *SOAKED))


@router.get("/air")
def air_page(
    request: Request,
    book: BookAtHand,
    _visitor: AnyVisitor,
    job: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Show the form, and what the air in it means; what a job holds stands in it already."""
    asked = {name: text.strip()[:LONGEST] for name, text in request.query_params.items()}
    title, held = _of_job(book, job)
    is_asked = bool(asked.get("do"))
    values = asked if is_asked else {"hours": USUAL_HOURS, **held}
    wrong = Mistakes()
    case = read_case(values, wrong) if is_asked else None
    standing = read_standing(values, wrong) if is_asked else ()
    answer = None
    if case is not None and not wrong.found:
        answer = wrong.take("displacement", lambda: check_air(case), None)
    if is_asked and answer is None and not standing and not wrong.found:
        wrong.found[field_of("speed", 1)] = "Nothing is typed yet. Type at least one point."
    told = (*(answer.checks if answer else ()), *standing)
    view = AirView(
        FormView(values, wrong.found),
        job,
        title,
        answer,
        Markup(air_picture(answer.rows)) if answer else Markup(),  # noqa: S704 - it escapes
        tuple(CheckView(_SAID[c.verdict], c.verdict == "wrong", c) for c in told),
    )
    status = UNUSABLE if wrong.found else 200
    return pages_of(request).page(request, "air.html", view, status=status)


def _of_job(book: JobBook, key: str) -> tuple[str, dict[str, str]]:
    """Title of a job, and what it holds as values of the form."""
    if not key:
        return "", {}
    record = book.job(key)
    jobs = [record.job_of(sheet) for sheet in record.sheets]
    values = engine_texts(record.head.vehicle.engine)
    outside = barometer_text(jobs)
    if outside:
        values["barometer"] = outside
    for place, texts in enumerate(point_texts(jobs, N_POINT), start=1):
        values |= {field_of(name, place): text for name, text in texts.items()}
    return record.head.title, values
