"""Between a round's readings and the cells that hold them: quantity and place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from backprobe.job import Indication, Round
from backprobe.job.reading_tables import PIN_READINGS
from backprobe.vocabulary import SCAN_UNITS

# Readings of the whole round: they have no place.
ROUND_READINGS: Final = ("battery_volts", "black_lead_check")
PAIRS: Final = "sensor_ohms"
SCAN: Final = "scan"
QUANTITIES: Final = (*ROUND_READINGS, *PIN_READINGS, PAIRS, SCAN)

Cell = tuple[str, str]


def unit_of(quantity: str, place: str) -> str:
    """The plain unit of a cell."""
    if quantity == SCAN:
        return SCAN_UNITS[place]
    if quantity == PAIRS:
        return "ohm"
    return PIN_READINGS.get(quantity, "volt")


def pair_place(first: str, second: str) -> str:
    """Two pins as the place of a reading between them."""
    return f"{first}-{second}"


def cells_of(each: Round) -> Iterator[tuple[Cell, Indication]]:
    """All readings of a round with their cells."""
    for quantity in ROUND_READINGS:
        found: Indication | None = getattr(each, quantity)
        if found is not None:
            yield (quantity, ""), found
    for quantity in PIN_READINGS:
        for pin, indication in getattr(each, quantity).items():
            yield (quantity, pin), indication
    for (first, second), indication in each.sensor_ohms.items():
        yield (PAIRS, pair_place(first, second)), indication
    for name, indication in each.scan.items():
        yield (SCAN, name), indication


def with_cells(
    bare: Round, cells: Iterable[tuple[Cell, Indication]], pins: tuple[str, ...]
) -> Round:
    """A round with readings; those at pins stand in the connector's order."""
    found: dict[str, dict[str, Indication]] = {}
    for (quantity, place), indication in cells:
        found.setdefault(quantity, {})[place] = indication
    values: dict[str, Any] = {
        quantity: found.get(quantity, {}).get("") for quantity in ROUND_READINGS
    }
    for quantity in PIN_READINGS:
        values[quantity] = _ordered(found.get(quantity, {}), pins)
    pairs = {tuple(place.split("-")): i for place, i in found.get(PAIRS, {}).items()}
    values[PAIRS] = dict(sorted(pairs.items(), key=lambda p: [pins.index(x) for x in p[0]]))
    values[SCAN] = found.get(SCAN, {})
    return replace(bare, **values)


def with_cell(
    each: Round, cell: Cell, indication: Indication | None, pins: tuple[str, ...]
) -> Round:
    """A round with one reading put in, or taken out where there is none."""
    cells = {found: value for found, value in cells_of(each) if found != cell}
    if indication is not None:
        cells[cell] = indication
    return with_cells(each, cells.items(), pins)


def _ordered(readings: Mapping[str, Indication], pins: tuple[str, ...]) -> dict[str, Indication]:
    return {pin: readings[pin] for pin in pins if pin in readings}
