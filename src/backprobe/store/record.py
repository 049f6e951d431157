"""What the store gives back: frozen records, with the job-file dataclasses inside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from backprobe.job import Code, Connector, Indication, Job, Meter, Round, Vehicle
from backprobe.store.recording import Recording

FOUND: Final = "found"
REPAIRED: Final = "repaired"


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a cell: what was shown, or (no indication) that a value is taken back."""

    id: int
    entry_key: str
    quantity: str
    place: str
    indication: Indication | None
    entered_at: datetime
    device: str
    replaces: tuple[int, ...] = ()
    stands: bool = True  # no later entry replaces it


@dataclass(frozen=True, slots=True)
class RoundRecord:
    """A round and the history of its cells."""

    key: str
    round: Round
    entries: tuple[Entry, ...]
    begun_at: datetime
    repeats: str = ""  # key of the round that this one repeats after the repair

    def cell(self, quantity: str, place: str) -> tuple[Entry, ...]:
        """All entries of one cell, oldest first."""
        return tuple(e for e in self.entries if (e.quantity, e.place) == (quantity, place))

    @property
    def conflicts(self) -> tuple[tuple[Entry, ...], ...]:
        """Cells in which entries stand beside one another that do not say the same."""
        cells: dict[tuple[str, str], list[Entry]] = {}
        for entry in self.entries:
            if entry.stands:
                cells.setdefault((entry.quantity, entry.place), []).append(entry)
        return tuple(
            tuple(standing)
            for standing in cells.values()
            if len({_shown(e.indication) for e in standing}) > 1
        )


def _shown(indication: Indication | None) -> object:
    return None if indication is None else indication.value


@dataclass(frozen=True, slots=True)
class SetAside:
    """A proposed reading that can't be had."""

    id: int
    quantity: str
    place: str
    state: str
    reason: str


@dataclass(frozen=True, slots=True)
class Attachment:
    """A picture or document that belongs to a job."""

    key: str
    sha256: str
    media_type: str
    size_bytes: int
    name: str
    caption: str
    added_at: datetime
    sheet: str = ""
    round: str = ""  # name of the round
    place: str = ""
    quantity: str = ""  # with the place: the reading it belongs to
    round_key: str = ""


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """One connector's readings in one phase of the job."""

    key: str
    phase: str
    connector: Connector
    rounds: tuple[RoundRecord, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    repeats: str = ""  # key of the sheet as found, for one repeated after the repair

    def round_named(self, name: str) -> RoundRecord | None:
        """Find a round by its name."""
        return next((r for r in self.rounds if r.round.name == name), None)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found and done."""

    fault: str
    terminals: tuple[str, ...]
    cause: str
    repair: str
    not_tested: str
    proof: tuple[str, ...]
    at: datetime
    device: str = ""


@dataclass(frozen=True, slots=True)
class Event:
    """One change of a job."""

    id: int
    kind: str
    details: Mapping[str, Any]
    at: datetime
    device: str


@dataclass(frozen=True, slots=True)
class JobHead:
    """What is known of the visit, the connectors aside."""

    title: str
    complaint: str = ""
    recent_work: str = ""
    opened: date | None = None
    technician: str = ""
    vehicle: Vehicle = field(default_factory=Vehicle)
    codes: tuple[Code, ...] = ()
    meter: Meter = field(default_factory=Meter)
    meter_name: str = ""


@dataclass(frozen=True, slots=True)
class JobRecord:
    """Everything kept of one job."""

    key: str
    head: JobHead
    created_at: datetime
    changed_at: datetime
    closed_at: datetime | None
    sheets: tuple[SheetRecord, ...]
    outcomes: tuple[Outcome, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    recordings: tuple[Recording, ...] = ()
    events: tuple[Event, ...] = ()

    def pictures_of(self, round_key: str) -> tuple[Attachment, ...]:
        """Pictures and documents that belong to a round, or to a reading of it."""
        return tuple(each for each in self.attachments if each.round_key == round_key)

    @property
    def outcome(self) -> Outcome | None:
        """What was found and done, as last written."""
        return self.outcomes[-1] if self.outcomes else None

    def sheet(self, key: str) -> SheetRecord | None:
        """Find a sheet by its key."""
        return next((s for s in self.sheets if s.key == key), None)

    def job_of(self, sheet: SheetRecord) -> Job:
        """One sheet as the job that a job file holds."""
        return job_of(self.head, sheet)


def job_of(head: JobHead, sheet: SheetRecord) -> Job:
    """One sheet as the job that a job file holds."""
    return Job(
        title=head.title,
        connector=sheet.connector,
        complaint=head.complaint,
        recent_work=head.recent_work,
        opened=head.opened,
        technician=head.technician,
        vehicle=head.vehicle,
        codes=head.codes,
        meter=head.meter,
        rounds=tuple(each.round for each in sheet.rounds),
    )


def head_of(job: Job) -> JobHead:
    """What a job file says of the visit, the connector aside."""
    return JobHead(
        title=job.title,
        complaint=job.complaint,
        recent_work=job.recent_work,
        opened=job.opened,
        technician=job.technician,
        vehicle=job.vehicle,
        codes=job.codes,
        meter=job.meter,
    )


@dataclass(frozen=True, slots=True)
class JobLine:
    """One line of the list of jobs."""

    key: str
    title: str
    vehicle: str
    vin: str
    codes: tuple[str, ...]
    opened: date | None
    changed_at: datetime
    closed_at: datetime | None
    outcome: str
