"""The form of the air check, from fields to what is checked; each mistake beside its field."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Final

from backprobe.errors import UsageError
from backprobe.quantities import parse_quantity
from backprobe.services.air_entry import (
    NEEDED,
    POINT_UNITS,
    TypedEngine,
    parse_engine,
    parse_height,
    parse_hours,
    parse_humidity,
    parse_point,
    typed_case,
)
from backprobe.services.air_input import AirCase, AirReading
from backprobe.services.air_quick_checks import QuickCheck
from backprobe.services.standing_checks import pressures_check, soak_check
from backprobe.web.typed_form import Mistakes

N_POINT: Final = 5
POINT_NAMES: Final = (
    "Warm idle",
    "2500 rpm, no load",
    "Half load",
    "Full load",
    "One more",
)
# Field and the name of its sensor.
STILL: Final = {
    "still-manifold": "manifold",
    "still-barometer": "barometer",
    "still-boost": "boost",
}
SOAKED: Final = {
    "soaked-coolant": "coolant",
    "soaked-intake": "intake air",
    "soaked-outside": "outside",
}
USUAL_HOURS: Final = "8"


def field_of(name: str, place: int) -> str:
    """Name of a point's field."""
    return f"{name}-{place}"


def read_case(values: Mapping[str, str], wrong: Mistakes) -> AirCase | None:
    """Read the running engine; None where nothing was typed of it or something is wrong."""
    readings = [
        reading
        for place in range(1, N_POINT + 1)
        if (reading := _point(values, place, wrong)) is not None
    ]
    if not readings or wrong.found:
        return None
    words = TypedEngine(
        *(values.get(n, "") for n in ("displacement", "fuel", "induction", "cycle"))
    )
    engine = wrong.take("displacement", lambda: parse_engine(words), None)
    if engine is None:
        return None
    wrong.take("humidity", lambda: parse_humidity(values.get("humidity", "")), 0.0)
    if wrong.found:
        return None
    field = "barometer" if values.get("barometer") else "height"
    return wrong.take(
        field,
        lambda: typed_case(
            engine,
            tuple(readings),
            barometer=values.get("barometer", ""),
            height=values.get("height", ""),
            humidity=values.get("humidity", ""),
            recirculation_shut=values.get("shut") == "yes",
        ),
        None,
    )


def _point(values: Mapping[str, str], place: int, wrong: Mistakes) -> AirReading | None:
    typed = {name: values.get(field_of(name, place), "") for name in POINT_UNITS}
    if not any(typed.values()):
        return None
    good = True
    for name, unit in POINT_UNITS.items():
        read = partial(_field, typed[name], unit, is_needed=name in NEEDED)
        good = wrong.take(field_of(name, place), read, otherwise=False) and good
    if not good:
        return None
    name = POINT_NAMES[place - 1]
    return wrong.take(field_of("speed", place), lambda: parse_point(typed, name), None)


def _field(text: str, unit: str, *, is_needed: bool) -> bool:
    """Whether a field can be used; an error says why not."""
    if text:
        parse_quantity(text, unit)
    elif is_needed:
        raise UsageError("A point needs this too.", remedy="Read it at the same moment.")
    return True


def read_standing(values: Mapping[str, str], wrong: Mistakes) -> tuple[QuickCheck, ...]:
    """Read the standing engine: pressures that should agree, temperatures after a cold soak."""
    height = values.get("height", "")
    still = _named(values, STILL, "kilopascal", wrong)
    soaked = _named(values, SOAKED, "celsius", wrong)
    if wrong.found:
        return ()
    found = []
    if still:
        first = next(field for field in STILL if values.get(field))
        above = wrong.take("height", lambda: parse_height(height) if height else None, None)
        found.append(wrong.take(first, lambda: pressures_check(still, above), None))
    if soaked:
        hours = values.get("hours", "") or USUAL_HOURS
        found.append(wrong.take("hours", lambda: soak_check(soaked, parse_hours(hours)), None))
    return tuple(each for each in found if each is not None)


def _named(
    values: Mapping[str, str], fields: Mapping[str, str], unit: str, wrong: Mistakes
) -> dict[str, float]:
    found = {}
    for field, name in fields.items():
        text = values.get(field, "")
        if text:
            read = partial(parse_quantity, text, unit)
            value = wrong.take(field, read, None)
            if value is not None:
                found[name] = value.value
    return found
