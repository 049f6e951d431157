"""Whether what someone wants to keep could stand in a job file: one set of rules for every way in.

Whatever the store holds can be exported and read again, because it has passed through the job
file's own writer and reader before it was stored.
"""

from __future__ import annotations

from dataclasses import replace

from backprobe.errors import JobFileError, ValueOutOfRange
from backprobe.job import Connector, Indication, Job, Round, Terminal, parse_job, write_job
from backprobe.job.round_reader import read_reading, require_possible
from backprobe.job.writer import plain_value
from backprobe.services.words import reading_words
from backprobe.store.cells import (
    PAIRS,
    QUANTITIES,
    ROUND_READINGS,
    SCAN,
    Cell,
    pair_place,
    with_cell,
)
from backprobe.store.record import JobHead, SheetRecord, head_of, job_of
from backprobe.vocabulary import SCAN_UNITS

_PLAIN = Connector("connector", terminals=(Terminal("1"), Terminal("2")))


def checked_job(job: Job) -> Job:
    """The job as its file would give it back.

    Raises
    ------
    ValueOutOfRange
        It could not stand in a job file; what and remedy say why, without a line.
    """
    try:
        return parse_job(write_job(job), "")
    except JobFileError as error:
        raise ValueOutOfRange(error.what, remedy=error.remedy) from error


def checked_head(head: JobHead) -> JobHead:
    """The visit as a job file would give it back; the meter's name is kept beside it."""
    sheet = SheetRecord("", "", _PLAIN)
    return replace(head_of(checked_job(job_of(head, sheet))), meter_name=head.meter_name.strip())


def checked_connector(connector: Connector) -> Connector:
    """The connector as a job file would give it back."""
    return checked_job(Job(title="-", connector=connector)).connector


def checked_round(connector: Connector, each: Round) -> Round:
    """The round as a job file would give it back."""
    return checked_job(Job(title="-", connector=connector, rounds=(each,))).rounds[0]


def checked_reading(
    pins: tuple[str, ...], each: Round, cell: Cell, written: str | Indication
) -> Indication:
    """What was written into a cell, read by the job file's rules and held against its round.

    All else in the round was checked when it was stored, so the whole file need not be written and
    read for it; that the outcome is the same is tested.

    Parameters
    ----------
    pins, each : tuple of str, Round
        Where the cell is.
    cell : (str, str)
        Quantity and place.
    written : str or Indication
        The reading with its unit, as the meter showed it: "5.01", "12 mV", "OL"; or one that was
        read before.
    """
    value = _shown(written) if isinstance(written, str) else plain_value(written)
    try:
        found = read_reading(each, *cell, value, pins)
        require_possible(with_cell(each, cell, found, pins))
    except JobFileError as error:
        raise ValueOutOfRange(error.what, remedy=error.remedy) from error
    return found


def checked_place(pins: tuple[str, ...], cell: Cell) -> Cell:
    """The cell as it is stored: pairs of pins in the connector's order.

    Raises
    ------
    ValueOutOfRange
        The connector has no such cell.
    """
    quantity, place = cell
    ends = place.split("-")
    if quantity == PAIRS and len(ends) == 2 and ends[0] != ends[1] and set(ends) <= set(pins):
        first, second = sorted(ends, key=pins.index)
        return quantity, pair_place(first, second)
    is_there = (
        (quantity in ROUND_READINGS and not place)
        or (quantity == SCAN and place in SCAN_UNITS)
        or (
            quantity in QUANTITIES
            and quantity not in (*ROUND_READINGS, PAIRS, SCAN)
            and place in pins
        )
    )
    if is_there:
        return cell
    raise ValueOutOfRange(
        f'This connector has no place for "{reading_words(f"- {quantity} {place}")[:80]}".',
        remedy=f"Its terminals are {', '.join(pins)}.",
    )


def _shown(written: str) -> str:
    if not written.strip():
        raise ValueOutOfRange(
            "An empty text isn't a reading.", remedy="Type what the meter shows, or leave it."
        )
    return written.strip()
