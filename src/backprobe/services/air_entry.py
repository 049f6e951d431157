"""An air check as people type it: an engine, points with units, pressures and temperatures."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from backprobe.core.engine.standard_atmosphere import geopotential_height, standard_pressure
from backprobe.errors import UsageError, ValueOutOfRange
from backprobe.job.model import Engine, Job
from backprobe.quantities import parse_quantity
from backprobe.quantities.unit import factor_of, unit_named
from backprobe.services.air_input import NAN, AirCase, AirReading, require_engine, with_barometer
from backprobe.vocabulary import ENGINE_CYCLES, FUELS, INDUCTIONS

# What a point is made of: field, unit.
POINT_UNITS: Final[dict[str, str]] = {
    "speed": "rpm",
    "pressure": "kilopascal",
    "temperature": "celsius",
    "flow": "gram per second",
    "trim": "trim",
}
NEEDED: Final = ("speed", "pressure", "temperature")
# Highest place with a road, and lowest; m.
_HEIGHTS: Final = (-500.0, 6_000.0)
_NUMBER: Final = re.compile(r"[+-]?\s*[0-9.,]*[0-9]\s*(.*)")


@dataclass(frozen=True, slots=True)
class TypedEngine:
    """An engine as it was typed; empty where nothing was."""

    displacement: str = ""
    fuel: str = ""
    induction: str = ""
    cycle: str = ""


def parse_engine(typed: TypedEngine) -> Engine:
    """Read an engine."""
    size = parse_quantity(typed.displacement, "litre").value if typed.displacement else None
    for word, known, name in (
        (typed.fuel, FUELS, "fuel"),
        (typed.induction, INDUCTIONS, "induction"),
        (typed.cycle, ENGINE_CYCLES, "cycle"),
    ):
        if word and word not in known:
            raise UsageError(
                f'"{word[:40]}" is no {name} that is known.', remedy=f"Write {', '.join(known)}."
            )
    return require_engine(
        Engine(size, cycle=typed.cycle, fuel=typed.fuel, induction=typed.induction)
    )


def with_typed_engine(job: Job, typed: TypedEngine) -> Job:
    """Put what was typed of an engine over what a job has of it."""
    if not any((typed.displacement, typed.fuel, typed.induction, typed.cycle)):
        return job
    held = job.vehicle.engine
    size = typed.displacement or (f"{held.displacement_l} l" if held.displacement_l else "")
    whole = TypedEngine(
        size,
        typed.fuel or held.fuel,
        typed.induction or held.induction,
        typed.cycle or held.cycle,
    )
    return replace(job, vehicle=replace(job.vehicle, engine=parse_engine(whole)))


def parse_point(fields: Mapping[str, str], name: str) -> AirReading:
    """Read one point from its fields, each with a unit or in the usual one.

    Parameters
    ----------
    fields : mapping of str to str
        By the names of `POINT_UNITS`; empty or missing where nothing was read.
    name : str
        How the point is spoken of.

    Raises
    ------
    QuantityError
        A field can't be read.
    UsageError
        Speed, pressure or temperature is missing.
    """
    missing = [field for field in NEEDED if not fields.get(field, "").strip()]
    if missing:
        raise UsageError(
            f"The point has no {' and no '.join(missing)}.",
            where=name,
            remedy="Engine speed, manifold pressure and intake temperature are needed together.",
        )
    values = {
        field: parse_quantity(fields[field], unit)
        for field, unit in POINT_UNITS.items()
        if fields.get(field, "").strip()
    }
    digit = values["flow"].digit_size if "flow" in values else None
    return AirReading(
        name,
        values["speed"].value,
        values["pressure"].value,
        values["temperature"].value,
        values["flow"].value if "flow" in values else NAN,
        trim=values["trim"].value if "trim" in values else NAN,
        digit=digit or 0.01,
    )


def split_point(written: str) -> dict[str, str]:
    """Take a point apart that was written in one line: each part is known by its unit.

    "780 rpm, 34 kPa, 32 degC, 3.2 g/s, 5 %": parts stand between semicolons, or commas and a blank.
    """
    found: dict[str, str] = {}
    for part in re.split(r";|,\s+", written):
        match = _NUMBER.fullmatch(part.strip())
        unit = match[1].strip() if match else ""
        field = next((f for f, name in POINT_UNITS.items() if unit and _is_unit(unit, name)), "")
        if not field or field in found:
            raise UsageError(
                f"There are two values of {field}."
                if field
                else f'"{part.strip()[:40]}" has no unit of a point.',
                where=written[:60],
                remedy='Write a point like "780 rpm, 34 kPa, 32 degC, 3.2 g/s, 5 %".',
            )
        found[field] = part.strip()
    return found


def _is_unit(spelled: str, name: str) -> bool:
    return factor_of(spelled, unit_named(name)) is not None


def typed_case(
    engine: Engine,
    readings: tuple[AirReading, ...],
    *,
    barometer: str = "",
    height: str = "",
    humidity: str = "",
    recirculation_shut: bool = False,
) -> AirCase:
    """Put typed points together with the barometer, or with the height in its place."""
    outside, uncertainty = outside_pressure(barometer, height)
    moist = parse_humidity(humidity)
    if math.isnan(outside):
        return with_barometer(AirCase(engine, readings, recirculation_shut, humidity=moist))
    placed = tuple(replace(each, barometer=outside) for each in readings)
    return AirCase(engine, placed, recirculation_shut, uncertainty, humidity=moist)


def parse_humidity(written: str) -> float:
    """Read a relative humidity, 0 to 1; NaN where none is written."""
    return parse_quantity(written, "percent").value / 100.0 if written.strip() else NAN


def outside_pressure(barometer: str, height: str) -> tuple[float, float]:
    """Read the pressure of the open air, kPa, with its standard uncertainty; NaN if not known."""
    if barometer.strip():
        return parse_quantity(barometer, "kilopascal").value, 1.0
    if height.strip():
        return float(standard_pressure(geopotential_height(parse_height(height)))) / 1e3, 1.8
    return NAN, NAN


def parse_height(written: str) -> float:
    """Read a height above sea level, m."""
    text = written.strip().removesuffix("m").strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not _HEIGHTS[0] <= value <= _HEIGHTS[1]:
        raise ValueOutOfRange(
            f'"{written[:40]}" is no height above sea level.', remedy='Write metres, such as "350".'
        )
    return value


def parse_hours(written: str) -> float:
    """Read for how many hours an engine has stood."""
    text = written.strip().removesuffix("h").strip().replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 10_000.0:
        raise ValueOutOfRange(f'"{written[:40]}" is no time.', remedy='Write hours, such as "8".')
    return value


def parse_named(written: str, unit: str) -> tuple[str, float]:
    """Read "coolant 18 degC" or "boost 99.5 kPa": a name and its value."""
    match = re.fullmatch(r"\s*([^\d+-]+?)[\s=:]+([+-]?\s*[\d.,].*)", written)
    if match is None:
        raise UsageError(
            f'"{written[:40]}" is no name with a value.', remedy='Write it like "coolant 18 degC".'
        )
    return match[1].strip(), parse_quantity(match[2], unit).value
