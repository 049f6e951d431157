"""From a job in the store to its report: the job with its log, its answers, its pictures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from backprobe import __version__
from backprobe.errors import BackprobeError
from backprobe.report.blocks import Report
from backprobe.report.content import contents
from backprobe.report.input import DrawnRecording, ReportInput
from backprobe.report.pictures import INK
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.attachments import read_attachment
from backprobe.services.channel_account import account_of
from backprobe.services.log_account import log_account
from backprobe.services.pictures.traces_picture import traces_picture
from backprobe.services.recording_book import RecordingBook
from backprobe.store.engine import Store
from backprobe.store.loading import load_job
from backprobe.store.record import JobRecord

PICTURES: Final = ("image/jpeg", "image/png", "image/webp")

AnswerFor = Callable[[str], StoredAnswer | None]


def report_of(store: Store, job_key: str, answer_for: AnswerFor, printed_at: datetime) -> Report:
    """Put a job's report together.

    Parameters
    ----------
    answer_for : callable
        Gives the answer of a sheet by its key; None where there is none.
    printed_at : datetime
        With the zone in which times are told.
    """
    with store.read() as session:
        record = load_job(session, job_key, with_events=True)
    answers = {}
    for sheet in record.sheets:
        if any(each.entries for each in sheet.rounds):
            found = answer_for(sheet.key)
            if found is not None:
                answers[sheet.key] = found
    return contents(
        ReportInput(
            record=record,
            printed_at=printed_at,
            program_version=__version__,
            answers=answers,
            photos=_photos(store, record),
            recordings=_recordings(store, record),
        )
    )


def _recordings(store: Store, record: JobRecord) -> dict[str, DrawnRecording]:
    """Drawings of captures and logs; a damaged one is told of, not drawn."""
    book = RecordingBook(store)
    found = {}
    for each in record.recordings:
        try:
            kept = book.samples(each)
            accounts = (*account_of(each, kept, record), *log_account(each, kept, record))
            svg = traces_picture(each, kept, ink=INK)
        except BackprobeError:
            continue
        sentences = tuple(
            text for account in accounts for text in (*account.findings, *account.doubts)
        )
        found[each.key] = DrawnRecording(svg, sentences)
    return found


def _photos(store: Store, record: JobRecord) -> dict[str, tuple[str, bytes]]:
    """The pictures of a job; a damaged one is left out, `backprobe doctor` tells of it."""
    found = {}
    for each in record.attachments:
        if each.media_type in PICTURES:
            try:
                found[each.key] = (each.media_type, read_attachment(store, each.key)[1])
            except BackprobeError:
                continue
    return found
