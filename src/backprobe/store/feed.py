"""Changes of jobs in the order of their numbers, for whoever follows along."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import func, select

from backprobe.store.engine import Store
from backprobe.store.events import job_row, newest_event
from backprobe.store.record import Event
from backprobe.store.schema import EventRow


def newest_of_jobs(store: Store, jobs: Iterable[int]) -> dict[int, int]:
    """The number of the newest change of each job."""
    query = (
        select(EventRow.job_id, func.max(EventRow.id))
        .where(EventRow.job_id.in_(sorted(jobs)))
        .group_by(EventRow.job_id)
    )
    with store.read() as session:
        return {job_id: number for job_id, number in session.execute(query)}  # noqa: C416  # a row is no pair to a type checker


def events_after(store: Store, job_id: int, number: int) -> tuple[Event, ...]:
    """The changes of a job that came after one of them, oldest first."""
    query = (
        select(EventRow)
        .where(EventRow.job_id == job_id, EventRow.id > number)
        .order_by(EventRow.id)
    )
    with store.read() as session:
        return tuple(
            Event(row.id, row.kind, row.details, row.at, row.device)
            for row in session.scalars(query)
        )


def position(store: Store, job_key: str) -> tuple[int, int]:
    """The row of a job, and the number of its newest change."""
    with store.read() as session:
        row = job_row(session, job_key)
        return row.id, newest_event(session, row.id)
