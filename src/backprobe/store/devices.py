"""Paired devices, kept and found again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from backprobe.errors import NotFoundError
from backprobe.store.events import new_key
from backprobe.store.schema import DeviceRow


@dataclass(frozen=True, slots=True)
class Device:
    """A paired phone or laptop."""

    key: str
    name: str
    paired_at: datetime
    seen_at: datetime
    revoked_at: datetime | None


def add_device(session: Session, name: str, secret_sha256: str, instant: datetime) -> str:
    """Keep a device; returns its key."""
    row = DeviceRow(
        key=new_key(),
        name=name,
        secret_sha256=secret_sha256,
        paired_at=instant,
        seen_at=instant,
    )
    session.add(row)
    return row.key


def find_device(session: Session, secret_sha256: str) -> Device | None:
    """Find the device whose secret has this hash, revoked or not."""
    row = session.scalar(select(DeviceRow).where(DeviceRow.secret_sha256 == secret_sha256))
    return None if row is None else _device(row)


def list_devices(session: Session) -> tuple[Device, ...]:
    """All devices that aren't revoked, the last one seen first."""
    query = (
        select(DeviceRow)
        .where(DeviceRow.revoked_at.is_(None))
        .order_by(DeviceRow.seen_at.desc(), DeviceRow.id.desc())
    )
    return tuple(_device(row) for row in session.scalars(query))


def touch_device(session: Session, key: str, instant: datetime) -> None:
    """Note that a device was seen."""
    _row(session, key).seen_at = instant


def revoke_device(session: Session, key: str, instant: datetime) -> None:
    """Revoke a device; its row stays, since records name it."""
    row = _row(session, key)
    row.revoked_at = row.revoked_at or instant


def _row(session: Session, key: str) -> DeviceRow:
    found = session.scalar(select(DeviceRow).where(DeviceRow.key == key))
    if found is None:
        raise NotFoundError("There is no such device.", remedy="Look at the list of devices.")
    return found


def _device(row: DeviceRow) -> Device:
    return Device(row.key, row.name, row.paired_at, row.seen_at, row.revoked_at)
