"""What a workshop sets for itself: its meters, limits and costs.

Whatever comes in is a text as somebody typed it, one for each field; a mistake is told with the
field and its remedy. An empty text stands for the usual. Only what differs from the usual is kept,
so that a usual value that changes with the program changes for everyone who never touched it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from sqlalchemy.orm import Session

from backprobe.errors import BackprobeError, JobFileError, ValueOutOfRange
from backprobe.job import Connector, Job, Meter, Terminal, parse_job, write_job
from backprobe.quantities import parse_quantity
from backprobe.services.costs import AMOUNTS, DEFAULT_COSTS, Costs, costs_with
from backprobe.services.limits import LIMITS, Limits
from backprobe.store import workshop
from backprobe.store.workshop import MeterProfile

LIMITS_NAME: Final = "limits"
COSTS_NAME: Final = "costs"
CURRENCY: Final = "currency"
LONGEST_NAME: Final = 60
METER_FIELDS: Final[dict[str, str]] = {
    "counts": "counts of the display",
    "dc_volts": "accuracy of DC volts",
    "ac_volts": "accuracy of AC volts",
    "ohms": "accuracy of ohms",
    "hertz": "accuracy of hertz",
    "input_resistance": "input resistance",
}
_PLAIN: Final = Connector("connector", terminals=(Terminal("1"), Terminal("2")))
_NUMBER: Final = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
_PERHAPS_THOUSANDS: Final = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")


# ------------------------------------------------------------------ meters
def meters(session: Session) -> tuple[MeterProfile, ...]:
    """The workshop's meters by name."""
    return workshop.meters(session)


def meter_for_new_job(session: Session) -> MeterProfile:
    """The meter that a new job begins with: the default one, else a usual one without a name."""
    return workshop.default_meter(session) or MeterProfile("")


def meter_of(written: Mapping[str, str]) -> Meter:
    """Read a meter's data sheet from the texts of `METER_FIELDS`, by the rules of the job file.

    Raises
    ------
    ValueOutOfRange
        A field can't be used; ``where`` names it.
    """
    found = Meter()
    for key, text in written.items():
        if key not in METER_FIELDS:
            raise ValueOutOfRange(
                f'"{key[:40]}" isn\'t a field of a meter.', where="meter", remedy="Leave it out."
            )
        if not text.strip():
            continue
        try:
            # One field at a time, so that an error is about this one.
            value = getattr(_as_in_a_file(_with(key, text.strip())), key)
        except BackprobeError as error:
            raise ValueOutOfRange(
                error.what, where=METER_FIELDS[key], remedy=error.remedy
            ) from error
        found = replace(found, **{key: value})
    return found


def _with(key: str, text: str) -> Meter:
    if key == "counts":
        number = _number(text)
        if number != int(number):
            raise ValueOutOfRange(f'"{text}" isn\'t a whole number.', remedy="Write it like 4000.")
        return Meter(counts=int(number))
    if key == "input_resistance":
        ohms = parse_quantity(text, "ohm")
        if ohms.over_range:
            raise ValueOutOfRange(
                f'"{text}" isn\'t an input resistance.', remedy='Write it like "10 Mohm".'
            )
        return Meter(input_resistance=ohms.value)
    changed: dict[str, Any] = {key: text}
    return replace(Meter(), **changed)


def _as_in_a_file(meter: Meter) -> Meter:
    """The meter as a job file would give it back."""
    try:
        return parse_job(write_job(Job("-", _PLAIN, meter=meter)), "").meter
    except JobFileError as error:
        raise ValueOutOfRange(error.what, remedy=error.remedy) from error


def keep_meter(
    session: Session, name: str, meter: Meter, *, is_default: bool = False, was: str = ""
) -> MeterProfile:
    """Add a meter, or write down anew the one named ``was``; the first one becomes the default.

    Raises
    ------
    ValueOutOfRange
        The name can't be used.
    ConflictError, NotFoundError
        Another meter has that name; there is none named ``was``.
    """
    plain = name.strip()
    if not plain or len(plain) > LONGEST_NAME or not plain.isprintable():
        raise ValueOutOfRange(
            "A meter needs a name.",
            where="name",
            remedy=f"Write what stands on it, in at most {LONGEST_NAME} characters.",
        )
    is_first = not workshop.meters(session)
    profile = MeterProfile(plain, meter, is_default or is_first)
    workshop.put_meter(session, profile, was)
    return profile


def forget_meter(session: Session, name: str) -> None:
    """Take a meter off the list; jobs keep what they hold of it."""
    workshop.delete_meter(session, name)


# ------------------------------------------------------------------ limits
def limits_in_force(session: Session) -> Limits:
    """The usual limits with the workshop's own in their place."""
    kept = workshop.setting(session, LIMITS_NAME)
    # A name that this version doesn't know was kept by another one.
    return Limits(tuple((n, x["good"], x["bad"]) for n, x in kept.items() if n in LIMITS))


def keep_limits(session: Session, limits: Limits) -> None:
    """Keep what differs from the usual limits."""
    kept = {name: {"good": good, "bad": bad} for name, good, bad in limits.own}
    workshop.put_setting(session, LIMITS_NAME, kept)


def limits_of(written: Mapping[str, tuple[str, str]]) -> Limits:
    """Read limits from two texts for each name, good and bad: "50 mV", "0.1"; empty = usual.

    Raises
    ------
    ValueOutOfRange
        A text that can't be read, or values that can't be a limit; ``where`` names it.
    """
    own = []
    for name, (good, bad) in written.items():
        usual = LIMITS.get(name)
        if usual is None:
            raise ValueOutOfRange(
                f'"{name[:40]}" isn\'t a limit.', where="limits", remedy="Leave it out."
            )
        values = (
            _quantity(good, usual.unit, usual.title) if good.strip() else usual.good,
            _quantity(bad, usual.unit, usual.title) if bad.strip() else usual.bad,
        )
        own.append((name, *values))
    return Limits(tuple(own))


def _quantity(written: str, unit: str, where: str) -> float:
    try:
        found = parse_quantity(written, unit)
    except BackprobeError as error:
        raise ValueOutOfRange(error.what, where=where, remedy=error.remedy) from error
    return found.value  # an over-range one is refused as every other value that can't be a limit


# ------------------------------------------------------------------ costs
def costs_in_force(session: Session) -> Costs:
    """The usual costs with the workshop's own in their place."""
    kept = workshop.setting(session, COSTS_NAME)
    amounts = {n: v for n, v in kept.get("amounts", {}).items() if n in AMOUNTS}
    return costs_with(amounts, kept.get(CURRENCY, DEFAULT_COSTS.currency))


def keep_costs(session: Session, costs: Costs) -> None:
    """Keep what differs from the usual costs."""
    kept: dict[str, Any] = {}
    if costs.own:
        kept["amounts"] = dict(costs.own)
    if costs.currency != DEFAULT_COSTS.currency:
        kept[CURRENCY] = costs.currency
    workshop.put_setting(session, COSTS_NAME, kept)


def costs_of(written: Mapping[str, str], currency: str = DEFAULT_COSTS.currency) -> Costs:
    """Read costs from one text for each name of `AMOUNTS`: "90", "12,50"; empty = usual.

    Raises
    ------
    ValueOutOfRange
        A text that isn't a number, or an amount out of its limits; ``where`` names it.
    """
    own: dict[str, float] = {}
    for name, text in written.items():
        if not text.strip():
            continue
        try:
            own[name] = _number(text.strip())
        except ValueOutOfRange as error:
            title = AMOUNTS[name].title if name in AMOUNTS else name
            raise ValueOutOfRange(error.what, where=title, remedy=error.remedy) from error
    return costs_with(own, currency)


def _number(text: str) -> float:
    if _PERHAPS_THOUSANDS.fullmatch(text):
        raise ValueOutOfRange(
            f'"{text}" can be read in two ways.',
            remedy='Write the decimals after a point and nothing between the thousands: "1200".',
        )
    if len(text) > LONGEST_NAME or not _NUMBER.fullmatch(text):
        raise ValueOutOfRange(f'"{text[:40]}" isn\'t a number.', remedy='Write it like "12.5".')
    return float(text.replace(",", "."))


# ------------------------------------------------------------------ back to the usual
def reset(session: Session, name: str) -> None:
    """Take back what the workshop set under a name, `LIMITS_NAME` or `COSTS_NAME`."""
    workshop.put_setting(session, name, {})
