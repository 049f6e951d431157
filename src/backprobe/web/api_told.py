"""What the interface for programs gives."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel

from backprobe.job import (
    Indication,
)
from backprobe.services.outcome_terminals import plain_terminals
from backprobe.store.record import Entry, JobLine, JobRecord, RoundRecord, SheetRecord
from backprobe.web.api_given import (
    CodeGiven,
    FittedGiven,
    MeterGiven,
    OutcomeGiven,
    TerminalGiven,
    VehicleGiven,
)


class KeyTold(BaseModel):
    """The name under which something can be asked for."""

    key: str


class JobBegun(KeyTold):
    """A job, and its sheet where one was begun with it."""

    sheet: str | None = None


class NumberTold(BaseModel):
    """The number of a note."""

    number: int


class EntryTold(BaseModel):
    """An entry that is stored durably."""

    entry: int
    is_new: bool
    value: float | None
    over_range: bool
    written: str


class LineTold(BaseModel):
    """One line of the list of jobs."""

    key: str
    title: str
    vehicle: str
    vin: str
    codes: list[str]
    opened: date | None
    changed_at: datetime
    closed_at: datetime | None
    outcome: str

    @classmethod
    def of(cls, line: JobLine) -> LineTold:
        """From the store's."""
        return cls(
            key=line.key,
            title=line.title,
            vehicle=line.vehicle,
            vin=line.vin,
            codes=list(line.codes),
            opened=line.opened,
            changed_at=line.changed_at,
            closed_at=line.closed_at,
            outcome=line.outcome,
        )


class ListTold(BaseModel):
    """Jobs that match, and how many there are in all."""

    jobs: list[LineTold]
    count: int


class CellEntryTold(BaseModel):
    """One entry of a cell, with its history."""

    entry: int
    quantity: str
    place: str
    taken_back: bool
    value: float | None
    over_range: bool
    written: str
    entered_at: datetime
    device: str
    replaces: list[int]
    stands: bool


class RoundTold(BaseModel):
    """A round with all that was entered into it."""

    key: str
    name: str
    plugged: bool
    ignition: str
    rpm: float
    action: str
    black_lead: str
    ambient_celsius: float | None
    load_ohms: float
    fitted: list[FittedGiven]
    void: str
    note: str
    begun_at: datetime
    repeats: str
    entries: list[CellEntryTold]
    conflicts: list[list[int]]


class SheetTold(BaseModel):
    """One connector's readings."""

    key: str
    job: str
    phase: Literal["found", "repaired"]
    repeats: str
    name: str
    kind: str
    terminals: list[TerminalGiven]
    rounds: list[RoundTold]
    set_aside: list[dict[str, Any]]


class JobTold(BaseModel):
    """A job; its sheets are asked for one by one."""

    key: str
    title: str
    complaint: str
    recent_work: str
    opened: date | None
    technician: str
    vehicle: VehicleGiven
    codes: list[CodeGiven]
    meter: MeterGiven
    created_at: datetime
    changed_at: datetime
    closed_at: datetime | None
    sheets: list[str]
    outcome: OutcomeGiven | None


class AnswerTold(BaseModel):
    """The answer as the job file's format has it, and what it came from."""

    answer: dict[str, Any] | None
    is_current: bool
    is_awaited: bool
    computed_at: datetime | None
    seconds: float | None
    parameters: dict[str, Any] | None
    versions: dict[str, str] | None
    input_hash: str | None


def number_of(indication: Indication | None) -> float | None:
    """A value as JSON can hold it: none where there is none, or over range."""
    return None if indication is None or indication.over_range else indication.value


def entry_told(entry: Entry) -> CellEntryTold:
    """From the store's."""
    shown = entry.indication
    return CellEntryTold(
        entry=entry.id,
        quantity=entry.quantity,
        place=entry.place,
        taken_back=shown is None,
        value=number_of(shown),
        over_range=shown is not None and shown.over_range,
        written="" if shown is None else shown.written,
        entered_at=entry.entered_at,
        device=entry.device,
        replaces=list(entry.replaces),
        stands=entry.stands,
    )


def round_told(record: RoundRecord) -> RoundTold:
    """From the store's."""
    each = record.round
    return RoundTold(
        key=record.key,
        name=each.name,
        plugged=each.plugged,
        ignition=each.key,
        rpm=each.rpm,
        action=each.action,
        black_lead=each.black_lead,
        ambient_celsius=each.ambient_celsius,
        load_ohms=each.load_ohms,
        fitted=[FittedGiven(start=f.start, end=f.end, ohms=f.ohms) for f in each.fitted],
        void=each.void,
        note=each.note,
        begun_at=record.begun_at,
        repeats=record.repeats,
        entries=[entry_told(entry) for entry in record.entries],
        conflicts=[[entry.id for entry in beside] for beside in record.conflicts],
    )


def sheet_told(job_key: str, sheet: SheetRecord) -> SheetTold:
    """From the store's."""
    return SheetTold(
        key=sheet.key,
        job=job_key,
        phase="found" if sheet.phase == "found" else "repaired",
        repeats=sheet.repeats,
        name=sheet.connector.name,
        kind=sheet.connector.kind,
        terminals=[
            TerminalGiven(pin=t.pin, colour=t.colour, diagram=t.diagram)
            for t in sheet.connector.terminals
        ],
        rounds=[round_told(each) for each in sheet.rounds],
        set_aside=[
            {"number": a.id, "quantity": a.quantity, "place": a.place, "state": a.state}
            for a in sheet.set_aside
        ],
    )


def job_told(record: JobRecord) -> JobTold:
    """From the store's."""
    head, vehicle, engine = record.head, record.head.vehicle, record.head.vehicle.engine
    meter, last = head.meter, record.outcome
    return JobTold(
        key=record.key,
        title=head.title,
        complaint=head.complaint,
        recent_work=head.recent_work,
        opened=head.opened,
        technician=head.technician,
        vehicle=VehicleGiven(
            description=vehicle.description,
            vin=vehicle.vin,
            odometer_km=vehicle.odometer_km,
            displacement_l=engine.displacement_l,
            cylinders=engine.cylinders,
            cycle=engine.cycle,
            fuel=engine.fuel,
            induction=engine.induction,
        ),
        codes=[
            CodeGiven(code=c.code, status=c.status, freeze_frame=dict(c.freeze_frame))
            for c in head.codes
        ],
        meter=MeterGiven(
            name=head.meter_name,
            counts=meter.counts,
            dc_volts=meter.dc_volts,
            ac_volts=meter.ac_volts,
            ohms=meter.ohms,
            hertz=meter.hertz,
            input_ohm=meter.input_resistance,
        ),
        created_at=record.created_at,
        changed_at=record.changed_at,
        closed_at=record.closed_at,
        sheets=[sheet.key for sheet in record.sheets],
        outcome=None
        if last is None
        else OutcomeGiven(
            fault=last.fault,
            terminals=list(plain_terminals(record, last.terminals)),
            cause=last.cause,
            repair=last.repair,
            not_tested=last.not_tested,
            proof=list(last.proof),
        ),
    )
