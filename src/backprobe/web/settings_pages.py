"""What the workshop sets for itself: meters, costs, limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, NotFoundError
from backprobe.job import Meter
from backprobe.quantities import format_quantity
from backprobe.services.costs import AMOUNTS, DEFAULT_COSTS, HOUR, MATERIAL, PACE, RETURN_VISIT
from backprobe.services.job_book import JobBook
from backprobe.services.limits import LIMITS
from backprobe.services.settings import (
    COSTS_NAME,
    CURRENCY,
    LIMITS_NAME,
    METER_FIELDS,
    costs_in_force,
    costs_of,
    forget_meter,
    keep_costs,
    keep_limits,
    keep_meter,
    limits_in_force,
    limits_of,
    meter_of,
    meters,
    reset,
)
from backprobe.store.workshop import MeterProfile
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import (
    SEE_OTHER,
    UNUSABLE,
    FormView,
    Mistakes,
    TypedForm,
    said,
)

router = APIRouter(include_in_schema=False, prefix="/settings")
MAIN_AMOUNTS: Final = (HOUR, RETURN_VISIT, MATERIAL, PACE)
_METER_HELP: Final[dict[str, str]] = {
    "counts": "The greatest number that the display shows, such as 4000 or 6000.",
    "dc_volts": 'As the data sheet says it: "0.5 % + 2 digits".',
    "ac_volts": "On many meters good to 400 Hz only.",
    "ohms": "",
    "hertz": "",
    "input_resistance": '"10 Mohm" on most; older ones have less and load the circuit.',
}


@dataclass(frozen=True, slots=True)
class AmountRow:
    """One cost that can be set."""

    name: str
    title: str
    unit: str
    usual: str


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit with its own values, and where the usual ones come from."""

    name: str
    title: str
    good: str
    bad: str
    rule: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SettingsView:
    """Everything on the page of settings."""

    meters: tuple[MeterProfile, ...]
    costs: FormView
    limits: FormView
    currency: str

    @property
    def main(self) -> tuple[AmountRow, ...]:
        """The costs that differ most between workshops."""
        return tuple(_amount(name) for name in MAIN_AMOUNTS)

    @property
    def groups(self) -> tuple[tuple[str, tuple[AmountRow, ...]], ...]:
        """The others by kind."""
        found = []
        for prefix, title in (
            ("step ", "Minutes of steps and readings"),
            ("repair ", "Minutes of repairs"),
            ("part ", "Prices of parts"),
        ):
            found.append((title, tuple(_amount(n) for n in AMOUNTS if n.startswith(prefix))))
        return tuple(found)

    @property
    def rows(self) -> tuple[LimitRow, ...]:
        """All limits."""
        return tuple(_limit(name) for name in LIMITS)


@dataclass(frozen=True, slots=True)
class MeterFormView:
    """The form of a meter; ``was`` is empty for a new one."""

    form: FormView
    was: str = ""
    is_default: bool = False

    @property
    def fields(self) -> tuple[tuple[str, str, str], ...]:
        """Name, caption and help of each field."""
        return tuple(
            (name, title[0].upper() + title[1:], _METER_HELP[name])
            for name, title in METER_FIELDS.items()
        )


def _amount(name: str) -> AmountRow:
    amount = AMOUNTS[name]
    title = amount.title[0].upper() + amount.title[1:]
    return AmountRow(name, title, amount.unit, f"{amount.usual:g}")


def _limit(name: str) -> LimitRow:
    limit = LIMITS[name]
    good, bad = (format_quantity(value, limit.unit) for value in (limit.good, limit.bad))
    rule = "good from, bad below" if limit.is_floor else "good up to, bad from"
    return LimitRow(name, limit.title, good, bad, rule, limit.sources)


# ------------------------------------------------------------------ the page
@router.get("")
def settings_page(request: Request, book: BookAtHand) -> HTMLResponse:
    """Show meters, costs and limits."""
    return pages_of(request).page(request, "settings.html", _view(book))


def _view(
    book: JobBook, costs: FormView | None = None, limits: FormView | None = None
) -> SettingsView:
    with book.store.read() as session:
        known, own = meters(session), costs_in_force(session)
        bounds = limits_in_force(session)
    amounts = {name: f"{value:g}" for name, value in own.own} | {CURRENCY: own.currency}
    held: dict[str, str] = {}
    for name, good, bad in bounds.own:
        unit = LIMITS[name].unit
        held[f"{name} good"] = format_quantity(good, unit)
        held[f"{name} bad"] = format_quantity(bad, unit)
    return SettingsView(known, costs or FormView(amounts), limits or FormView(held), own.currency)


@router.post("/costs")
def store_costs(request: Request, typed: TypedForm, book: BookAtHand) -> Response:
    """Keep the workshop's costs."""
    wrong = Mistakes()
    written = {name: typed.text(name) for name in AMOUNTS}
    for name, text in written.items():
        wrong.take(name, lambda name=name, text=text: costs_of({name: text}), DEFAULT_COSTS)  # type: ignore[misc]
    currency = typed.text(CURRENCY) or DEFAULT_COSTS.currency
    wrong.take(CURRENCY, lambda: costs_of({}, currency), DEFAULT_COSTS)
    if wrong.found:
        view = _view(book, costs=FormView(typed.values, wrong.found))
        return pages_of(request).page(request, "settings.html", view, status=UNUSABLE)
    with book.store.write() as session:
        keep_costs(session, costs_of(written, currency))
    return RedirectResponse("/settings#costs", SEE_OTHER)


@router.post("/limits")
def store_limits(request: Request, typed: TypedForm, book: BookAtHand) -> Response:
    """Keep the workshop's limits."""
    wrong = Mistakes()
    written = {name: (typed.text(f"{name} good"), typed.text(f"{name} bad")) for name in LIMITS}
    for name, pair in written.items():
        wrong.take(name, lambda name=name, pair=pair: limits_of({name: pair}), None)  # type: ignore[misc]
    if wrong.found:
        view = _view(book, limits=FormView(typed.values, wrong.found))
        return pages_of(request).page(request, "settings.html", view, status=UNUSABLE)
    with book.store.write() as session:
        keep_limits(session, limits_of(written))
    return RedirectResponse("/settings#limits", SEE_OTHER)


@router.post("/costs/reset")
def reset_costs(book: BookAtHand) -> Response:
    """Go back to the usual costs."""
    with book.store.write() as session:
        reset(session, COSTS_NAME)
    return RedirectResponse("/settings#costs", SEE_OTHER)


@router.post("/limits/reset")
def reset_limits(book: BookAtHand) -> Response:
    """Go back to the usual limits."""
    with book.store.write() as session:
        reset(session, LIMITS_NAME)
    return RedirectResponse("/settings#limits", SEE_OTHER)


# ------------------------------------------------------------------ meters
@router.get("/meter")
def meter_page(
    request: Request, book: BookAtHand, name: Annotated[str, Query(max_length=200)] = ""
) -> HTMLResponse:
    """Show the form of a meter."""
    if not name:
        view = MeterFormView(FormView(_meter_values(Meter())))
    else:
        found = _profile(book, name)
        values = {"name": found.name, **_meter_values(found.meter)}
        view = MeterFormView(FormView(values), found.name, found.is_default)
    return pages_of(request).page(request, "meter.html", view)


@router.post("/meter")
def store_meter(request: Request, typed: TypedForm, book: BookAtHand) -> Response:
    """Keep a meter."""
    wrong = Mistakes()
    written = {name: typed.text(name) for name in METER_FIELDS}
    for name, text in written.items():
        wrong.take(name, lambda name=name, text=text: meter_of({name: text}), Meter())  # type: ignore[misc]
    was, is_default = typed.text("was"), bool(typed.text("default"))
    if not wrong.found:
        try:
            with book.store.write() as session:
                keep_meter(
                    session, typed.text("name"), meter_of(written), is_default=is_default, was=was
                )
        except BackprobeError as error:
            wrong.found["name"] = said(error)
    if wrong.found:
        view = MeterFormView(FormView(typed.values, wrong.found), was, is_default)
        return pages_of(request).page(request, "meter.html", view, status=UNUSABLE)
    return RedirectResponse("/settings#meters", SEE_OTHER)


@router.post("/meter/default")
def make_default(typed: TypedForm, book: BookAtHand) -> Response:
    """Take a meter for new jobs."""
    found = _profile(book, typed.text("name"))
    with book.store.write() as session:
        keep_meter(session, found.name, found.meter, is_default=True, was=found.name)
    return RedirectResponse("/settings#meters", SEE_OTHER)


@router.post("/meter/forget")
def forget(typed: TypedForm, book: BookAtHand) -> Response:
    """Take a meter off the list."""
    with book.store.write() as session:
        forget_meter(session, typed.text("name"))
    return RedirectResponse("/settings#meters", SEE_OTHER)


def _profile(book: JobBook, name: str) -> MeterProfile:
    with book.store.read() as session:
        found = next((each for each in meters(session) if each.name == name), None)
    if found is None:
        raise NotFoundError("There is no such meter.", remedy="Look at the list under Settings.")
    return found


def _meter_values(meter: Meter) -> dict[str, str]:
    return {
        "counts": str(meter.counts),
        "dc_volts": meter.dc_volts,
        "ac_volts": meter.ac_volts,
        "ohms": meter.ohms,
        "hertz": meter.hertz,
        "input_resistance": format_quantity(meter.input_resistance, "ohm"),
    }
