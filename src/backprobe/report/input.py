"""What a report is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from backprobe.services.answer import Answer
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.outcome_terminals import sheet_meant
from backprobe.store.record import REPAIRED, JobRecord, SheetRecord
from backprobe.vocabulary import NO_FAULT

Paper = Literal["a4", "letter"]
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True, slots=True)
class DrawnRecording:
    """A capture or log as a report shows it.

    svg : the drawing; found : sentences on what was seen in it.
    """

    svg: str
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReportInput:
    """A job as it stands, and what else a report needs.

    Parameters
    ----------
    record : JobRecord
        The job, with its events where the history is wanted.
    printed_at : datetime
        With a time zone, in which all times are told.
    program_version : str
        Of the program that prints.
    answers : mapping of str to StoredAnswer
        The latest answer of each sheet by the sheet's key; one may be missing.
    photos : mapping of str to (str, bytes)
        Media type and bytes of attachments by their key.
    recordings : mapping of str to DrawnRecording
        Drawings of captures and logs by their key.
    """

    record: JobRecord
    printed_at: datetime
    program_version: str
    answers: Mapping[str, StoredAnswer] = field(default_factory=dict)
    photos: Mapping[str, tuple[str, bytes]] = field(default_factory=dict)
    recordings: Mapping[str, DrawnRecording] = field(default_factory=dict)

    def answer(self, sheet: SheetRecord | None) -> Answer | None:
        """The answer of a sheet, where there is one."""
        stored = self.answers.get(sheet.key) if sheet is not None else None
        return None if stored is None else stored.answer

    def instant(self, at: datetime) -> str:
        """A time as it is told, in the zone of the printing."""
        here = at.astimezone(self.printed_at.tzinfo)
        return f"{here.day} {_MONTHS[here.month - 1]} {here.year}, {here:%H:%M}"

    @property
    def zone(self) -> str:
        """The time zone, such as "UTC+01:00"."""
        offset = f"{self.printed_at:%z}"
        return "UTC" if offset in ("", "+0000") else f"UTC{offset[:3]}:{offset[3:5]}"

    @property
    def found(self) -> SheetRecord | None:
        """The sheet as found that the outcome is about; the first one where none is."""
        sheets = [each for each in self.record.sheets if each.phase != REPAIRED]
        outcome = self.record.outcome
        if outcome is not None:
            meant = sheet_meant(self.record, outcome.terminals)
            if meant is not None and meant in sheets:
                return meant
            for sheet in sheets:
                answer = self.answer(sheet)
                if answer is not None and answer.faults and top_fault(answer) == outcome.fault:
                    return sheet
        return sheets[0] if sheets else None

    def repeated(self, sheet: SheetRecord | None) -> SheetRecord | None:
        """The repetition of a sheet after the repair, where anything was read in it."""
        if sheet is None:
            return None
        return next(
            (
                each
                for each in self.record.sheets
                if each.repeats == sheet.key and any(r.entries for r in each.rounds)
            ),
            None,
        )

    @property
    def fault(self) -> str:
        """The fault in question: as concluded, else the most probable one; "none" without any."""
        if self.record.outcome is not None:
            return self.record.outcome.fault
        answer = self.answer(self.found)
        return top_fault(answer) if answer is not None and answer.faults else NO_FAULT


def top_fault(answer: Answer) -> str:
    """The most probable fault's name."""
    return max(answer.faults, key=lambda fault: fault.probability).fault


def day(value: object) -> str:
    """A date as it is told."""
    year, month, number = str(value).split("-")
    return f"{int(number)} {_MONTHS[int(month) - 1]} {year}"
