"""Terminals that an outcome names: of which connector, where several have a pin of that name.

Kept as "SHEET/PIN", the sheet by its key, so that neither a connector that joins the job later nor
a new name of one changes what was meant. Shown as the pin alone wherever that is clear.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from backprobe.errors import ValueOutOfRange
from backprobe.store.record import FOUND, JobRecord, SheetRecord

_JOINT: Final = "/"


def terminal_key(sheet: SheetRecord, pin: str) -> str:
    """Name a terminal for good."""
    return f"{sheet.key}{_JOINT}{pin}"


def checked_terminals(record: JobRecord, given: Iterable[str]) -> tuple[str, ...]:
    """Terminals as they are kept, each once.

    Parameters
    ----------
    given : iterable of str
        Pins, or "SHEET/PIN" where several connectors of the job have that pin.

    Raises
    ------
    ValueOutOfRange
        No connector of the job has such a terminal, or several have it.
    """
    return tuple(dict.fromkeys(_checked(record, each) for each in given))


def _checked(record: JobRecord, given: str) -> str:
    sheet, pin = _split(record, given)
    if sheet in found_sheets(record) and pin in sheet.connector.pins:
        return terminal_key(sheet, pin)
    having = [] if sheet is not None else _having(record, pin)
    if not having:
        raise ValueOutOfRange(
            f'No connector of this job has a terminal "{pin[:20]}".',
            remedy="Name terminals of the connectors as found.",
        )
    if len(having) > 1:
        several = " or ".join(terminal_key(each, pin) for each in having)
        raise ValueOutOfRange(
            f'Several connectors of this job have a terminal "{pin[:20]}".',
            remedy=f"Say which one is meant: {several}.",
        )
    return terminal_key(having[0], pin)


def plain_terminals(record: JobRecord, kept: Iterable[str]) -> tuple[str, ...]:
    """Terminals as a program may send them again: the pin alone where one connector has it."""
    return tuple(
        pin if sheet is None or len(_having(record, pin)) < 2 else each
        for each, (sheet, pin) in _splits(record, kept)
    )


def told_terminals(record: JobRecord, kept: Iterable[str]) -> tuple[str, ...]:
    """Terminals in words: "3", or "3 of the throttle sensor" where several connectors have it."""
    return tuple(
        pin
        if sheet is None or len(_having(record, pin)) < 2
        else f"{pin} of {sheet.connector.name}"
        for _, (sheet, pin) in _splits(record, kept)
    )


def sheet_meant(record: JobRecord, kept: Iterable[str]) -> SheetRecord | None:
    """The sheet of the first terminal that says its own."""
    found = (sheet for _, (sheet, _) in _splits(record, kept))
    return next((sheet for sheet in found if sheet is not None), None)


def found_sheets(record: JobRecord) -> tuple[SheetRecord, ...]:
    """Sheets as found; those read after a repair have the same connectors."""
    return tuple(sheet for sheet in record.sheets if sheet.phase == FOUND)


def _splits(
    record: JobRecord, kept: Iterable[str]
) -> list[tuple[str, tuple[SheetRecord | None, str]]]:
    return [(each, _split(record, each)) for each in kept]


def _split(record: JobRecord, named: str) -> tuple[SheetRecord | None, str]:
    """Sheet and pin; no sheet where none is named."""
    key, joint, pin = named.partition(_JOINT)
    sheet = record.sheet(key) if joint else None
    return (sheet, pin) if sheet is not None else (None, named)


def _having(record: JobRecord, pin: str) -> list[SheetRecord]:
    return [sheet for sheet in found_sheets(record) if pin in sheet.connector.pins]
