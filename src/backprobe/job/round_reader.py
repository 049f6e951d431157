"""From the tables of a job file to its rounds: the state of the vehicle and what was read in it."""

from collections.abc import Callable, Iterable, Mapping
from typing import Final

from backprobe.errors import JobFileError
from backprobe.job.contradictions import find_contradiction
from backprobe.job.model import LOAD_OHMS, Fitted, Indication, Round
from backprobe.job.reading_tables import (
    PIN_READINGS,
    read_indication,
    read_pin_readings,
    read_scan,
    read_sensor_ohms,
)
from backprobe.job.table import Source, Table, nearest
from backprobe.quantities.spelling import shown_as
from backprobe.vocabulary import ACTIONS, BATTERY_NEGATIVE, KEYS

_KEYS: Final = (
    *("name", "plugged", "key", "rpm", "action", "black_lead"),
    *("battery_volts", "black_lead_check", "ambient_celsius"),
    *PIN_READINGS,
    *("sensor_ohms", "load_ohms", "fitted", "scan", "void", "note"),
)
_LONGEST_NAME: Final = 40
_HIGHEST_BATTERY: Final = 100.0  # V; two 24 V systems in series are far below


def read_rounds(tables: Iterable[Table], pins: tuple[str, ...]) -> tuple[Round, ...]:
    """Read the rounds of a job file, in its order.

    Raises
    ------
    JobFileError
        Something can't be read, contradicts itself, or two rounds have one name.
    """
    rounds: dict[str, Round] = {}
    for table in tables:
        table.require_known(_KEYS)
        name = _read_name(table, taken=rounds)
        table.title = f"round {name}"
        rounds[name] = _read_round(table, name, pins)
    return tuple(rounds.values())


def read_reading(
    each: Round, quantity: str, place: str, value: str | float, pins: tuple[str, ...]
) -> Indication:
    """Read one further reading of a round by the rules of the file, without a file around it.

    Parameters
    ----------
    each : Round
        Its name stands in messages.
    quantity, place : str
        A key of the file's round, and of its table where it has one.
    value : str or float
        As it would stand in the file.
    pins : tuple of str
        Of the connector, in its order.

    Raises
    ------
    JobFileError
        It can't be read, or can't be true.
    """
    values = {quantity: {place: value} if place else value}
    table = Table(values, (), f"round {each.name}", Source("", {}))
    found: Mapping[str, Indication | None]
    if quantity == "sensor_ohms":
        found = {"-".join(pair): one for pair, one in read_sensor_ohms(table, pins).items()}
    elif quantity == "scan":
        found = read_scan(table)
    elif quantity in PIN_READINGS:
        found = read_pin_readings(table, quantity, PIN_READINGS[quantity], pins)
    else:
        found = {"": _READ_SINGLE[quantity](table)}
    reading = found[place]
    if reading is None:
        raise table.error(f"{table.named(quantity)} is missing.", "Write what the meter shows.")
    return reading


def require_possible(each: Round) -> None:
    """Refuse a round in which two things can't be true together.

    Raises
    ------
    JobFileError
        The first contradiction; a void round keeps what was done, also where that was the mistake.
    """
    contradiction = None if each.void else find_contradiction(each)
    if contradiction:
        raise JobFileError(contradiction.what, remedy=contradiction.remedy)


def _read_name(table: Table, taken: Iterable[str]) -> str:
    name = table.required_text("name", "A")
    if len(name) > _LONGEST_NAME or not name.isprintable():
        raise table.error(
            f"{shown_as(name)} can't be the name of a round.",
            f"Use a letter or a word of at most {_LONGEST_NAME} signs; details belong into note.",
            "name",
        )
    if name in taken:
        raise table.error(
            f"There is a round {shown_as(name)} already.",
            "Give each round a name of its own.",
            "name",
        )
    return name


def _read_round(table: Table, name: str, pins: tuple[str, ...]) -> Round:
    table.required_text("key", "on")
    rpm = table.quantity("rpm", "rpm")
    if rpm is not None and rpm.over_range:
        raise table.error(f"{table.named('rpm')} is over range.", "Write the speed.", "rpm")
    ambient = read_indication(table, "ambient_celsius", "celsius", can_be_over_range=False)
    readings = {
        key: read_pin_readings(table, key, unit, pins) for key, unit in PIN_READINGS.items()
    }
    found = Round(
        name=name,
        plugged=table.flag("plugged"),
        key=table.choice("key", KEYS),
        rpm=0.0 if rpm is None else rpm.value,
        action=table.choice("action", ACTIONS),
        black_lead=table.text("black_lead").strip() or BATTERY_NEGATIVE,
        battery_volts=_read_battery(table),
        black_lead_check=_read_black_lead(table),
        ambient_celsius=None if ambient is None else ambient.value,
        sensor_ohms=read_sensor_ohms(table, pins),
        load_ohms=_read_resistor(table, "load_ohms", LOAD_OHMS),
        fitted=tuple(
            _read_fitted(each, table.title, pins)
            for each in table.tables("fitted", "[round.fitted]")
        ),
        scan=read_scan(table),
        void=table.text("void").strip(),
        note=table.text("note"),
        **readings,
    )
    # A void round keeps what was done, also where that was the mistake.
    contradiction = None if found.void else find_contradiction(found)
    if contradiction:
        raise table.error(contradiction.what, contradiction.remedy, contradiction.key)
    return found


def _read_battery(table: Table) -> Indication | None:
    key = "battery_volts"
    found = read_indication(table, key, "volt", can_be_over_range=False)
    if found is not None and found.value < 0:
        raise table.error(
            f"{table.named(key)} is below zero: the leads are exchanged.",
            "Red lead to the positive post, black lead to the negative; measure again.",
            key,
        )
    if found is not None and found.value > _HIGHEST_BATTERY:
        raise table.error(
            f"{table.named(key)} is {shown_as(table.values[key])}; no such battery supplies a"
            " control unit.",
            'Check the number and its unit: 12.58 or "12.58 V".',
            key,
        )
    return found


def _read_black_lead(table: Table) -> Indication | None:
    return read_indication(table, "black_lead_check", "volt", can_be_over_range=False)


_READ_SINGLE: Final[Mapping[str, Callable[[Table], Indication | None]]] = {
    "battery_volts": _read_battery,
    "black_lead_check": _read_black_lead,
}


def _read_resistor(table: Table, key: str, default: float | None = None) -> float:
    """Read a known resistor that someone fitted."""
    value = table.values.get(key, default)
    is_negative = isinstance(value, (int, float)) and value < 0
    quantity = None if is_negative or value is None else table.quantity(key, "ohm")
    if quantity is None and value is default and default is not None:
        return default
    if quantity is None or quantity.over_range or quantity.value <= 0:
        shown = "missing" if value is None else shown_as(value)
        raise table.error(
            f"{table.named(key)} is {shown}.",
            'Write the resistor that was used, such as 1000 or "2.2 kohm".',
            key,
        )
    return quantity.value


def _read_fitted(table: Table, round_title: str, pins: tuple[str, ...]) -> Fitted:
    table.title = f"{round_title}, fitted"
    table.joint = " "
    table.require_known(("from", "to", "ohms"))
    places = (*pins, BATTERY_NEGATIVE)
    ends = [table.required_text(key, pins[0]) for key in ("from", "to")]
    for key, end in zip(("from", "to"), ends, strict=True):
        if end not in places:
            raise table.error(
                f"{table.named(key)}: {shown_as(end)} isn't a place for a resistor.",
                nearest(end, places, "Possible are"),
                key,
            )
    if ends[0] == ends[1]:
        raise table.error(
            f"{table.title}: both ends are {shown_as(ends[0])}.",
            "Name the two terminals between which the resistor is.",
            "to",
        )
    return Fitted(ends[0], ends[1], _read_resistor(table, "ohms"))
