"""From the tables of a job file to a job: vehicle, codes, meter and connector, then the rounds."""

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Final

from backprobe.errors import BackprobeError
from backprobe.job.model import Code, Connector, Engine, Job, Meter, Terminal, Vehicle
from backprobe.job.round_reader import read_rounds
from backprobe.job.table import Source, Table, nearest
from backprobe.quantities import parse_accuracy
from backprobe.quantities.spelling import shown_as
from backprobe.standards.trouble_code import require_code
from backprobe.standards.vin import require_vin
from backprobe.standards.wire_colour import colour_letters
from backprobe.vocabulary import (
    CODE_STATUSES,
    CONNECTOR_KINDS,
    ENGINE_CYCLES,
    FORMAT,
    FUELS,
    INDUCTIONS,
    ROLES,
)

FEWEST_TERMINALS: Final = 2
MOST_TERMINALS: Final = 8
_PIN: Final = re.compile(r"[A-Za-z0-9]{1,4}")
_LONGEST_FRAME_NAME: Final = 80
_LEAST_INPUT_OHMS: Final = 1e3  # far below even a moving-coil meter's on its volt ranges


def read_document(document: Mapping[str, object], source: Source) -> Job:
    """Read a whole job file.

    Raises
    ------
    JobFileError
        Something in it can't be used; the message says where, and how to mend it.
    """
    root = Table(document, (), "the job file", source)
    _require_format(root)
    root.require_known(("format", "job", "vehicle", "code", "meter", "connector", "round"))
    for heading, example in (("job", 'title = "..."'), ("connector", 'name = "..."')):
        if heading not in root:
            raise root.error(
                f"There is no [{heading}] in the file.", f"Add [{heading}] and below it {example}."
            )
    job = root.table("job", "[job]")
    job.require_known(("title", "complaint", "recent_work", "opened", "technician"))
    # In the order of the file, so that the first message is about the first mistake.
    title = job.required_text("title", "Hesitates on a cold morning")
    complaint, recent_work = job.text("complaint"), job.text("recent_work")
    technician = job.text("technician")
    opened = _read_date(job)
    vehicle = _read_vehicle(root.table("vehicle", "[vehicle]"))
    codes = tuple(_read_code(table) for table in root.tables("code", "[code]"))
    meter = _read_meter(root.table("meter", "[meter]"))
    connector = _read_connector(root.table("connector", "[connector]"))
    return Job(
        title=title,
        complaint=complaint,
        recent_work=recent_work,
        opened=opened,
        technician=technician,
        vehicle=vehicle,
        codes=codes,
        meter=meter,
        connector=connector,
        rounds=read_rounds(root.tables("round", "[round]"), connector.pins),
    )


def _require_format(root: Table) -> None:
    value = root.values.get("format")
    if value is None:
        raise root.error("The file doesn't say its format.", "Put format = 1 into its first line.")
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise root.error(f"There is no format {shown_as(value)}.", "Write format = 1.", "format")
    if value > FORMAT:
        raise root.error(
            f"The file has format {shown_as(value)}: it was made by a newer version of backprobe.",
            f"Update backprobe; this version reads format {FORMAT}.",
            "format",
        )


def _read_date(job: Table) -> date | None:
    value = job.values.get("opened")
    if value is None:
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError as error:
            raise _no_date(job, value) from error
    raise _no_date(job, value)


def _no_date(job: Table, value: object) -> BackprobeError:
    return job.error(
        f"opened of [job] is {shown_as(value)}, which is no date.",
        "Write year, month and day like 2026-03-02.",
        "opened",
    )


def _read_vehicle(table: Table) -> Vehicle:
    table.require_known(("description", "vin", "odometer_km", "engine"))
    vin = table.text("vin")
    if vin.strip():
        try:
            vin = require_vin(vin)
        except BackprobeError as error:
            raise table.error(f"vin of [vehicle]: {error.what}", error.remedy, "vin") from error
    engine = table.table("engine", "[vehicle.engine]")
    engine.require_known(("displacement_l", "cylinders", "cycle", "fuel", "induction"))
    return Vehicle(
        description=table.text("description"),
        vin=vin.strip(),
        odometer_km=table.number("odometer_km", 0, 1e7, "km"),
        engine=Engine(
            # From a moped's to a ship's; a number of cubic centimetres falls outside.
            displacement_l=engine.number("displacement_l", 0.02, 40, "litres"),
            cylinders=engine.whole_number("cylinders", 1, 24, "cylinders"),
            cycle=engine.choice("cycle", ENGINE_CYCLES),
            fuel=engine.choice("fuel", FUELS),
            induction=engine.choice("induction", INDUCTIONS),
        ),
    )


def _read_code(table: Table) -> Code:
    table.require_known(("code", "status", "freeze_frame"))
    try:
        code = require_code(table.required_text("code", "P0113"))
    except BackprobeError as error:
        if error.where:
            raise
        raise table.error(error.what, error.remedy, "code") from error
    frame = table.table("freeze_frame", "a value for each name", joint=" ")
    frame.title = f"code {code}, freeze_frame"
    frozen = {_frame_name(frame, name): frame.text(name).strip() for name in frame}
    return Code(code, table.choice("status", CODE_STATUSES, "stored"), frozen)


def _frame_name(frame: Table, name: str) -> str:
    if not name.strip() or not name.isprintable() or len(name) > _LONGEST_FRAME_NAME:
        raise frame.error(
            f"{frame.title}: {shown_as(name)} can't be the name of a value.",
            'Write the name that the control unit gives it and its value: "engine speed" = "812".',
            name,
        )
    return name


def _read_meter(table: Table) -> Meter:
    table.require_known(("counts", "dc_volts", "ac_volts", "ohms", "hertz", "input_resistance"))
    plain = Meter()
    return Meter(
        counts=table.whole_number("counts", 100, 100_000_000, "counts") or plain.counts,
        dc_volts=_read_accuracy(table, "dc_volts", "volt", plain.dc_volts),
        ac_volts=_read_accuracy(table, "ac_volts", "volt", plain.ac_volts),
        ohms=_read_accuracy(table, "ohms", "ohm", plain.ohms),
        hertz=_read_accuracy(table, "hertz", "hertz", plain.hertz),
        input_resistance=_read_input_resistance(table, plain.input_resistance),
    )


def _read_accuracy(table: Table, key: str, unit: str, default: str) -> str:
    written = table.text(key, default)
    try:
        parse_accuracy(written, unit)
    except BackprobeError as error:
        raise table.error(f"{key} of [meter]: {error.what}", error.remedy, key) from error
    return written


def _read_input_resistance(table: Table, default: float) -> float:
    key = "input_resistance"
    quantity = table.quantity(key, "ohm")
    if quantity is None:
        return default
    if quantity.over_range or quantity.value < _LEAST_INPUT_OHMS:
        raise table.error(
            f"input_resistance of [meter] is {shown_as(table.values[key])}.",
            'A digital meter has about "10 Mohm"; take it from its data sheet.',
            key,
        )
    return quantity.value


def _read_connector(table: Table) -> Connector:
    table.require_known(("name", "kind", "terminal"))
    name = table.required_text("name", "intake sensor")
    kind = table.choice("kind", CONNECTOR_KINDS, "unknown")
    tables = table.tables("terminal", "[connector.terminal]")
    if len(tables) < FEWEST_TERMINALS:
        raise table.error(
            f'The connector "{name[:60]}" has {_count(len(tables))}; at least two are needed.',
            'Add a [[connector.terminal]] with pin = "..." for each wire; a sensor that returns'
            ' through its body gets a terminal for it, such as pin = "body".',
        )
    if len(tables) > MOST_TERMINALS:
        raise tables[MOST_TERMINALS].error(
            f'The connector "{name[:60]}" has {_count(len(tables))};'
            f" at most {MOST_TERMINALS} can be judged together.",
            "Put the wires of each sensor or actuator in it into a file of their own.",
        )
    terminals: dict[str, Terminal] = {}
    for each in tables:
        terminal = _read_terminal(each)
        if terminal.pin in terminals:
            raise each.error(
                f'Pin "{terminal.pin}" stands twice in the connector.',
                "Give each terminal a pin of its own.",
                "pin",
            )
        terminals[terminal.pin] = terminal
    return Connector(name, kind, tuple(terminals.values()))


def is_pin(text: str) -> bool:
    """Tell whether a text can name a pin: one to four letters or digits."""
    return _PIN.fullmatch(text) is not None


def _count(terminals: int) -> str:
    return "one terminal" if terminals == 1 else f"{terminals or 'no'} terminals"


def _read_terminal(table: Table) -> Terminal:
    table.require_known(("pin", "colour", "diagram"))
    pin = table.required_text("pin", "1")
    if not is_pin(pin):
        raise table.error(
            f"{shown_as(pin)} can't be a pin.",
            'A pin is one to four letters or digits, such as "1", "A" or "C7".',
            "pin",
        )
    colour = table.text("colour")
    try:
        colour_letters(colour)
    except BackprobeError as error:
        raise table.error(f"Pin {pin}: {error.what}", error.remedy, "colour") from error
    diagram = table.text("diagram")
    if diagram and diagram not in ROLES:
        raise table.error(
            f"Pin {pin}: {shown_as(diagram)} can't be the role of a wire.",
            nearest(diagram, ROLES, "The roles are"),
            "diagram",
        )
    return Terminal(pin, colour.strip().upper(), diagram)
