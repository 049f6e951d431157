"""Which series of a log is which quantity: matched by name, corrected by people, kept as TOML."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from backprobe.errors import RecordingError
from backprobe.recordings.log_names import match_name, unit_of_quantity
from backprobe.recordings.log_units import AIR_A_STROKE, convert_factor

_KEYS: Final[dict[str, type]] = {"name": str, "quantity": str, "unit": str, "kept": bool}
_LONGEST: Final = 200_000  # characters


@dataclass(frozen=True, slots=True)
class MappedSeries:
    """How one series is meant.

    Parameters
    ----------
    name : str
        As the file has it.
    quantity : str
        What it is, in the job file's words; "" unknown.
    unit : str
        Unit in which the file has it; "" unknown.
    is_kept : bool
        Whether it is read at all.
    """

    name: str
    quantity: str = ""
    unit: str = ""
    is_kept: bool = True


@dataclass(frozen=True, slots=True)
class LogMapping:
    """How a log is meant.

    Parameters
    ----------
    series : tuple of MappedSeries
        By name; a series of the file that isn't named here is matched by its name.
    time_unit : str
        Unit of the times; "" as the file says, seconds where it says nothing.
    """

    series: tuple[MappedSeries, ...] = ()
    time_unit: str = ""

    def named(self, name: str) -> MappedSeries | None:
        """Find what is said of a series; None where nothing is."""
        return next((one for one in self.series if one.name == name), None)

    @property
    def dropped(self) -> frozenset[str]:
        """Names of series that aren't read."""
        return frozenset(one.name for one in self.series if not one.is_kept)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a series means and how its values are converted.

    Parameters
    ----------
    quantity, unit : str
        In the job file's words; the unit after conversion.
    factor, offset : float
        From the file's values to that unit.
    is_air_a_stroke : bool
        The values are mg of air a stroke, to become g/s with the engine's speed.
    remark : str
        What was assumed; "" where nothing was.
    """

    quantity: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0
    is_air_a_stroke: bool = False
    remark: str = ""


def meaning_of(name: str, unit: str, said: MappedSeries | None = None) -> Meaning:
    """Tell what a series means.

    Parameters
    ----------
    name, unit : str
        As the file has them.
    said : MappedSeries or None
        What a person says of it; goes before the name.

    Raises
    ------
    RecordingError
        What was said can't be: an unknown quantity, or a unit of another kind.
    """
    if said is not None:
        return _as_said(said, said.unit or unit)
    found = match_name(name, unit)
    if found.rivals:
        listed = " or ".join(found.rivals)
        return Meaning("", unit, remark=f"{name} may be {listed}; say which in the mapping.")
    if not found.quantity:
        return Meaning("", unit)
    if unit.lower() in ("mg/stroke", "mg/str", "mg/stk", "mg/hub", "mg/cp"):
        return Meaning(found.quantity, found.unit, is_air_a_stroke=True)
    factor = convert_factor(unit, found.unit)
    if factor is None:
        # An unknown unit rules nothing out by itself; its numbers are left as they are.
        remark = f'{name}: the unit "{unit}" isn\'t known, so that it is no quantity.'
        return Meaning("", unit, remark=remark)
    return Meaning(found.quantity, found.unit, *factor)


def guess_mapping_of(series: Iterable[tuple[str, str]]) -> LogMapping:
    """Write down what names and units were taken for, to be corrected."""
    found = []
    for name, unit in series:
        meaning = meaning_of(name, unit)
        found.append(MappedSeries(name, meaning.quantity, unit or meaning.unit))
    return LogMapping(tuple(found))


def mapping_to_toml(mapping: LogMapping) -> str:
    """Write a mapping as a small text that people can change."""
    lines = [
        "# Which series of a log is which quantity. Correct what is wrong;",
        '# quantity = "" leaves it unknown, kept = false leaves the series out.',
        f"time_unit = {json.dumps(mapping.time_unit)}",
    ]
    for one in mapping.series:
        lines += [
            "",
            "[[series]]",
            f"name = {json.dumps(one.name, ensure_ascii=False)}",
            f"quantity = {json.dumps(one.quantity, ensure_ascii=False)}",
            f"unit = {json.dumps(one.unit, ensure_ascii=False)}",
            f"kept = {'true' if one.is_kept else 'false'}",
        ]
    return "\n".join(lines).replace("\x7f", "\\u007f") + "\n"


def mapping_from_toml(text: str, file_name: str = "mapping") -> LogMapping:
    """Read a mapping back; every key is checked.

    Raises
    ------
    RecordingError
        The text isn't such a mapping.
    """
    if len(text) > _LONGEST:
        raise RecordingError("This is too long for a mapping.", file_name, "Name the right file.")
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        what = f"This isn't TOML: {error}."
        raise RecordingError(what, file_name, 'A line is key = "value".') from error
    _check(values, {"series": list, "time_unit": str}, file_name)
    tables: list[Any] = values.get("series", [])
    found = tuple(_series(table, f"{file_name}, series {n}") for n, table in enumerate(tables, 1))
    mapping = LogMapping(found, values.get("time_unit", ""))
    if mapping.time_unit and convert_factor(mapping.time_unit, "s") is None:
        raise RecordingError(
            f'"{mapping.time_unit}" isn\'t a unit of time.', file_name, "Write s, ms or min."
        )
    return mapping


def _series(table: object, where: str) -> MappedSeries:
    if not isinstance(table, dict):
        raise RecordingError("This isn't a table.", where, "Write [[series]] above its keys.")
    _check(table, _KEYS, where)
    if "name" not in table:
        raise RecordingError("name is missing.", where, "Write it as the log has it.")
    one = MappedSeries(
        table["name"],
        table.get("quantity", ""),
        table.get("unit", ""),
        is_kept=table.get("kept", True),
    )
    if one.is_kept:
        try:
            _as_said(one, one.unit)
        except RecordingError as error:
            raise RecordingError(error.what, where, error.remedy) from error
    return one


def _check(values: dict[str, Any], keys: dict[str, type], where: str) -> None:
    for key, value in values.items():
        if key not in keys:
            listed = ", ".join(keys)
            raise RecordingError(f'"{key}" isn\'t a key here.', where, f"The keys are {listed}.")
        if not isinstance(value, keys[key]):
            raise RecordingError(f"{key} can't be {json.dumps(value, default=str)}.", where)


def _as_said(said: MappedSeries, unit: str) -> Meaning:
    if not said.quantity:
        return Meaning("", unit)
    wanted = unit_of_quantity(said.quantity)
    if not wanted and not said.quantity.startswith(("lambda", "commanded lambda")):
        raise RecordingError(
            f'"{said.quantity}" isn\'t a known quantity.',
            said.name,
            'Write it as the job file does, such as "air mass flow"; "" leaves it unknown.',
        )
    factor = convert_factor(unit, wanted)
    if factor is not None:
        return Meaning(said.quantity, wanted, *factor)
    if wanted == "g/s" and convert_factor(unit, AIR_A_STROKE) is not None:
        return Meaning(said.quantity, wanted, is_air_a_stroke=True)
    raise RecordingError(
        f'{said.quantity} can\'t be in "{unit}".',
        said.name,
        f"It is converted to {wanted or 'a plain number'}; write the unit that the file has.",
    )
