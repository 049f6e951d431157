"""The use cases of a capture or log: taken in, placed at its terminals, marked, drawn, voided.

What was recorded is never altered; where it belongs and what is remarked on it may be written anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from sqlalchemy.orm import Session

from backprobe.errors import ValueOutOfRange
from backprobe.services.kept_samples import KeptSamples, KeptShelf
from backprobe.store.engine import Store
from backprobe.store.events import job_row, round_row
from backprobe.store.jobs import require_open
from backprobe.store.recording import NewRecording, RecordedChannel, Recording
from backprobe.store.recordings import (
    add_mark,
    add_recording,
    load_recording,
    place_recording,
    recording_row,
    recordings_of,
    take_back_mark,
    void_recording,
)
from backprobe.store.schema import JobRow, RecordingRow, RoundRow, TerminalRow

LONGEST_TEXT: Final = 1000


class RecordingBook:
    """All captures and logs of a store.

    Parameters
    ----------
    store : Store
        Where they are kept.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self.taking_in: dict[str, float] = {}  # share done of files that are being taken in
        self._shelf = KeptShelf(store.files)

    def recording(self, key: str) -> Recording:
        """One recording as it is kept."""
        with self.store.read() as session:
            return load_recording(session, key)

    def of_job(self, job_key: str) -> tuple[Recording, ...]:
        """All recordings of a job, in the order in which they came."""
        with self.store.read() as session:
            return recordings_of(session, job_row(session, job_key).id)

    def samples(self, recording: Recording) -> KeptSamples:
        """What was recorded."""
        return self._shelf.opened(recording.told)

    def add(
        self,
        job_key: str,
        told: NewRecording,
        *,
        round_key: str = "",
        key: str = "",
        device: str = "",
    ) -> str:
        """Keep a recording whose files are kept already; returns its key."""
        with self.store.write() as session:
            job = job_row(session, job_key)
            require_open(job)
            row = _round_of(session, job, round_key)
            right = replace(told, channels=_checked(session, row, told.channels))
            return add_recording(session, job, right, round_row=row, key=key, device=device)

    def place(
        self,
        key: str,
        *,
        round_key: str,
        channels: Sequence[RecordedChannel],
        caption: str,
        error_share: float,
        device: str = "",
    ) -> None:
        """Write anew in which round and at which terminals it was taken, and with what error.

        Raises
        ------
        ValueOutOfRange
            A terminal isn't one of the round's connector, or two channels are at one.
        """
        with self.store.write() as session:
            row, job = _open_row(session, key)
            at = _round_of(session, job, round_key)
            known = load_recording(session, key).told.channels
            if len(channels) != len(known):
                raise ValueOutOfRange(
                    f"The recording has {len(known)} channels, not {len(channels)}.",
                    remedy="Load the page again.",
                )
            place_recording(
                session,
                row,
                round_row=at,
                channels=_checked(session, at, channels),
                caption=caption.strip()[:LONGEST_TEXT],
                error_share=checked_error(error_share),
                device=device,
            )

    def void(self, key: str, reason: str, *, device: str = "") -> None:
        """Say why it doesn't count; empty lets it count again."""
        with self.store.write() as session:
            row, _ = _open_row(session, key)
            void_recording(session, row, reason.strip()[:LONGEST_TEXT], device=device)

    def mark(self, key: str, start: float, end: float, text: str, *, device: str = "") -> int:
        """Put a remark at an instant or over a span, s.

        Raises
        ------
        ValueOutOfRange
            There is no text, or the span lies outside of the recording.
        """
        if not text.strip():
            raise ValueOutOfRange("The mark has no words.", remedy="Say what is seen there.")
        first, last = min(start, end), max(start, end)
        with self.store.write() as session:
            row, _ = _open_row(session, key)
            whole = load_recording(session, key)
            if first < whole.told.start or last > whole.end:
                raise ValueOutOfRange(
                    f"The recording goes from {whole.told.start:g} s to {whole.end:g} s.",
                    remedy="Put the mark within.",
                )
            return add_mark(session, row, first, last, text.strip()[:LONGEST_TEXT], device=device)

    def take_mark_back(self, key: str, number: int, *, device: str = "") -> None:
        """Take a remark back; what was written stays in the record of the job."""
        with self.store.write() as session:
            row, _ = _open_row(session, key)
            take_back_mark(session, row, number, device=device)


def checked_error(share: float) -> float:
    """An oscilloscope's error as a share of the highest value.

    Raises
    ------
    ValueOutOfRange
        It is none, or more than any has.
    """
    if not 0.0 < share <= 0.3:
        raise ValueOutOfRange(
            f"An error of {100 * share:g} per cent can't be.",
            remedy="Take it from the data sheet; 3 per cent is usual for eight bits.",
        )
    return share


def _open_row(session: Session, key: str) -> tuple[RecordingRow, JobRow]:
    row = recording_row(session, key)
    job = session.get_one(JobRow, row.job_id)
    require_open(job)
    return row, job


def _round_of(session: Session, job: JobRow, round_key: str) -> RoundRow | None:
    if not round_key:
        return None
    row, sheet = round_row(session, round_key)
    if sheet.job_id != job.id:
        raise ValueOutOfRange(
            "This round belongs to another job.", remedy="Choose a round of this job."
        )
    return row


def _checked(
    session: Session, at: RoundRow | None, channels: Sequence[RecordedChannel]
) -> tuple[RecordedChannel, ...]:
    """Channels at terminals that are there, each terminal once."""
    pins: list[str] = []
    if at is not None:
        rows = session.query(TerminalRow).filter(TerminalRow.sheet_id == at.sheet_id)
        pins = [row.pin for row in rows.order_by(TerminalRow.position)]
    used: set[str] = set()
    for channel in channels:
        if not channel.place:
            continue
        if channel.place not in pins:
            known = f"Its terminals are {', '.join(pins)}." if pins else "Choose the round first."
            raise ValueOutOfRange(
                f'There is no terminal "{channel.place[:20]}" for {channel.name[:60]}.',
                remedy=known,
            )
        if channel.place in used:
            raise ValueOutOfRange(
                f"Two channels are at terminal {channel.place}.",
                remedy="Leave one of them empty; a second look at one wire is a recording more.",
            )
        used.add(channel.place)
    return tuple(channels)
