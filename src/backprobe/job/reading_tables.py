"""The readings of a round: one at each pin, at each pair of pins, for each reported value."""

from collections.abc import Mapping
from typing import Final

from backprobe.job.model import Indication
from backprobe.job.table import Table, nearest
from backprobe.quantities.spelling import shown_as
from backprobe.vocabulary import SCAN_UNITS

# The readings that a round has one of at each pin, and their units.
PIN_READINGS: Final[dict[str, str]] = {
    "volts": "volt",
    "volts_high": "volt",
    "volts_low": "volt",
    "level_high": "volt",
    "level_low": "volt",
    "volts_ac": "volt",
    "hertz": "hertz",
    "duty_percent": "percent",
    "harness_ohms": "ohm",
    "volts_loaded": "volt",
}
# An AC reading is a root mean square.
_NEVER_NEGATIVE: Final = ("volts_ac",)


def read_indication(
    table: Table, key: str, unit: str, *, can_be_over_range: bool
) -> Indication | None:
    """Read one indication; its text is kept where it was written as one, digits and all."""
    quantity = table.quantity(key, unit)
    if quantity is None:
        return None
    if quantity.over_range and not can_be_over_range:
        raise table.error(
            f"{table.named(key)} is over range.",
            "Choose a higher range and measure again, or leave it out.",
            key,
        )
    value = table.values[key]
    written = value.strip() if isinstance(value, str) else ""
    return Indication(quantity.value, quantity.over_range, written)


def read_pin_readings(
    table: Table, key: str, unit: str, pins: tuple[str, ...]
) -> Mapping[str, Indication]:
    """Read one kind of reading at each pin, in the connector's order."""
    readings = table.table(key, "a reading for each pin", joint=" ")
    readings.title = f"{table.title}, {key}"
    found: dict[str, Indication] = {}
    for pin in readings:
        _require_pin(readings, pin, pin, pins)
        reading = read_indication(readings, pin, unit, can_be_over_range=unit != "percent")
        if reading is None:
            continue
        if key in _NEVER_NEGATIVE and reading.value < 0:
            raise readings.error(
                f"{readings.named(pin)} is below zero, which AC volts can't be.",
                "Write it without the sign, or under volts if the meter was set to DC.",
                pin,
            )
        found[pin] = reading
    return {pin: found[pin] for pin in pins if pin in found}


def read_sensor_ohms(table: Table, pins: tuple[str, ...]) -> Mapping[tuple[str, str], Indication]:
    """Read the resistances between pairs of pins; either order of a pair means the same."""
    readings = table.table("sensor_ohms", "a reading for each pair of pins", joint=" ")
    readings.title = f"{table.title}, sensor_ohms"
    found: dict[tuple[str, str], Indication] = {}
    for key in readings:
        pair = _read_pair(readings, key, pins)
        if pair in found:
            raise readings.error(
                f"{readings.title} has pins {pair[0]} and {pair[1]} twice;"
                " either order means the same.",
                "Keep one of the two.",
                key,
            )
        reading = read_indication(readings, key, "ohm", can_be_over_range=True)
        if reading is not None:
            found[pair] = reading
    return found


def read_scan(table: Table) -> Mapping[str, Indication]:
    """Read the values that the control unit reports."""
    values = table.table("scan", "a value for each name", joint=" ")
    values.title = f"{table.title}, scan"
    found: dict[str, Indication] = {}
    for name in values:
        if name not in SCAN_UNITS:
            raise values.error(
                f"{values.title}: {shown_as(name)} isn't a known value of a control unit.",
                nearest(name, tuple(SCAN_UNITS), "Known are"),
                name,
            )
        reading = read_indication(values, name, SCAN_UNITS[name], can_be_over_range=False)
        if reading is not None:
            found[name] = reading
    return found


def _read_pair(readings: Table, key: str, pins: tuple[str, ...]) -> tuple[str, str]:
    names = [name.strip() for name in key.split("-")]
    if len(names) != 2 or not all(names):
        raise readings.error(
            f"{readings.title}: {shown_as(key)} isn't a pair of pins.",
            f"Write two pins with a dash between them, such as {pins[0]}-{pins[1]} = 2210.",
            key,
        )
    for name in names:
        _require_pin(readings, name, key, pins)
    if names[0] == names[1]:
        raise readings.error(
            f"{readings.title}: {shown_as(key)} names one pin twice.",
            "Name the two pins between which the meter was.",
            key,
        )
    first, second = sorted(names, key=pins.index)
    return first, second


def _require_pin(readings: Table, pin: str, key: str, pins: tuple[str, ...]) -> None:
    if pin in pins:
        return
    raise readings.error(
        f"{readings.title}: the connector has no pin {shown_as(pin)}.",
        nearest(pin, pins, "Its pins are"),
        key,
    )
