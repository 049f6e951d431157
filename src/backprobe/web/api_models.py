"""What the interface for programs takes and gives; strict: nothing is turned into a number."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from backprobe.job import (
    Code,
    Connector,
    Engine,
    Fitted,
    Indication,
    Meter,
    Round,
    Terminal,
    Vehicle,
)
from backprobe.job.model import LOAD_OHMS
from backprobe.services.outcome_terminals import plain_terminals
from backprobe.store.record import Entry, JobHead, JobLine, JobRecord, RoundRecord, SheetRecord
from backprobe.vocabulary import BATTERY_NEGATIVE

Text = Annotated[str, Field(max_length=10_000)]
Word = Annotated[str, Field(max_length=100)]
Key = Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{8,64}$")]  # given by the client, or left out


class Strict(BaseModel):
    """Of everything that is taken in."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


class VehicleGiven(Strict):
    """What is known of the vehicle."""

    description: Text = ""
    vin: Word = ""
    odometer_km: float | None = None
    displacement_l: float | None = None
    cylinders: int | None = None
    cycle: Word = ""
    fuel: Word = ""
    induction: Word = ""


class CodeGiven(Strict):
    """A trouble code, and what the control unit froze with it."""

    code: Word
    status: Word = "stored"
    freeze_frame: dict[Word, Text] = Field(default_factory=dict)


class MeterGiven(Strict):
    """A meter by its data sheet."""

    name: Word = ""
    counts: int = Meter().counts
    dc_volts: Word = Meter().dc_volts
    ac_volts: Word = Meter().ac_volts
    ohms: Word = Meter().ohms
    hertz: Word = Meter().hertz
    input_ohm: float = Meter().input_resistance


class JobGiven(Strict):
    """A visit."""

    title: Text
    complaint: Text = ""
    recent_work: Text = ""
    opened: Annotated[date, Field(strict=False)] | None = None
    technician: Word = ""
    vehicle: VehicleGiven = VehicleGiven()
    codes: Annotated[list[CodeGiven], Field(max_length=50)] = Field(default_factory=list)
    meter: MeterGiven = MeterGiven()

    def head(self) -> JobHead:
        """As the services take it."""
        v, m = self.vehicle, self.meter
        return JobHead(
            title=self.title,
            complaint=self.complaint,
            recent_work=self.recent_work,
            opened=self.opened,
            technician=self.technician,
            vehicle=Vehicle(
                v.description,
                v.vin,
                v.odometer_km,
                Engine(v.displacement_l, v.cylinders, v.cycle, v.fuel, v.induction),
            ),
            codes=tuple(Code(c.code, c.status, c.freeze_frame) for c in self.codes),
            meter=Meter(m.counts, m.dc_volts, m.ac_volts, m.ohms, m.hertz, m.input_ohm),
            meter_name=m.name,
        )


class TerminalGiven(Strict):
    """One terminal."""

    pin: Word
    colour: Word = ""
    diagram: Word = ""


class ConnectorGiven(Strict):
    """A connector and its terminals, in its own order."""

    name: Word
    kind: Word = "unknown"
    terminals: Annotated[list[TerminalGiven], Field(max_length=40)]

    def connector(self) -> Connector:
        """As the services take it."""
        terminals = tuple(Terminal(t.pin, t.colour, t.diagram) for t in self.terminals)
        return Connector(self.name, self.kind, terminals)


class NewSheet(ConnectorGiven):
    """A connector of which a sheet is begun."""

    key: Key | None = None


class NewJob(JobGiven):
    """A job to begin; with its first connector, where that is known."""

    key: Key | None = None
    connector: ConnectorGiven | None = None


class FittedGiven(Strict):
    """A known resistor that is fitted for the whole round."""

    start: Word
    end: Word
    ohms: float


class RoundGiven(Strict):
    """A state of the vehicle, and where the black lead is; the next free name where left out."""

    name: Word = ""
    plugged: bool
    key: Word
    rpm: float = 0.0
    action: Word = ""
    black_lead: Word = BATTERY_NEGATIVE
    ambient_celsius: float | None = None
    load_ohms: float = LOAD_OHMS
    fitted: Annotated[list[FittedGiven], Field(max_length=8)] = Field(default_factory=list)
    note: Text = ""

    def round(self) -> Round:
        """As the services take it."""
        return Round(
            name=self.name,
            plugged=self.plugged,
            key=self.key,
            rpm=self.rpm,
            action=self.action,
            black_lead=self.black_lead,
            ambient_celsius=self.ambient_celsius,
            load_ohms=self.load_ohms,
            fitted=tuple(Fitted(f.start, f.end, f.ohms) for f in self.fitted),
            note=self.note,
        )


class NewRound(RoundGiven):
    """A round to begin; sent twice with one key it is begun once."""

    round_key: Key | None = None


class EntryGiven(Strict):
    """A reading for one cell: as the meter showed it with its unit; null takes it back."""

    quantity: Word
    place: Word = ""
    written: Word | None
    entry_key: Key | None = None
    seen: Annotated[list[Annotated[int, Field(ge=1, lt=2**53)]], Field(max_length=100)] | None = (
        None
    )


class UndoGiven(Strict):
    """Which entry to undo."""

    entry: Annotated[int, Field(ge=1, lt=2**53)]
    entry_key: Key | None = None


class ReasonGiven(Strict):
    """Why."""

    reason: Text


class SetAsideGiven(Strict):
    """A proposed reading that can't be had; what is left out stands for any."""

    quantity: Word = ""
    place: Word = ""
    state: Word = ""
    reason: Text = ""


class OutcomeGiven(Strict):
    """What was found and done."""

    fault: Word
    terminals: Annotated[list[Word], Field(max_length=40)] = Field(default_factory=list)
    cause: Text = ""
    repair: Text = ""
    not_tested: Text = ""
    proof: Annotated[list[Text], Field(max_length=40)] = Field(default_factory=list)


# ------------------------------------------------------------------ what is given
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
