"""Captures and logs of a job: their rows, as records."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from backprobe.errors import NotFoundError
from backprobe.store.columns import now
from backprobe.store.events import log, new_key
from backprobe.store.recording import Mark, NewRecording, RecordedChannel, Recording
from backprobe.store.schema import (
    JobRow,
    RecordingChannelRow,
    RecordingMarkRow,
    RecordingRow,
    RoundRow,
    SheetRow,
)


def add_recording(
    session: Session,
    job: JobRow,
    told: NewRecording,
    *,
    round_row: RoundRow | None,
    key: str = "",
    device: str = "",
) -> str:
    """Keep what is told of a recording, its files being kept already; returns its key."""
    row = RecordingRow(
        key=key or new_key(),
        job_id=job.id,
        round_id=None if round_row is None else round_row.id,
        kind=told.kind,
        name=told.name,
        caption=told.caption,
        source_sha256=told.source_sha256,
        source_bytes=told.source_bytes,
        samples_sha256=told.samples_sha256,
        mapping=told.mapping,
        remarks=list(told.remarks),
        n_sample=told.n_sample,
        start_s=told.start,
        interval_s=told.interval,
        error_share=told.error_share,
        added_at=now(),
        device=device,
    )
    session.add(row)
    session.flush()
    _put_channels(session, row, told.channels)
    log(session, job.id, told.kind, device, recording=row.key, name=told.name)
    return row.key


def place_recording(
    session: Session,
    row: RecordingRow,
    *,
    round_row: RoundRow | None,
    channels: Sequence[RecordedChannel],
    caption: str,
    error_share: float,
    device: str = "",
) -> None:
    """Write anew where a recording belongs, and what its channels are."""
    row.round_id = None if round_row is None else round_row.id
    row.caption = caption
    row.error_share = error_share
    for old in _channel_rows(session, [row.id]):
        session.delete(old)
    session.flush()
    _put_channels(session, row, channels)
    log(session, row.job_id, "recording placed", device, recording=row.key)


def void_recording(session: Session, row: RecordingRow, reason: str, *, device: str = "") -> None:
    """Say why a recording doesn't count, or (empty) that it does again."""
    log(session, row.job_id, "recording void", device, recording=row.key, before=row.void)
    row.void = reason


def add_mark(
    session: Session, row: RecordingRow, start: float, end: float, text: str, *, device: str = ""
) -> int:
    """Put a remark at an instant or over a span."""
    mark = RecordingMarkRow(
        recording_id=row.id, from_s=start, until_s=end, text=text, at=now(), device=device
    )
    session.add(mark)
    session.flush()
    log(session, row.job_id, "recording mark", device, recording=row.key, mark=mark.id)
    return mark.id


def take_back_mark(session: Session, row: RecordingRow, number: int, *, device: str = "") -> None:
    """Take a remark back; its row stays."""
    mark = session.get(RecordingMarkRow, number)
    if mark is None or mark.recording_id != row.id:
        raise NotFoundError("There is no such mark.", remedy="Load the page again.")
    mark.is_taken_back = True
    log(session, row.job_id, "recording mark taken back", device, recording=row.key, mark=number)


def recording_row(session: Session, key: str) -> RecordingRow:
    """Find a recording's row by its key."""
    found = session.scalar(select(RecordingRow).where(RecordingRow.key == key))
    if found is None:
        raise NotFoundError(
            "There is no such capture or log.", remedy="Look at the job it belongs to."
        )
    return found


def load_recording(session: Session, key: str) -> Recording:
    """One recording as it is kept."""
    return _records(session, [recording_row(session, key)])[0]


def recordings_of(session: Session, job_id: int) -> tuple[Recording, ...]:
    """All recordings of a job, in the order in which they came."""
    rows = session.scalars(
        select(RecordingRow).where(RecordingRow.job_id == job_id).order_by(RecordingRow.id)
    ).all()
    return _records(session, rows)


def kept_hashes(session: Session) -> dict[str, str]:
    """Hashes of all files of recordings, with the names of what they belong to."""
    return dict(session.execute(select(RecordingRow.samples_sha256, RecordingRow.name)).all())


def _put_channels(session: Session, row: RecordingRow, channels: Iterable[RecordedChannel]) -> None:
    session.add_all(
        RecordingChannelRow(
            recording_id=row.id,
            position=position,
            name=each.name,
            unit=each.unit,
            quantity=each.quantity,
            place=each.place,
            signal=each.signal,
        )
        for position, each in enumerate(channels)
    )


def _channel_rows(session: Session, ids: Sequence[int]) -> Sequence[RecordingChannelRow]:
    return session.scalars(
        select(RecordingChannelRow)
        .where(RecordingChannelRow.recording_id.in_(ids))
        .order_by(RecordingChannelRow.position)
    ).all()


def _records(session: Session, rows: Sequence[RecordingRow]) -> tuple[Recording, ...]:
    ids = [row.id for row in rows]
    channels: dict[int, list[RecordedChannel]] = {each: [] for each in ids}
    for row in _channel_rows(session, ids):
        channels[row.recording_id].append(
            RecordedChannel(row.name, row.unit, row.quantity, row.place, row.signal)
        )
    marks: dict[int, list[Mark]] = {each: [] for each in ids}
    for mark in session.scalars(
        select(RecordingMarkRow)
        .where(RecordingMarkRow.recording_id.in_(ids), ~RecordingMarkRow.is_taken_back)
        .order_by(RecordingMarkRow.from_s, RecordingMarkRow.id)
    ):
        marks[mark.recording_id].append(
            Mark(mark.id, mark.from_s, mark.until_s, mark.text, mark.device)
        )
    places = _places(session, rows)
    return tuple(
        Recording(
            key=row.key,
            job=session.get_one(JobRow, row.job_id).key,
            sheet=places[row.id][0],
            round=places[row.id][1],
            round_name=places[row.id][2],
            told=NewRecording(
                kind=row.kind,
                name=row.name,
                source_sha256=row.source_sha256,
                source_bytes=row.source_bytes,
                samples_sha256=row.samples_sha256,
                mapping=row.mapping,
                remarks=tuple(str(each) for each in row.remarks),
                n_sample=row.n_sample,
                start=row.start_s,
                interval=row.interval_s,
                error_share=row.error_share,
                channels=tuple(channels[row.id]),
                caption=row.caption,
            ),
            void=row.void,
            added_at=row.added_at,
            device=row.device,
            marks=tuple(marks[row.id]),
        )
        for row in rows
    )


def _places(session: Session, rows: Sequence[RecordingRow]) -> dict[int, tuple[str, str, str]]:
    """Keys of sheet and round, and the round's name, of each recording."""
    found = session.execute(
        select(RoundRow.id, SheetRow.key, RoundRow.key, RoundRow.name)
        .join(SheetRow, SheetRow.id == RoundRow.sheet_id)
        .where(RoundRow.id.in_([row.round_id for row in rows if row.round_id is not None]))
    ).all()
    by_round = {number: (sheet, key, name) for number, sheet, key, name in found}
    return {row.id: by_round.get(row.round_id or 0, ("", "", "")) for row in rows}
