"""What the interface for programs takes; strict: nothing is turned into a number."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from backprobe.job import (
    Code,
    Connector,
    Engine,
    Fitted,
    Meter,
    Round,
    Terminal,
    Vehicle,
)
from backprobe.job.model import LOAD_OHMS
from backprobe.store.record import JobHead
from backprobe.vocabulary import BATTERY_NEGATIVE

Text = Annotated[str, Field(max_length=10_000)]
Word = Annotated[str, Field(max_length=100)]
KEY_PATTERN = r"^[A-Za-z0-9-]{8,64}$"
Key = Annotated[str, Field(pattern=KEY_PATTERN)]  # given by the client, or left out


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
