"""What belongs to the workshop and no single job: its meters, and what it sets for itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError, NotFoundError
from backprobe.job import Meter
from backprobe.store.schema import MeterRow, SettingRow


@dataclass(frozen=True, slots=True)
class MeterProfile:
    """A meter of the workshop; the default one is taken for new jobs."""

    name: str
    meter: Meter = field(default_factory=Meter)
    is_default: bool = False


def meters(session: Session) -> tuple[MeterProfile, ...]:
    """All meters by name."""
    rows = session.scalars(select(MeterRow).order_by(MeterRow.name))
    return tuple(_profile(row) for row in rows)


def default_meter(session: Session) -> MeterProfile | None:
    """The meter for new jobs, where one was chosen."""
    row = session.scalar(select(MeterRow).where(MeterRow.is_default))
    return None if row is None else _profile(row)


def put_meter(session: Session, profile: MeterProfile, was: str = "") -> None:
    """Add a meter, or write down anew the one that had the name ``was``."""
    taken = session.scalar(select(MeterRow).where(MeterRow.name == profile.name))
    if taken is not None and profile.name != was:
        raise ConflictError(
            "There is a meter of that name already.",
            where=profile.name,
            remedy="Give this one another name, or change that one.",
        )
    row = _row(session, was) if was else MeterRow()
    if profile.is_default:  # before the row itself is written, which may be it
        session.execute(update(MeterRow).values(is_default=False))
    row.name = profile.name
    row.counts = profile.meter.counts
    row.dc_volts = profile.meter.dc_volts
    row.ac_volts = profile.meter.ac_volts
    row.ohms = profile.meter.ohms
    row.hertz = profile.meter.hertz
    row.input_ohm = profile.meter.input_resistance
    row.is_default = profile.is_default
    session.add(row)
    session.flush()


def delete_meter(session: Session, name: str) -> None:
    """Forget a meter; jobs keep what they hold of it."""
    session.delete(_row(session, name))
    session.flush()


def setting(session: Session, name: str) -> Mapping[str, Any]:
    """What the workshop set under a name; empty where it set nothing."""
    row = session.get(SettingRow, name)
    return {} if row is None else row.value


def put_setting(session: Session, name: str, value: Mapping[str, Any]) -> None:
    """Set something; an empty value takes the setting back."""
    session.execute(delete(SettingRow).where(SettingRow.name == name))
    if value:
        session.add(SettingRow(name=name, value=dict(value)))
    session.flush()


def _row(session: Session, name: str) -> MeterRow:
    row = session.scalar(select(MeterRow).where(MeterRow.name == name))
    if row is None:
        raise NotFoundError(
            "There is no meter of that name.",
            where=name,
            remedy="Look at the list of meters; it may have been renamed.",
        )
    return row


def _profile(row: MeterRow) -> MeterProfile:
    meter = Meter(
        counts=row.counts,
        dc_volts=row.dc_volts,
        ac_volts=row.ac_volts,
        ohms=row.ohms,
        hertz=row.hertz,
        input_resistance=row.input_ohm,
    )
    return MeterProfile(row.name, meter, row.is_default)
