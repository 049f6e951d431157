"""The forms of a job's head and of a connector: from what was typed to records, and back."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, Final

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.job import Code, Connector, Terminal
from backprobe.job.model import Engine, Vehicle
from backprobe.services.checking import checked_connector, checked_head
from backprobe.services.identifiers import code_facts
from backprobe.standards.wire_colour import colour_from_words, colour_letters, colour_words
from backprobe.store.record import JobHead
from backprobe.store.workshop import MeterProfile
from backprobe.vocabulary import (
    CODE_STATUSES,
    CONNECTOR_KINDS,
    ENGINE_CYCLES,
    FUELS,
    INDUCTIONS,
)
from backprobe.web.typed_form import Mistakes, Typed

AS_IT_IS: Final = "=as it is"  # no meter can be called so: a blank name starts the list instead
EMPTY_LINES: Final = 2
MOST_LINES: Final = 40
_GROUPED: Final = re.compile(r"[0-9]{1,3}(?:[ .,'\u00a0\u202f][0-9]{3})+")
_TEXTS: Final = ("title", "complaint", "recent_work", "technician")
_ENGINE_WORDS: Final = ("cycle", "fuel", "induction")
CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "kind": CONNECTOR_KINDS,
    "status": CODE_STATUSES,
    "cycle": ENGINE_CYCLES,
    "fuel": FUELS,
    "induction": INDUCTIONS,
}


@dataclass(frozen=True, slots=True)
class CodeLine:
    """One trouble code as typed."""

    code: str = ""
    status: str = "stored"
    frame: str = ""
    error: str = ""
    facts: str = ""


@dataclass(frozen=True, slots=True)
class WireLine:
    """One wire as it was understood."""

    pin: str
    colours: tuple[str, ...]
    words: str


# ------------------------------------------------------------------ the head
def read_head(
    typed: Typed, meters: Sequence[MeterProfile], before: JobHead | None = None
) -> tuple[JobHead, Mistakes]:
    """Read the head of a job; what is wrong stands in the mistakes, by field."""
    wrong = Mistakes()
    head = JobHead("-") if before is None else replace(before, title="-")
    for name in _TEXTS:
        head = _with(wrong, head, name, {name: typed.text(name)})
    opened = wrong.take("opened", lambda: _date(typed.text("opened")), None)
    head = replace(head, opened=opened, vehicle=_vehicle(typed, wrong))
    lines = code_lines(typed)
    codes = [
        wrong.take(f"code-{i}", lambda line=line: _code(line), None)  # type: ignore[misc]
        for i, line in enumerate(lines)
        if line.code or line.frame
    ]
    head = replace(head, codes=tuple(code for code in codes if code is not None))
    head = wrong.take("meter", lambda: _with_meter(head, typed.text("meter"), meters), head)
    return head, wrong


def _with(wrong: Mistakes, head: JobHead, name: str, changed: dict[str, Any]) -> JobHead:
    """The head with one thing changed, checked alone so that a mistake is about this field."""

    def read() -> JobHead:
        right = checked_head(replace(JobHead("-"), **changed))
        return replace(head, **{key: getattr(right, key) for key in changed})

    return wrong.take(name, read, head)


def _vehicle(typed: Typed, wrong: Mistakes) -> Vehicle:
    fields = (
        ("vehicle", "description", str),
        ("vin", "vin", str),
        ("odometer", "odometer_km", _kilometres),
    )
    found: dict[str, Any] = {
        field: wrong.take(name, partial(_of_vehicle, field, read, typed.text(name)), None)
        for name, field, read in fields
    }
    engine = _engine(typed, wrong)
    return Vehicle(**{f: value for f, value in found.items() if value is not None}, engine=engine)


def _of_vehicle(field: str, read: Callable[[str], object], written: str) -> object:
    changed: dict[str, Any] = {field: read(written)}
    checked = checked_head(JobHead("-", vehicle=replace(Vehicle(), **changed)))
    value: object = getattr(checked.vehicle, field)
    return value


def _engine(typed: Typed, wrong: Mistakes) -> Engine:
    fields: tuple[tuple[str, str, Callable[[str], object]], ...] = (
        ("displacement", "displacement_l", _decimal),
        ("cylinders", "cylinders", _whole),
        *((name, name, str) for name in _ENGINE_WORDS),
    )
    found: dict[str, Any] = {
        field: wrong.take(name, partial(_of_engine, field, read, typed.text(name)), None)
        for name, field, read in fields
    }
    return Engine(**{field: value for field, value in found.items() if value is not None})


def _of_engine(field: str, read: Callable[[str], object], written: str) -> object:
    changed: dict[str, Any] = {field: read(written)}
    probe = Vehicle(engine=replace(Engine(), **changed))
    value: object = getattr(checked_head(JobHead("-", vehicle=probe)).vehicle.engine, field)
    return value


def _with_meter(head: JobHead, name: str, meters: Sequence[MeterProfile]) -> JobHead:
    if name == AS_IT_IS:
        return head
    if not name:
        return replace(head, meter=MeterProfile("").meter, meter_name="")
    found = next((each for each in meters if each.name == name), None)
    if found is None:
        raise ValueOutOfRange(
            f'There is no meter "{name[:60]}" any more.', remedy="Choose one of the list."
        )
    return replace(head, meter=found.meter, meter_name=found.name)


def _code(line: CodeLine) -> Code:
    frame: dict[str, str] = {}
    for written in line.frame.splitlines():
        name, sign, value = (part.strip() for part in written.partition("="))
        if not written.strip():
            continue
        if not (sign and name and value):
            raise ValueOutOfRange(
                f'"{written.strip()[:40]}" isn\'t a line of a freeze frame.',
                remedy='Write name = value, such as "engine speed = 812 rpm".',
            )
        frame[name] = value
    plain = code_facts(line.code).code
    return checked_head(JobHead("-", codes=(Code(plain, line.status, frame),))).codes[0]


def code_lines(typed: Typed, *, more: int = 0) -> tuple[CodeLine, ...]:
    """The codes as typed, and some empty lines."""
    columns = (typed.all("code"), typed.all("code_status"), typed.all("code_frame"))
    filled = [
        CodeLine(code.strip(), status, frame)
        for code, status, frame in zip(*columns, strict=False)
        if code.strip() or frame.strip()
    ]
    return (*filled, *(CodeLine() for _ in range(more)))[:MOST_LINES]


def lines_of_codes(codes: Sequence[Code]) -> tuple[CodeLine, ...]:
    """The codes of a job as lines of its form."""
    return tuple(
        CodeLine(c.code, c.status, "\n".join(f"{k} = {v}" for k, v in c.freeze_frame.items()))
        for c in codes
    )


def told_lines(
    lines: Sequence[CodeLine], errors: Mapping[str, str] | None = None
) -> tuple[CodeLine, ...]:
    """Lines with what is wrong with them, or what their code says."""
    wrong = errors or {}
    return tuple(
        replace(line, error=wrong.get(f"code-{i}", ""), facts=_facts(line.code))
        for i, line in enumerate(lines)
    )


def _facts(code: str) -> str:
    try:
        return code_facts(code).words if code else ""
    except BackprobeError:
        return ""  # its mistake is told beside it


def values_of_head(head: JobHead) -> dict[str, str]:
    """A head as it stands in the fields of its form."""
    vehicle, engine = head.vehicle, head.vehicle.engine
    return {
        "title": head.title,
        "complaint": head.complaint,
        "recent_work": head.recent_work,
        "technician": head.technician,
        "opened": "" if head.opened is None else head.opened.isoformat(),
        "vehicle": vehicle.description,
        "vin": vehicle.vin,
        "odometer": _shown(vehicle.odometer_km),
        "displacement": _shown(engine.displacement_l),
        "cylinders": _shown(engine.cylinders),
        "cycle": engine.cycle,
        "fuel": engine.fuel,
        "induction": engine.induction,
        "meter": AS_IT_IS,
    }


# ------------------------------------------------------------------ the connector
def read_connector(typed: Typed, wrong: Mistakes) -> Connector:
    """Read a connector's name, kind and wires."""
    two = (Terminal("1"), Terminal("2"))
    name, kind = typed.text("connector"), typed.text("kind") or "unknown"
    for field, probe in (
        ("connector", Connector(name, terminals=two)),
        ("kind", Connector("-", kind, two)),
    ):
        wrong.take(field, lambda probe=probe: checked_connector(probe), probe)  # type: ignore[misc]

    def read() -> Connector:
        found = checked_connector(Connector("-", terminals=terminals_of(typed.text("wires"))))
        return replace(found, name=name, kind=kind)

    return wrong.take("wires", read, Connector(name, kind, two))


def terminals_of(written: str) -> tuple[Terminal, ...]:
    """Read wires, one a line: number and colour, the colour in letters or in words."""
    found = []
    for number, line in enumerate(written.splitlines(), 1):
        pin, _, colour = line.strip().partition(" ")
        if not pin:
            continue
        try:
            found.append(Terminal(pin, _colour(colour.strip())))
        except BackprobeError as error:
            raise ValueOutOfRange(f"Line {number}: {error.what}", remedy=error.remedy) from error
    return tuple(found)


def _colour(written: str) -> str:
    try:
        return "/".join(colour_letters(written))
    except BackprobeError:
        try:
            return colour_from_words(written)
        except BackprobeError:
            pass
        raise


def wires_as_text(terminals: Sequence[Terminal]) -> str:
    """Wires as they stand in the field."""
    return "\n".join(f"{each.pin} {each.colour}".strip() for each in terminals)


def wire_lines(terminals: Sequence[Terminal]) -> tuple[WireLine, ...]:
    """Wires with their colours as letters and words."""
    return tuple(
        WireLine(each.pin, colour_letters(each.colour), colour_words(each.colour))
        for each in terminals
    )


# ------------------------------------------------------------------ numbers
def _date(written: str) -> date | None:
    try:
        return date.fromisoformat(written) if written else None
    except ValueError as error:
        raise ValueOutOfRange(
            f'"{written[:40]}" isn\'t a date.', remedy="Write it like 2026-11-24."
        ) from error


def _kilometres(written: str) -> float | None:
    number = _whole(written.strip().removesuffix("km"))
    return None if number is None else float(number)


def _whole(written: str) -> int | None:
    """A whole number as it is read off: "148 200"; points and commas group its thousands."""
    plain = written.strip()
    if _GROUPED.fullmatch(plain):
        plain = re.sub(r"[^0-9]", "", plain)
    if not plain:
        return None
    if not re.fullmatch(r"[0-9]{1,9}", plain):
        raise ValueOutOfRange(f'"{plain[:40]}" isn\'t a whole number.', remedy="Write digits only.")
    return int(plain)


def _decimal(written: str) -> float | None:
    plain = written.strip().removesuffix("l").removesuffix("L").strip().replace(",", ".")
    if not plain:
        return None
    if not re.fullmatch(r"[0-9]{1,2}(?:\.[0-9]{1,3})?", plain):
        raise ValueOutOfRange(
            f'"{written[:40]}" isn\'t a displacement in litres.', remedy='Write it like "1.6".'
        )
    return float(plain)


def _shown(number: float | None) -> str:
    return "" if number is None else f"{number:g}" if number < 1e5 else f"{number:.0f}"


def understood(wires: str) -> tuple[WireLine, ...]:
    """Lines of wires as they are understood; none where one can't be."""
    try:
        return wire_lines(terminals_of(wires))
    except BackprobeError:
        return ()  # told beside the field
