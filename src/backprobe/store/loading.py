"""From rows back to records: one job whole, or one sheet."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from backprobe.job import (
    Code,
    Connector,
    Engine,
    Fitted,
    Indication,
    Meter,
    Round,
    Terminal,
    Vehicle,
)
from backprobe.store.cells import Cell, with_cells
from backprobe.store.events import job_row, sheet_row
from backprobe.store.record import (
    Attachment,
    Entry,
    Event,
    JobHead,
    JobRecord,
    Outcome,
    RoundRecord,
    SetAside,
    SheetRecord,
)
from backprobe.store.recordings import recordings_of
from backprobe.store.schema import (
    AttachmentRow,
    CodeRow,
    CorrectionRow,
    EventRow,
    IndicationRow,
    JobRow,
    OutcomeRow,
    RoundRow,
    SetAsideRow,
    SheetRow,
    TerminalRow,
)


def load_job(session: Session, key: str, *, with_events: bool = False) -> JobRecord:
    """Everything kept of a job; its log only where it is asked for."""
    row = job_row(session, key)
    sheets = session.scalars(
        select(SheetRow).where(SheetRow.job_id == row.id).order_by(SheetRow.position)
    ).all()
    return JobRecord(
        key=row.key,
        head=_head(session, row),
        created_at=row.created_at,
        changed_at=row.changed_at,
        closed_at=row.closed_at,
        sheets=_sheets(session, sheets),
        outcomes=_outcomes(session, row.id),
        attachments=attachments_of(session, row.id),
        recordings=recordings_of(session, row.id),
        events=_events(session, row.id) if with_events else (),
    )


def load_sheet(session: Session, key: str) -> tuple[str, JobHead, SheetRecord]:
    """One sheet with its job's key and head."""
    row = sheet_row(session, key)
    job = session.get_one(JobRow, row.job_id)
    return job.key, _head(session, job), _sheets(session, [row])[0]


def _head(session: Session, row: JobRow) -> JobHead:
    codes = session.scalars(
        select(CodeRow).where(CodeRow.job_id == row.id).order_by(CodeRow.position)
    )
    return JobHead(
        title=row.title,
        complaint=row.complaint,
        recent_work=row.recent_work,
        opened=row.opened,
        technician=row.technician,
        vehicle=Vehicle(
            description=row.vehicle,
            vin=row.vin,
            odometer_km=row.odometer_km,
            engine=Engine(
                displacement_l=row.displacement_l,
                cylinders=row.cylinders,
                cycle=row.cycle,
                fuel=row.fuel,
                induction=row.induction,
            ),
        ),
        codes=tuple(Code(each.code, each.status, dict(each.freeze_frame)) for each in codes),
        meter=Meter(
            counts=row.meter_counts,
            dc_volts=row.meter_dc_volts,
            ac_volts=row.meter_ac_volts,
            ohms=row.meter_ohms,
            hertz=row.meter_hertz,
            input_resistance=row.meter_input_ohm,
        ),
        meter_name=row.meter_name,
    )


def _sheets(session: Session, rows: Sequence[SheetRow]) -> tuple[SheetRecord, ...]:
    ids = [row.id for row in rows]
    terminals = _terminals(session, ids)
    keys = {row.id: row.key for row in rows}
    asides = defaultdict(list)
    for aside in session.scalars(
        select(SetAsideRow)
        .where(SetAsideRow.sheet_id.in_(ids), SetAsideRow.is_taken_back.is_(False))
        .order_by(SetAsideRow.id)
    ):
        asides[aside.sheet_id].append(
            SetAside(aside.id, aside.quantity, aside.place, aside.state, aside.reason)
        )
    connectors = {row.id: Connector(row.name, row.kind, terminals[row.id]) for row in rows}
    rounds = _rounds(session, connectors)
    return tuple(
        SheetRecord(
            key=row.key,
            phase=row.phase,
            connector=connectors[row.id],
            rounds=tuple(rounds[row.id]),
            set_aside=tuple(asides[row.id]),
            repeats=_key_of(session, keys, row.repeats_id),
        )
        for row in rows
    )


def _terminals(session: Session, ids: Sequence[int]) -> defaultdict[int, tuple[Terminal, ...]]:
    found: defaultdict[int, tuple[Terminal, ...]] = defaultdict(tuple)
    for row in session.scalars(
        select(TerminalRow).where(TerminalRow.sheet_id.in_(ids)).order_by(TerminalRow.position)
    ):
        found[row.sheet_id] += (Terminal(row.pin, row.colour, row.diagram),)
    return found


def _key_of(session: Session, keys: dict[int, str], number: int | None) -> str:
    if number is None:
        return ""
    return keys.get(number) or session.get_one(SheetRow, number).key


def _rounds(
    session: Session, connectors: dict[int, Connector]
) -> defaultdict[int, list[RoundRecord]]:
    rows = session.scalars(
        select(RoundRow).where(RoundRow.sheet_id.in_(connectors)).order_by(RoundRow.position)
    ).all()
    entries = _entries(session, [row.id for row in rows])
    keys = {row.id: row.key for row in rows}
    missing = {row.repeats_id for row in rows if row.repeats_id} - keys.keys()
    others = session.execute(select(RoundRow.id, RoundRow.key).where(RoundRow.id.in_(missing)))
    keys |= {row.id: row.key for row in others}
    found: defaultdict[int, list[RoundRecord]] = defaultdict(list)
    for row in rows:
        pins = connectors[row.sheet_id].pins
        standing = (((e.quantity, e.place), e.indication) for e in entries[row.id] if e.stands)
        found[row.sheet_id].append(
            RoundRecord(
                key=row.key,
                round=with_cells(bare_round(row), standing_cells(standing), pins),
                entries=tuple(entries[row.id]),
                begun_at=row.begun_at,
                repeats=keys[row.repeats_id] if row.repeats_id else "",
            )
        )
    return found


def bare_round(row: RoundRow | Row[*tuple[Any, ...]]) -> Round:
    """A round's state, without its readings."""
    return Round(
        name=row.name,
        plugged=row.plugged,
        key=row.ignition,
        rpm=row.speed_rpm,
        action=row.action,
        black_lead=row.black_lead,
        ambient_celsius=row.ambient_celsius,
        load_ohms=row.load_ohm,
        fitted=tuple(Fitted(start, end, ohms) for start, end, ohms in row.fitted),
        void=row.void,
        note=row.note,
    )


def standing_cells(
    entries: Iterable[tuple[Cell, Indication | None]],
) -> list[tuple[Cell, Indication]]:
    """What each cell says; one in which entries contradict each other says nothing yet."""
    standing: defaultdict[Cell, list[Indication | None]] = defaultdict(list)
    for cell, indication in entries:
        standing[cell].append(indication)
    found = []
    for cell, values in standing.items():
        last = values[-1]
        if last is not None and all(v is not None and v.value == last.value for v in values):
            found.append((cell, last))
    return found


def _entries(session: Session, ids: Sequence[int]) -> defaultdict[int, list[Entry]]:
    """Entries by round, oldest first."""
    replaces: defaultdict[int, list[int]] = defaultdict(list)
    replaced: set[int] = set()
    pairs = session.execute(
        select(CorrectionRow.new_id, CorrectionRow.old_id)
        .join(IndicationRow, IndicationRow.id == CorrectionRow.new_id)
        .where(IndicationRow.round_id.in_(ids))
    )
    for new, old in pairs:
        replaces[new].append(old)
        replaced.add(old)
    found: defaultdict[int, list[Entry]] = defaultdict(list)
    query = select(IndicationRow).where(IndicationRow.round_id.in_(ids))
    for row in session.scalars(query.order_by(IndicationRow.id)):
        found[row.round_id].append(
            Entry(
                id=row.id,
                entry_key=row.entry_key,
                quantity=row.quantity,
                place=row.place,
                indication=indication_of(row),
                entered_at=row.entered_at,
                device=row.device,
                replaces=tuple(sorted(replaces[row.id])),
                stands=row.id not in replaced,
            )
        )
    return found


def indication_of(row: IndicationRow | Row[*tuple[Any, ...]]) -> Indication | None:
    """What an entry showed; None where it takes back."""
    if row.is_taken_back:
        return None
    value = math.inf if row.is_over_range or row.value is None else row.value
    return Indication(value, row.is_over_range, row.written)


def _outcomes(session: Session, job_id: int) -> tuple[Outcome, ...]:
    rows = session.scalars(
        select(OutcomeRow).where(OutcomeRow.job_id == job_id).order_by(OutcomeRow.id)
    )
    return tuple(
        Outcome(
            fault=row.fault,
            terminals=tuple(row.terminals),
            cause=row.cause,
            repair=row.repair,
            not_tested=row.not_tested,
            proof=tuple(row.proof),
            at=row.at,
            device=row.device,
        )
        for row in rows
    )


def attachments_of(session: Session, job_id: int) -> tuple[Attachment, ...]:
    """Pictures and documents of a job, in the order in which they came."""
    rows = session.execute(
        select(AttachmentRow, RoundRow.name, RoundRow.key, SheetRow.key)
        .outerjoin(RoundRow, RoundRow.id == AttachmentRow.round_id)
        .outerjoin(SheetRow, SheetRow.id == RoundRow.sheet_id)
        .where(AttachmentRow.job_id == job_id)
        .order_by(AttachmentRow.id)
    )
    return tuple(
        Attachment(
            key=row.key,
            sha256=row.sha256,
            media_type=row.media_type,
            size_bytes=row.size_bytes,
            name=row.name,
            caption=row.caption,
            added_at=row.added_at,
            sheet=sheet or "",
            round=name or "",
            place=row.place,
            quantity=row.quantity,
            round_key=round_key or "",
        )
        for row, name, round_key, sheet in rows
    )


def _events(session: Session, job_id: int) -> tuple[Event, ...]:
    rows = session.scalars(select(EventRow).where(EventRow.job_id == job_id).order_by(EventRow.id))
    return tuple(Event(row.id, row.kind, row.details, row.at, row.device) for row in rows)
