"""Sensor curves: what a reading means, which curve and pull-up fit. Works without scripts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from backprobe.curves.curve_file import AnyCurve
from backprobe.curves.loader import curve_named, load_curves
from backprobe.quantities import parse_quantity
from backprobe.services.curve_fitting import FitAnswer, fit_points
from backprobe.services.curve_points import parse_feed, parse_points, parse_reading
from backprobe.services.curve_table import curve_rows
from backprobe.services.job_book import JobBook
from backprobe.services.pictures.curve_picture import curve_picture
from backprobe.services.sensor_curves import Converted, Feed, Reading, convert
from backprobe.services.words import percent
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import UNUSABLE, FormView, Mistakes
from backprobe.web.visitor import AnyVisitor

router = APIRouter(include_in_schema=False)
USUAL_CURVE: Final = "ntc-2k5-at-20"
LONGEST_FIELD, LONGEST_POINTS = 60, 2000
MEANS, FIT = "means", "fit"


@dataclass(frozen=True, slots=True)
class CandidateView:
    """One curve held against the points."""

    id: str
    title: str
    said: str
    share: str
    is_excluded: bool


@dataclass(frozen=True, slots=True)
class CurvesView:
    """Everything on the page of curves."""

    form: FormView
    job: str
    title: str
    curve: AnyCurve
    converted: Converted | None
    fit: FitAnswer | None
    picture: Markup
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def curves(self) -> tuple[tuple[str, str], ...]:
        """All curves that can be chosen."""
        return tuple((curve.id, curve.title) for curve in load_curves())

    @property
    def candidates(self) -> tuple[CandidateView, ...]:
        """Curves held against the points."""
        return tuple(
            CandidateView(
                line.curve, line.title, line.said, percent(line.probability), line.is_excluded
            )
            for line in (self.fit.candidates if self.fit is not None else ())
        )


@router.get("/curves")
def curves_page(
    request: Request,
    book: BookAtHand,
    _visitor: AnyVisitor,
    job: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Show both forms, and the answer to the one that was sent."""
    given = request.query_params
    values = {name: text.strip()[:LONGEST_FIELD] for name, text in given.items()}
    values["points"] = given.get("points", "").replace("\r\n", "\n")[:LONGEST_POINTS]
    values.setdefault("curve", USUAL_CURVE)
    wrong = Mistakes()
    curve = wrong.take("curve", lambda: curve_named(values["curve"]), curve_named(USUAL_CURVE))
    feed = _feed(values, wrong)
    converted = _converted(values, curve, feed, wrong)
    fit = _fit(values, wrong)
    marked = _marked(values, converted)
    heads, rows = curve_rows(curve, feed)
    view = CurvesView(
        FormView(values, wrong.found),
        job,
        _title(book, job),
        curve,
        converted,
        fit,
        Markup(curve_picture(curve, feed, marked)),  # noqa: S704 - the canvas escapes every word
        heads,
        tuple(rows),
    )
    status = UNUSABLE if wrong.found else 200
    return pages_of(request).page(request, "curves.html", view, status=status)


def _feed(values: dict[str, str], wrong: Mistakes) -> Feed | None:
    """Pull-up and supply; what is wrong is said beside the one that it is about."""
    nothing: Feed | None = None
    feed = wrong.take("pull_up", lambda: parse_feed(values.get("pull_up", ""), ""), nothing)
    if feed is None or not values.get("supply"):
        return feed
    return wrong.take("supply", lambda: parse_feed(values["pull_up"], values["supply"]), nothing)


def _title(book: JobBook, key: str) -> str:
    return book.job(key).head.title if key else ""


def _converted(
    values: dict[str, str], curve: AnyCurve, feed: Feed | None, wrong: Mistakes
) -> Converted | None:
    """What the reading means; None where none was asked for or it can't be told."""
    if values.get("do") != MEANS or wrong.found:
        return None
    return wrong.take(
        "reading", lambda: convert(curve, parse_reading(values.get("reading", "")), feed), None
    )


def _fit(values: dict[str, str], wrong: Mistakes) -> FitAnswer | None:
    if values.get("do") != FIT:
        return None
    supply = wrong.take(
        "fit_supply", lambda: parse_quantity(values.get("fit_supply") or "5 V", "volt").value, 0.0
    )
    if wrong.found:
        return None
    lines = values["points"].splitlines()
    return wrong.take("points", lambda: fit_points(parse_points(lines), supply), None)


def _marked(values: dict[str, str], converted: Converted | None) -> tuple[float, float] | None:
    """Where the reading stands on the picture: degC and ohm, or quantity and output."""
    if converted is None:
        return None
    read: Reading = parse_reading(values["reading"])
    if converted.ohm is not None:
        return (read.value if read.unit == "celsius" else converted.value), converted.ohm
    if converted.unit in {"hertz", "volt"}:
        return read.value, converted.value
    return converted.value, read.value
