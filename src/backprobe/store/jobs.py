"""Jobs: begun, changed, closed, listed, searched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from sqlalchemy import ColumnElement, delete, func, select
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError
from backprobe.store.columns import now
from backprobe.store.events import job_row, log, new_key, refresh_search_text
from backprobe.store.record import JobHead, JobLine, Outcome
from backprobe.store.schema import CodeRow, JobRow, OutcomeRow


def new_job(session: Session, head: JobHead, *, device: str = "", key: str = "") -> str:
    """Begin a job and return its key; one whose key is there already is begun only once."""
    if key and session.scalar(select(JobRow.id).where(JobRow.key == key)) is not None:
        return key
    instant = now()
    row = JobRow(key=key or new_key(), created_at=instant, changed_at=instant)
    _put(row, head)
    session.add(row)
    session.flush()
    _put_codes(session, row, head)
    log(session, row.id, "job begun", device, title=head.title)
    refresh_search_text(session, row)
    return row.key


def change_job(session: Session, key: str, head: JobHead, before: JobHead, *, device: str) -> None:
    """Write down the visit anew; what stood there before is kept in the log."""
    row = job_row(session, key)
    require_open(row)
    old, new = asdict(before), asdict(head)
    changed = {name: _plain(old[name]) for name in new if old[name] != new[name]}
    if not changed:
        return
    _put(row, head)
    session.execute(delete(CodeRow).where(CodeRow.job_id == row.id))
    _put_codes(session, row, head)
    log(session, row.id, "job changed", device, before=changed)
    refresh_search_text(session, row)


def add_outcome(session: Session, key: str, outcome: Outcome) -> None:
    """Write down what was found and done; earlier outcomes stay."""
    row = job_row(session, key)
    session.add(
        OutcomeRow(
            job_id=row.id,
            fault=outcome.fault,
            terminals=list(outcome.terminals),
            cause=outcome.cause,
            repair=outcome.repair,
            not_tested=outcome.not_tested,
            proof=list(outcome.proof),
            at=outcome.at,
            device=outcome.device,
        )
    )
    row.outcome = outcome.fault
    log(session, row.id, "outcome", outcome.device, fault=outcome.fault)
    refresh_search_text(session, row)


def close_job(session: Session, key: str, *, device: str) -> None:
    """Close a job: nothing is entered into it until it is reopened."""
    row = job_row(session, key)
    if row.closed_at is None:
        row.closed_at = now()
        log(session, row.id, "closed", device)


def reopen_job(session: Session, key: str, *, device: str) -> None:
    """Open a closed job again."""
    row = job_row(session, key)
    if row.closed_at is not None:
        row.closed_at = None
        log(session, row.id, "reopened", device)


def require_open(row: JobRow) -> None:
    """Refuse changes to a closed job."""
    if row.closed_at is not None:
        raise ConflictError("The job is closed.", remedy="Reopen it, then enter this again.")


def count_jobs(session: Session, text: str = "", *, is_open: bool | None = None) -> int:
    """Count the jobs that match."""
    return session.scalar(select(func.count(JobRow.id)).where(*_matching(text, is_open))) or 0


def list_jobs(
    session: Session,
    text: str = "",
    *,
    is_open: bool | None = None,
    limit: int = 50,
    offset: int = 0,
) -> list[JobLine]:
    """Jobs in which all words of the text occur, the last changed first."""
    query = select(JobRow).where(*_matching(text, is_open))
    rows = session.scalars(
        query.order_by(JobRow.changed_at.desc(), JobRow.id.desc()).limit(limit).offset(offset)
    ).all()
    codes = _codes_of(session, [row.id for row in rows])
    return [
        JobLine(
            key=row.key,
            title=row.title,
            vehicle=row.vehicle,
            vin=row.vin,
            codes=codes.get(row.id, ()),
            opened=row.opened,
            changed_at=row.changed_at,
            closed_at=row.closed_at,
            outcome=row.outcome,
        )
        for row in rows
    ]


def _matching(text: str, is_open: bool | None) -> list[ColumnElement[bool]]:
    """What the jobs asked for have in common."""
    found = [JobRow.search_text.contains(word, autoescape=True) for word in text.casefold().split()]
    if is_open is not None:
        found.append(JobRow.closed_at.is_(None) == is_open)
    return found


def _codes_of(session: Session, ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    rows = session.execute(
        select(CodeRow.job_id, CodeRow.code)
        .where(CodeRow.job_id.in_(ids))
        .order_by(CodeRow.position)
    )
    found: dict[int, tuple[str, ...]] = {}
    for job_id, code in rows:
        found[job_id] = (*found.get(job_id, ()), code)
    return found


def _put(row: JobRow, head: JobHead) -> None:
    vehicle, engine, meter = head.vehicle, head.vehicle.engine, head.meter
    row.title, row.complaint, row.recent_work = head.title, head.complaint, head.recent_work
    row.opened, row.technician = head.opened, head.technician
    row.vehicle, row.vin, row.odometer_km = vehicle.description, vehicle.vin, vehicle.odometer_km
    row.displacement_l, row.cylinders = engine.displacement_l, engine.cylinders
    row.cycle, row.fuel, row.induction = engine.cycle, engine.fuel, engine.induction
    row.meter_name, row.meter_counts = head.meter_name, meter.counts
    row.meter_dc_volts, row.meter_ac_volts = meter.dc_volts, meter.ac_volts
    row.meter_ohms, row.meter_hertz = meter.ohms, meter.hertz
    row.meter_input_ohm = meter.input_resistance


def _put_codes(session: Session, row: JobRow, head: JobHead) -> None:
    for position, code in enumerate(head.codes):
        session.add(
            CodeRow(
                job_id=row.id,
                position=position,
                code=code.code,
                status=code.status,
                freeze_frame=dict(code.freeze_frame),
            )
        )


def _plain(value: object) -> object:
    """A value as JSON can hold it."""
    if isinstance(value, dict):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)
