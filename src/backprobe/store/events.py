"""The log of a job: every change in order, and what finds the job again in the list."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from typing import Any, Final

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from backprobe.errors import NotFoundError
from backprobe.store.columns import now
from backprobe.store.schema import CodeRow, EventRow, JobRow, OutcomeRow, RoundRow, SheetRow

# Made once: every reading asks these, and making a statement costs as much as running it.
_ROUND: Final = (
    select(RoundRow, SheetRow)
    .join(SheetRow, SheetRow.id == RoundRow.sheet_id)
    .where(RoundRow.key == bindparam("key"))
)
_NEWEST: Final = select(func.max(EventRow.id))
_NEWEST_OF_JOB: Final = _NEWEST.where(EventRow.job_id == bindparam("job_id"))


def new_key() -> str:
    """A name for a row that nobody can guess and no two machines give twice."""
    return secrets.token_hex(8)


def log(session: Session, job_id: int, kind: str, device: str, **details: Any) -> None:
    """Note a change of a job."""
    instant = now()
    session.get_one(JobRow, job_id).changed_at = instant
    session.add(EventRow(job_id=job_id, kind=kind, details=details, at=instant, device=device))


def job_row(session: Session, key: str) -> JobRow:
    """Find a job's row by its key."""
    found = session.scalar(select(JobRow).where(JobRow.key == key))
    if found is None:
        raise _missing("job")
    return found


def sheet_row(session: Session, key: str) -> SheetRow:
    """Find a sheet's row by its key."""
    found = session.scalar(select(SheetRow).where(SheetRow.key == key))
    if found is None:
        raise _missing("sheet")
    return found


def round_row(session: Session, key: str) -> tuple[RoundRow, SheetRow]:
    """Find a round's row, and its sheet's, by the round's key."""
    found = session.execute(_ROUND, {"key": key}).first()
    if found is None:
        raise _missing("round")
    return found[0], found[1]


def newest_event(session: Session, job_id: int | None = None) -> int:
    """Number of the newest change, of one job or of all; 0 where there is none."""
    if job_id is None:
        return session.scalar(_NEWEST) or 0
    return session.scalar(_NEWEST_OF_JOB, {"job_id": job_id}) or 0


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


def _missing(noun: str) -> NotFoundError:
    return NotFoundError(
        f"There is no such {noun}.", remedy="Look at the list of jobs; the address may be old."
    )
