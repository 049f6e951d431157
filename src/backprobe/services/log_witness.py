"""What a control unit reported at an instant or over a span of a log, as witness of a round."""

from __future__ import annotations

from backprobe.errors import ValueOutOfRange
from backprobe.services.job_book import JobBook
from backprobe.services.kept_log import log_of
from backprobe.services.log_values import scan_values, values_at, values_over
from backprobe.services.recording_book import RecordingBook
from backprobe.store.cells import SCAN
from backprobe.store.recording import LOG


def take_as_witness(
    book: JobBook,
    recordings: RecordingBook,
    key: str,
    round_key: str,
    start: float,
    end: float,
    *,
    device: str = "",
) -> str:
    """Enter the means over a span as the control unit's values of a round; returns the sheet's key.

    Raises
    ------
    ValueOutOfRange
        It isn't a log, doesn't count, or the span holds no value that a round takes.
    RecordingError
        The span is outside of the log.
    """
    found = recordings.recording(key)
    if found.told.kind != LOG:
        raise ValueOutOfRange("This is no log.", remedy="Take the readings of a capture instead.")
    if found.void:
        raise ValueOutOfRange(
            "This log does not count.", remedy="Let it count again, or take another one."
        )
    log = log_of(found, recordings.samples(found))
    first, last = min(start, end), max(start, end)
    values = values_over(log, first, last) if first < last else values_at(log, first)
    told = scan_values(values)
    if not told:
        raise ValueOutOfRange(
            "This span holds no value that a round takes.",
            remedy="Choose a longer span, or say what the columns of the log are.",
        )
    for number, (name, written) in enumerate(told.items()):
        book.enter(
            round_key,
            (SCAN, name),
            written,
            entry_key=f"{found.key}-{first:g}-{last:g}-{number}-{round_key}",
            device=device or "a log",
        )
    return book.sheet_of_round(round_key)
