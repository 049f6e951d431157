"""A job as its page shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from backprobe.errors import BackprobeError
from backprobe.services.before_after import cell_words, indication_words
from backprobe.services.identifiers import code_facts
from backprobe.services.outcome_terminals import told_terminals
from backprobe.services.proof import proof_steps
from backprobe.services.words import fault_words, terminals_words
from backprobe.store.record import (
    REPAIRED,
    Attachment,
    Entry,
    Event,
    JobHead,
    JobRecord,
    Outcome,
    SheetRecord,
)
from backprobe.store.recording import Recording
from backprobe.web.job_form import WireLine, wire_lines
from backprobe.web.said_pieces import SaidView, said_of_vin

MOST_EVENTS: Final = 200
_FIELD_WORDS: Final[dict[str, str]] = {
    "title": "title",
    "complaint": "complaint",
    "recent_work": "recent work",
    "opened": "date",
    "technician": "technician",
    "vehicle": "vehicle",
    "codes": "trouble codes",
    "meter": "meter",
    "meter_name": "meter's name",
}


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One sheet of the job."""

    key: str
    name: str
    kind: str
    phase: str
    told: str
    wires: tuple[WireLine, ...]
    is_repaired: bool


@dataclass(frozen=True, slots=True)
class CodeTold:
    """A trouble code with what it says."""

    code: str
    status: str
    facts: str
    frame: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class OutcomeTold:
    """What was found and done."""

    fault: str
    lines: tuple[tuple[str, str], ...]
    proof: tuple[str, ...]
    not_seen: tuple[str, ...]
    at: str


@dataclass(frozen=True, slots=True)
class EventLine:
    """One change in words."""

    at: str
    words: str
    device: str


@dataclass(frozen=True, slots=True)
class RecordingLine:
    """A capture or log in the list."""

    key: str
    name: str
    told: str
    void: str


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything on the page of a job."""

    key: str
    title: str
    is_open: bool
    closed: str
    facts: tuple[tuple[str, str], ...]
    vin: SaidView
    codes: tuple[CodeTold, ...]
    sheets: tuple[SheetLine, ...]
    outcome: OutcomeTold | None
    attachments: tuple[Attachment, ...]
    recordings: tuple[RecordingLine, ...]
    events: tuple[EventLine, ...]
    more_events: int

    @property
    def has_several(self) -> bool:
        """Whether the job has more than one connector."""
        return sum(not sheet.is_repaired for sheet in self.sheets) > 1


def time_words(instant: datetime) -> str:
    """An instant on the clock of this computer."""
    return instant.astimezone().strftime("%Y-%m-%d %H:%M")


def job_view(record: JobRecord) -> JobView:
    """A job's record as its page shows it."""
    entries = {
        entry.id: (each.round.name, entry)
        for sheet in record.sheets
        for each in sheet.rounds
        for entry in each.entries
    }
    events = tuple(_event(each, entries) for each in reversed(record.events[-MOST_EVENTS:]))
    return JobView(
        record.key,
        record.head.title,
        record.closed_at is None,
        "" if record.closed_at is None else time_words(record.closed_at),
        _facts(record.head),
        said_of_vin(record.head.vehicle.vin),
        tuple(_code(c.code, c.status, c.freeze_frame) for c in record.head.codes),
        tuple(_sheet(each) for each in record.sheets),
        None if record.outcome is None else outcome_told(record, record.outcome),
        record.attachments,
        tuple(_recording(each) for each in record.recordings),
        events,
        max(0, len(record.events) - MOST_EVENTS),
    )


def _recording(found: Recording) -> RecordingLine:
    told = found.told
    places = [f"terminal {c.place}" for c in told.channels if c.place]
    where = f"round {found.round_name}" if found.round else ""
    parts = (told.kind, where, ", ".join(places), told.caption)
    return RecordingLine(found.key, told.name, "; ".join(p for p in parts if p), found.void)


def _facts(head: JobHead) -> tuple[tuple[str, str], ...]:
    vehicle, engine = head.vehicle, head.vehicle.engine
    odometer = "" if vehicle.odometer_km is None else f"{vehicle.odometer_km:,.0f} km"
    parts = (
        "" if engine.displacement_l is None else f"{engine.displacement_l:g} l",
        "" if engine.cylinders is None else f"{engine.cylinders} cylinders",
        engine.cycle,
        engine.fuel,
        f"{engine.induction} induction" if engine.induction else "",
    )
    found = (
        ("Complaint", head.complaint),
        ("Done lately", head.recent_work),
        ("Vehicle", vehicle.description),
        ("VIN", vehicle.vin),
        ("Odometer", odometer.replace(",", " ")),
        ("Engine", ", ".join(part for part in parts if part)),
        ("Opened", "" if head.opened is None else head.opened.isoformat()),
        ("Technician", head.technician),
        ("Meter", head.meter_name or f"{head.meter.counts} counts"),
    )
    return tuple((name, value) for name, value in found if value)


def _code(code: str, status: str, frame: Mapping[str, str]) -> CodeTold:
    try:
        facts = code_facts(code).words
    except BackprobeError:
        facts = ""
    return CodeTold(code, status, facts, tuple(frame.items()))


def _sheet(sheet: SheetRecord) -> SheetLine:
    rounds = [each for each in sheet.rounds if not each.round.void]
    count = sum(1 for r in rounds for e in r.entries if e.stands and e.indication is not None)
    void = len(sheet.rounds) - len(rounds)
    told = f"{_counted(len(rounds), 'round')}, {_counted(count, 'reading')}"
    return SheetLine(
        sheet.key,
        sheet.connector.name,
        "" if sheet.connector.kind == "unknown" else sheet.connector.kind,
        "after the repair" if sheet.phase == REPAIRED else "as found",
        f"{told}, {void} void" if void else told,
        wire_lines(sheet.connector.terminals),
        sheet.phase == REPAIRED,
    )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def outcome_told(record: JobRecord, outcome: Outcome) -> OutcomeTold:
    """An outcome in words."""
    lines = (
        ("At", terminals_words(told_terminals(record, outcome.terminals))),
        ("Cause", outcome.cause),
        ("Repair", outcome.repair),
        ("Not tested", outcome.not_tested),
    )
    return OutcomeTold(
        fault_words(outcome.fault),
        tuple((name, value) for name, value in lines if value),
        outcome.proof,
        tuple(step for step in proof_steps(outcome.fault) if step not in outcome.proof),
        time_words(outcome.at),
    )


# ------------------------------------------------------------------ history
def _event(event: Event, entries: Mapping[int, tuple[str, Entry]]) -> EventLine:
    known = entries.get(event.details.get("entry", 0))
    words = _entry_words(*known) if known else event_words(event.kind, event.details)
    return EventLine(time_words(event.at), words, event.device)


def _entry_words(name: str, entry: Entry) -> str:
    cell = (entry.quantity, entry.place)
    where = cell_words(cell)
    if entry.indication is None:
        return f"Round {name}: {where} taken back."
    again = " (corrected)" if entry.replaces else ""
    return f"Round {name}: {where}: {indication_words(entry.indication, cell)}{again}"


def event_words(kind: str, details: Mapping[str, Any]) -> str:
    """Say a change; a kind that isn't known here says itself."""
    name = str(details.get("name", ""))
    if kind == "job changed":
        fields = [_FIELD_WORDS.get(each, each) for each in details.get("before", {})]
        return f"Changed: {', '.join(fields)}." if fields else "Job changed."
    if kind == "sheet begun":
        after = ", after the repair" if details.get("phase") == REPAIRED else ""
        return f"Sheet begun: {name}{after}."
    if kind == "outcome":
        return f"Outcome: {fault_words(str(details.get('fault', '')))}."
    if kind in ("set aside", "taken up again"):
        place = str(details.get("place", ""))
        what = cell_words((str(details.get("quantity", "")), place)) or "everything in one state"
        return f"{kind.capitalize()}: {what}."
    told = kind.replace("_", " ").capitalize()
    return f"{told}: {name}." if name else f"{told}."
