"""Changes of jobs in the order of their numbers, for whoever follows along."""

from __future__ import annotations

from sqlalchemy import select

from backprobe.store.engine import Store
from backprobe.store.events import job_row, newest_event
from backprobe.store.record import Event
from backprobe.store.schema import EventRow


def news_after(store: Store, number: int | None) -> tuple[int, tuple[tuple[int, Event], ...]]:
    """All changes that came after one of them, each with the row of its job, and the newest number.

    None for the number asks for the newest number alone. One writer at a time gives the numbers
    (`Store.write`), so that a later change has a greater one whatever job it is of.
    """
    with store.read() as session:
        newest = newest_event(session)
        if number is None or newest <= number:
            return newest, ()
        query = select(EventRow).where(EventRow.id > number).order_by(EventRow.id)
        found = tuple((row.job_id, _event(row)) for row in session.scalars(query))
        return newest, found


def events_after(store: Store, job_id: int, number: int) -> tuple[Event, ...]:
    """The changes of a job that came after one of them, oldest first."""
    query = (
        select(EventRow)
        .where(EventRow.job_id == job_id, EventRow.id > number)
        .order_by(EventRow.id)
    )
    with store.read() as session:
        return tuple(_event(row) for row in session.scalars(query))


def position(store: Store, job_key: str) -> tuple[int, int]:
    """The row of a job, and the number of the newest change of all."""
    with store.read() as session:
        return job_row(session, job_key).id, newest_event(session)


def _event(row: EventRow) -> Event:
    return Event(row.id, row.kind, row.details, row.at, row.device)
