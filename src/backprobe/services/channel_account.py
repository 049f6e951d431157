"""What is said of each channel of a capture: findings, what was measured, what becomes a reading.

The readings stand for the mean of the wire's voltage, its levels, pace and extremes, each with the
oscilloscope's own limits written behind it, so that they weigh as much as they are good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from backprobe.errors import ValueOutOfRange
from backprobe.services.capture_study import ChannelStudy, study_capture
from backprobe.services.findings.looking import Circumstances
from backprobe.services.findings.words import hertz, per_cent, volts
from backprobe.services.job_book import JobBook
from backprobe.services.kept_samples import KeptSamples
from backprobe.services.measured_rows import MeasuredRow
from backprobe.services.recording_book import RecordingBook
from backprobe.store.cells import Cell
from backprobe.store.record import JobRecord, RoundRecord, SheetRecord
from backprobe.store.recording import CAPTURE, RecordedChannel, Recording

_WORDS: Final = {
    "volts": "mean",
    "level_high": "high level",
    "level_low": "low level",
    "volts_high": "highest",
    "volts_low": "lowest",
    "volts_ac": "AC",
    "hertz": "",
    "duty_percent": "high for",
}


@dataclass(frozen=True, slots=True)
class ChannelAccount:
    """A channel on the page of a capture.

    readings : what would be taken as readings, in words.
    cells : the same as cells of the sheet and what is written into them.
    taken : whether they are on the sheet already.
    no_readings : why there are none to take.
    """

    title: str
    place: str
    findings: tuple[str, ...]
    doubts: tuple[str, ...]
    rows: tuple[MeasuredRow, ...]
    readings: tuple[str, ...] = ()
    cells: tuple[tuple[Cell, str], ...] = ()
    taken: bool = False
    no_readings: str = ""


def account_of(found: Recording, kept: KeptSamples, job: JobRecord) -> tuple[ChannelAccount, ...]:
    """Everything that is said of the channels of a capture; nothing of a log."""
    if found.told.kind != CAPTURE:
        return ()
    sheet, at = _place_of(found, job)
    circumstances = circumstances_of(job, sheet, at)
    study = study_capture(
        found.told.channels, kept, circumstances, error_share=found.told.error_share
    )
    accounts = tuple(_account(found, i, each, at) for i, each in enumerate(study.channels))
    if not study.pair:
        return accounts
    together = ChannelAccount(
        " and ".join(study.pair_names),
        "",
        tuple(sentence for each in study.pair for sentence in each.told),
        tuple(sentence for each in study.pair for sentence in each.doubts),
        (),
    )
    return (*accounts, together)


def circumstances_of(
    job: JobRecord, sheet: SheetRecord | None, at: RoundRecord | None
) -> Circumstances:
    """The state of the vehicle while a capture of a round was taken."""
    return Circumstances(
        rpm=0.0 if at is None else at.round.rpm,
        key="" if at is None else at.round.key,
        action="" if at is None else at.round.action,
        n_cylinder=job.head.vehicle.engine.cylinders,
        connector_kind="unknown" if sheet is None else sheet.connector.kind,
    )


def take_readings(
    book: JobBook, recordings: RecordingBook, key: str, channel: int, *, device: str = ""
) -> Recording:
    """Enter what was measured on a channel into its round; taken twice, it is entered once.

    Raises
    ------
    ValueOutOfRange
        The channel is at no terminal, or the recording doesn't count.
    """
    found = recordings.recording(key)
    job = book.job(found.job)
    accounts = account_of(found, recordings.samples(found), job)
    if not 0 <= channel < len(found.told.channels) or not accounts:
        raise ValueOutOfRange("There is no such channel.", remedy="Load the page again.")
    account = accounts[channel]
    if not account.cells:
        raise ValueOutOfRange("There is nothing to take.", remedy=account.no_readings)
    for (quantity, place), written in account.cells:
        book.enter(
            found.round,
            (quantity, place),
            written,
            entry_key=_entry_key(found, channel, quantity),
            device=device or "a capture",
        )
    return found


def _account(
    found: Recording, number: int, study: ChannelStudy, at: RoundRecord | None
) -> ChannelAccount:
    channel = study.channel
    title = f"{channel.name}, terminal {channel.place}" if channel.place else channel.name
    told = tuple(sentence for each in study.findings for sentence in each.told)
    doubts = tuple(sentence for each in study.findings for sentence in each.doubts)
    if study.is_empty:
        return ChannelAccount(title, channel.place, told, ("It holds no samples.",), ())
    why = _why_none(found, channel, at)
    if why:
        return ChannelAccount(title, channel.place, told, doubts, study.rows, no_readings=why)
    cells = tuple(
        ((quantity, channel.place), written_reading(quantity, value, limit))
        for quantity, (value, limit) in study.readings.items()
    )
    keys = {_entry_key(found, number, quantity) for quantity in study.readings}
    return ChannelAccount(
        title,
        channel.place,
        told,
        doubts,
        study.rows,
        readings=tuple(in_words(name, value) for name, (value, _) in study.readings.items()),
        cells=cells,
        taken=at is not None and any(e.entry_key in keys and e.stands for e in at.entries),
    )


def _why_none(found: Recording, channel: RecordedChannel, at: RoundRecord | None) -> str:
    if found.void:
        return "It does not count, so nothing is taken from it."
    if at is None or not channel.place:
        return "Say in which round and at which terminal it was taken; then it weighs as readings."
    if at.round.void:
        return "Its round is void, so nothing is taken from it."
    if not channel.unit:
        return (
            "The file says no unit, so it may not be volts. Send it again and say there what one"
            " means, or its unit in how the file is read; or export it with its unit."
        )
    if channel.unit != "V":
        return f"It is in {channel.unit}; a sheet takes volts at terminals."
    return ""


def written_reading(quantity: str, value: float, limit: float) -> str:
    """A reading as it is written into a cell: "2.41 V ± 0.07"."""
    unit = {"hertz": "Hz", "duty_percent": "%"}.get(quantity, "V")
    digits = max(0, min(6, 1 - math.floor(math.log10(limit))))
    return f"{value:.{digits}f} {unit} ± {limit:.{digits}f}"


def in_words(quantity: str, value: float) -> str:
    """A reading in few words: "high level 5.00 V"."""
    if quantity == "hertz":
        return hertz(value)
    if quantity == "duty_percent":
        return f"high for {per_cent(value / 100.0)} of the time"
    return f"{_WORDS[quantity]} {volts(value)}"


def _entry_key(found: Recording, channel: int, quantity: str) -> str:
    """The same for the same thing, so that it is entered once."""
    return f"{found.key}-{channel}-{quantity.replace('_', '-')}"


def _place_of(found: Recording, job: JobRecord) -> tuple[SheetRecord | None, RoundRecord | None]:
    sheet = job.sheet(found.sheet) if found.sheet else None
    if sheet is None:
        return None, None
    return sheet, next((each for each in sheet.rounds if each.key == found.round), None)
