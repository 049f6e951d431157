"""The tables. Column names carry units; times are UTC; keys of rows are numbers, names are texts.

A job is one vehicle's visit. It has sheets: the readings of one connector, as found or repeated
after the repair. A sheet has terminals and rounds, a round has indications. What was written is
never altered: `correction` says which indication a later one replaces, `event` keeps every change
in the order in which it happened.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from backprobe.store.columns import UtcTime

# Constraints with names of their own can be changed by later migrations on every data base.
NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
# SQLite counts rows by itself only where the key is a plain INTEGER.
RowNumber = BigInteger().with_variant(Integer, "sqlite")


class Base(DeclarativeBase):
    """Of all tables."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012  # read by SQLAlchemy, never written
        str: Text,
        datetime: UtcTime,
        dict[str, Any]: JSON,
        list[Any]: JSON,
        bytes: LargeBinary,
    }


class JobRow(Base):
    """One visit of one vehicle."""

    __tablename__ = "job"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    title: Mapped[str]
    complaint: Mapped[str] = mapped_column(default="")
    recent_work: Mapped[str] = mapped_column(default="")
    opened: Mapped[date | None]
    technician: Mapped[str] = mapped_column(default="")
    vehicle: Mapped[str] = mapped_column(default="")  # in free words
    vin: Mapped[str] = mapped_column(default="")
    odometer_km: Mapped[float | None]
    displacement_l: Mapped[float | None]
    cylinders: Mapped[int | None]
    cycle: Mapped[str] = mapped_column(default="")
    fuel: Mapped[str] = mapped_column(default="")
    induction: Mapped[str] = mapped_column(default="")
    meter_name: Mapped[str] = mapped_column(default="")
    meter_counts: Mapped[int]
    meter_dc_volts: Mapped[str]
    meter_ac_volts: Mapped[str]
    meter_ohms: Mapped[str]
    meter_hertz: Mapped[str]
    meter_input_ohm: Mapped[float]
    created_at: Mapped[datetime] = mapped_column(index=True)
    changed_at: Mapped[datetime] = mapped_column(index=True)
    closed_at: Mapped[datetime | None]
    # What the list shows and searches without opening anything else.
    outcome: Mapped[str] = mapped_column(default="")
    search_text: Mapped[str] = mapped_column(default="")


class CodeRow(Base):
    """A trouble code that the control unit held, and what it froze with it."""

    __tablename__ = "trouble_code"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    position: Mapped[int]
    code: Mapped[str]
    status: Mapped[str]
    freeze_frame: Mapped[dict[str, Any]]


class SheetRow(Base):
    """The readings of one connector: as found, or repeated after the repair."""

    __tablename__ = "sheet"
    __table_args__ = (CheckConstraint("phase in ('found', 'repaired')", name="phase"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    position: Mapped[int]
    phase: Mapped[str] = mapped_column(default="found")
    repeats_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id", ondelete="CASCADE"))
    name: Mapped[str]
    kind: Mapped[str]


class TerminalRow(Base):
    """One terminal of a sheet's connector."""

    __tablename__ = "terminal"
    __table_args__ = (UniqueConstraint("sheet_id", "pin"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id", ondelete="CASCADE"))
    position: Mapped[int]
    pin: Mapped[str]
    colour: Mapped[str] = mapped_column(default="")
    diagram: Mapped[str] = mapped_column(default="")


class RoundRow(Base):
    """One state of the vehicle with the black lead on one point."""

    __tablename__ = "round"
    __table_args__ = (UniqueConstraint("sheet_id", "name"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id", ondelete="CASCADE"))
    position: Mapped[int]
    repeats_id: Mapped[int | None] = mapped_column(ForeignKey("round.id", ondelete="CASCADE"))
    name: Mapped[str]
    plugged: Mapped[bool]
    ignition: Mapped[str]
    speed_rpm: Mapped[float]
    action: Mapped[str]
    black_lead: Mapped[str]
    ambient_celsius: Mapped[float | None]
    load_ohm: Mapped[float]
    fitted: Mapped[list[Any]]
    void: Mapped[str] = mapped_column(default="")
    note: Mapped[str] = mapped_column(default="")
    begun_at: Mapped[datetime]


class IndicationRow(Base):
    """What an instrument showed, once; or that an earlier entry is taken back (no value)."""

    __tablename__ = "indication"
    __table_args__ = (Index("ix_indication_round", "round_id", "quantity", "place"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    entry_key: Mapped[str] = mapped_column(unique=True)  # given by who entered it
    round_id: Mapped[int] = mapped_column(ForeignKey("round.id", ondelete="CASCADE"))
    quantity: Mapped[str]
    place: Mapped[str]  # pin, pair of pins, name of a reported value, or nothing
    is_taken_back: Mapped[bool] = mapped_column(default=False)
    value: Mapped[float | None]  # in the quantity's plain unit; none where over range
    is_over_range: Mapped[bool] = mapped_column(default=False)
    written: Mapped[str] = mapped_column(default="")
    entered_at: Mapped[datetime]  # by the server's clock
    device: Mapped[str] = mapped_column(default="")


class CorrectionRow(Base):
    """Which earlier indication a later one replaces."""

    __tablename__ = "correction"

    new_id: Mapped[int] = mapped_column(
        ForeignKey("indication.id", ondelete="CASCADE"), primary_key=True
    )
    old_id: Mapped[int] = mapped_column(
        ForeignKey("indication.id", ondelete="CASCADE"), primary_key=True, index=True
    )


class SetAsideRow(Base):
    """A proposed reading that can't be had, so that another is proposed."""

    __tablename__ = "set_aside"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id", ondelete="CASCADE"), index=True)
    quantity: Mapped[str]
    place: Mapped[str]
    state: Mapped[str]  # in which it was proposed; empty = in every state
    reason: Mapped[str] = mapped_column(default="")
    at: Mapped[datetime]
    is_taken_back: Mapped[bool] = mapped_column(default=False)


class AnswerRow(Base):
    """A derived answer, with all that is needed to derive it again."""

    __tablename__ = "answer"
    __table_args__ = (UniqueConstraint("sheet_id", "input_hash"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id", ondelete="CASCADE"))
    input_hash: Mapped[str]  # SHA-256 over job file, parameters and versions
    job_file: Mapped[bytes]  # compressed
    parameters: Mapped[dict[str, Any]]
    versions: Mapped[dict[str, Any]]
    answer: Mapped[bytes]  # compressed JSON
    computed_at: Mapped[datetime]
    seconds: Mapped[float]


class AttachmentRow(Base):
    """A picture or document beside the data base, named by its content's hash."""

    __tablename__ = "attachment"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    round_id: Mapped[int | None] = mapped_column(ForeignKey("round.id", ondelete="CASCADE"))
    quantity: Mapped[str] = mapped_column(default="")  # with its place: the reading it belongs to
    place: Mapped[str] = mapped_column(default="")
    sha256: Mapped[str] = mapped_column(index=True)
    media_type: Mapped[str]
    size_bytes: Mapped[int]
    name: Mapped[str]  # as its owner called it; shown, never used as a path
    caption: Mapped[str] = mapped_column(default="")
    added_at: Mapped[datetime]


class RecordingRow(Base):
    """A capture of an oscilloscope or a log, kept as files beside the data base."""

    __tablename__ = "recording"
    __table_args__ = (CheckConstraint("kind in ('capture', 'log')", name="kind"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    round_id: Mapped[int | None] = mapped_column(ForeignKey("round.id", ondelete="CASCADE"))
    kind: Mapped[str]
    name: Mapped[str]  # as its owner called it; shown, never used as a path
    caption: Mapped[str] = mapped_column(default="")
    source_sha256: Mapped[str]  # of the file as it came
    source_bytes: Mapped[int] = mapped_column(BigInteger)
    samples_sha256: Mapped[str] = mapped_column(index=True)
    mapping: Mapped[str] = mapped_column(default="")  # how the file was read
    remarks: Mapped[list[Any]]  # what the reader left out or assumed
    n_sample: Mapped[int] = mapped_column(BigInteger)
    start_s: Mapped[float]
    interval_s: Mapped[float]
    error_share: Mapped[float]  # limits of the instrument's error, as a share of the highest value
    void: Mapped[str] = mapped_column(default="")
    added_at: Mapped[datetime]
    device: Mapped[str] = mapped_column(default="")


class RecordingChannelRow(Base):
    """A channel of a capture, or a value of a log: where it was taken."""

    __tablename__ = "recording_channel"
    __table_args__ = (UniqueConstraint("recording_id", "position"),)

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    recording_id: Mapped[int] = mapped_column(ForeignKey("recording.id", ondelete="CASCADE"))
    position: Mapped[int]
    name: Mapped[str]
    unit: Mapped[str]
    quantity: Mapped[str] = mapped_column(default="")  # of a log: what the control unit reports
    place: Mapped[str] = mapped_column(default="")  # terminal of the round's connector
    signal: Mapped[str] = mapped_column(default="")  # what its owner says it is; empty = unknown


class RecordingMarkRow(Base):
    """A remark at an instant or over a span of a recording."""

    __tablename__ = "recording_mark"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    recording_id: Mapped[int] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    from_s: Mapped[float]
    until_s: Mapped[float]
    text: Mapped[str]
    at: Mapped[datetime]
    device: Mapped[str] = mapped_column(default="")
    is_taken_back: Mapped[bool] = mapped_column(default=False)


class OutcomeRow(Base):
    """What was found and done, as it stood when written; the latest one counts."""

    __tablename__ = "outcome"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    fault: Mapped[str]
    terminals: Mapped[list[Any]]
    cause: Mapped[str]
    repair: Mapped[str]
    not_tested: Mapped[str]
    proof: Mapped[list[Any]]  # what of the minimum proof was seen, in words
    at: Mapped[datetime]
    device: Mapped[str] = mapped_column(default="")


class EventRow(Base):
    """Every change of a job, in order; what it was before stands in the details."""

    __tablename__ = "event"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str]
    details: Mapped[dict[str, Any]]
    at: Mapped[datetime]
    device: Mapped[str] = mapped_column(default="")


class MeterRow(Base):
    """A meter of the workshop, from its data sheet."""

    __tablename__ = "meter"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    counts: Mapped[int]
    dc_volts: Mapped[str]
    ac_volts: Mapped[str]
    ohms: Mapped[str]
    hertz: Mapped[str]
    input_ohm: Mapped[float]
    is_default: Mapped[bool] = mapped_column(default=False)


class SettingRow(Base):
    """A choice of the workshop that differs from the program's own."""

    __tablename__ = "setting"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[dict[str, Any]]


class DeviceRow(Base):
    """A paired phone or laptop; only the hash of its secret is kept."""

    __tablename__ = "device"

    id: Mapped[int] = mapped_column(RowNumber, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    secret_sha256: Mapped[str] = mapped_column(unique=True)
    paired_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


def table_of(row: type[Base]) -> Table:
    """The table of a kind of row, for statements of plain columns."""
    return Base.metadata.tables[row.__tablename__]
