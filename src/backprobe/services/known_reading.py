"""A proposed reading whose value is known already: written where it belongs, without measuring."""

from __future__ import annotations

from backprobe.job import Round
from backprobe.services.checking import checked_place, checked_reading, checked_round
from backprobe.services.entry_book import Entered
from backprobe.services.job_book import JobBook
from backprobe.services.unavailable import rpm_class
from backprobe.store.cells import Cell
from backprobe.store.record import RoundRecord


def enter_known(
    book: JobBook, sheet_key: str, state: Round, cell: Cell, written: str, *, device: str = ""
) -> Entered:
    """Enter a reading in the round of its state and black lead; one is begun where there is none.

    Parameters
    ----------
    state : Round
        State of the vehicle and point of the black lead when it was read; without a name.
    cell, written : (str, str), str
        What was read where, and what the meter showed.

    Raises
    ------
    ValueOutOfRange
        The state or the reading can't be; no round is begun then.
    """
    _, _, sheet = book.sheet(sheet_key)
    place = checked_place(sheet.connector.pins, cell)
    probe = checked_round(sheet.connector, _named(state))
    checked_reading(sheet.connector.pins, probe, place, written)
    found = next((r for r in reversed(sheet.rounds) if _takes(r, state, place)), None)
    key = book.add_round(sheet_key, state, device=device) if found is None else found.key
    return book.enter(key, place, written, seen=(), device=device)


def _named(state: Round) -> Round:
    return Round(
        name="-",
        plugged=state.plugged,
        key=state.key,
        rpm=state.rpm,
        action=state.action,
        black_lead=state.black_lead,
    )


def _takes(record: RoundRecord, state: Round, cell: Cell) -> bool:
    """Whether a round counts, is of this state and black lead, and has nothing in the cell."""
    each = record.round
    return (
        not each.void
        and (each.plugged, each.key, each.action) == (state.plugged, state.key, state.action)
        and rpm_class(each.key, each.rpm) == rpm_class(state.key, state.rpm)
        and each.black_lead == state.black_lead
        and not any(entry.stands for entry in record.cell(*cell))
    )
