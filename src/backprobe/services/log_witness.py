"""What a control unit reported over a span of a log, as witness of a round."""

from __future__ import annotations

import numpy as np

from backprobe.errors import ValueOutOfRange
from backprobe.services.job_book import JobBook
from backprobe.services.recording_book import RecordingBook
from backprobe.store.cells import SCAN
from backprobe.store.recording import LOG
from backprobe.vocabulary import SCAN_UNITS

_WRITTEN = {
    "celsius": ("degC", 1),
    "gram per second": ("g/s", 2),
    "kilopascal": ("kPa", 1),
    "percent": ("%", 1),
    "rpm": ("rpm", 0),
    "volt": ("V", 3),
    "hertz": ("Hz", 1),
}


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
        It isn't a log, doesn't count, the span holds no value, or none of a known quantity.
    """
    found = recordings.recording(key)
    if found.told.kind != LOG:
        raise ValueOutOfRange("This is no log.", remedy="Take the readings of a capture instead.")
    if found.void:
        raise ValueOutOfRange(
            "This log does not count.", remedy="Let it count again, or take another one."
        )
    kept = recordings.samples(found)
    first, last = kept.place(min(start, end)), kept.place(max(start, end)) + 1
    entered = 0
    for number, channel in enumerate(found.told.channels):
        unit = SCAN_UNITS.get(channel.quantity)
        if unit is None:
            continue
        values = kept.values_near(number, first, last)
        if not values.size:
            continue
        name, digits = _WRITTEN[unit]
        written = f"{float(np.mean(values)):.{digits}f} {name}"
        entry_key = f"{found.key}-{number}-{first}-{last}-{round_key[:8]}"
        book.enter(
            round_key,
            (SCAN, channel.quantity),
            written,
            entry_key=entry_key,
            device=device or "a log",
        )
        entered += 1
    if not entered:
        raise ValueOutOfRange(
            "This span holds no value that a round takes.",
            remedy="Choose a longer span, or say what the columns of the log are.",
        )
    return book.sheet_of_round(round_key)
