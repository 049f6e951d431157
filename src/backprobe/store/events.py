"""The log of a job: every change in order, and what finds the job again in the list."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from typing import Any, Final

from sqlalchemy import bindparam, func, insert, select, update
from sqlalchemy.orm import Session

from backprobe.errors import NotFoundError
from backprobe.store.columns import now
from backprobe.store.schema import (
    CodeRow,
    EventRow,
    JobRow,
    OutcomeRow,
    RoundRow,
    SheetRow,
    table_of,
)

# Made once, and of plain columns: every reading asks these. Making a statement costs as much as
# running it, and making an object of a row twice that.
_EVENT: Final = insert(table_of(EventRow))
_CHANGED: Final = (
    update(table_of(JobRow))
    .where(table_of(JobRow).c.id == bindparam("job_id"))
    .values(changed_at=bindparam("instant"))
)


def new_key() -> str:
    """A name for a row that nobody can guess and no two machines give twice."""
    return secrets.token_hex(8)


def log(session: Session, job_id: int, kind: str, device: str, **details: Any) -> None:
    """Note a change of a job."""
    values = {"job_id": job_id, "kind": kind, "details": details, "at": now(), "device": device}
    connection = session.connection()
    connection.execute(_CHANGED, {"job_id": job_id, "instant": values["at"]})
    connection.execute(_EVENT, values)


def job_row(session: Session, key: str) -> JobRow:
    """Find a job's row by its key."""
    found = session.scalar(select(JobRow).where(JobRow.key == key))
    if found is None:
        raise missing("job")
    return found


def sheet_row(session: Session, key: str) -> SheetRow:
    """Find a sheet's row by its key."""
    found = session.scalar(select(SheetRow).where(SheetRow.key == key))
    if found is None:
        raise missing("sheet")
    return found


def round_row(session: Session, key: str) -> tuple[RoundRow, SheetRow]:
    """Find a round's row, and its sheet's, by the round's key."""
    found = session.execute(
        select(RoundRow, SheetRow)
        .join(SheetRow, SheetRow.id == RoundRow.sheet_id)
        .where(RoundRow.key == key)
    ).first()
    if found is None:
        raise missing("round")
    return found[0], found[1]


def newest_event(session: Session) -> int:
    """Number of the newest change of all jobs; 0 where there is none."""
    return session.scalar(select(func.max(EventRow.id))) or 0


def refresh_search_text(session: Session, job: JobRow) -> None:
    """Gather what the list is searched by: small letters, one line."""
    session.flush()
    codes = session.scalars(select(CodeRow.code).where(CodeRow.job_id == job.id))
    names = session.scalars(select(SheetRow.name).where(SheetRow.job_id == job.id).distinct())
    outcome = session.scalars(
        select(OutcomeRow).where(OutcomeRow.job_id == job.id).order_by(OutcomeRow.id.desc())
    ).first()
    done = [outcome.fault, outcome.cause, outcome.repair] if outcome else []
    job.search_text = _one_line(
        [
            *(job.title, job.complaint, job.recent_work, job.vehicle, job.vin, job.technician),
            "" if job.opened is None else job.opened.isoformat(),
            *codes,
            *names,
            *done,
        ]
    )


def _one_line(parts: Iterable[str]) -> str:
    return " ".join(" ".join(part.split()) for part in parts if part).casefold()


def missing(noun: str) -> NotFoundError:
    """The error of an address that leads nowhere."""
    return NotFoundError(
        f"There is no such {noun}.", remedy="Look at the list of jobs; the address may be old."
    )
