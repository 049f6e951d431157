"""Paired devices: each holds a random token, of which only the hash is kept."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from backprobe.store.columns import now
from backprobe.store.devices import (
    Device,
    add_device,
    find_device,
    list_devices,
    revoke_device,
    touch_device,
)
from backprobe.store.engine import Store

COOKIE: Final = "backprobe-device"
# Often enough to tell whether a device is still in use; not a write with every request.
SEEN_EVERY: Final = timedelta(minutes=1)


class Devices:
    """The devices that may look in.

    Parameters
    ----------
    store : Store
        Where they are kept.
    clock : callable
        Gives the present instant.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime] = now) -> None:
        self.store = store
        self.clock = clock

    def pair(self, name: str) -> str:
        """Let a device in; the token returned is nowhere else."""
        token = secrets.token_urlsafe(32)
        with self.store.write() as session:
            add_device(session, name, _hash(token), self.clock())
        return token

    def of_token(self, token: str) -> Device | None:
        """Find the device that holds a token; None where there is none, or not any more."""
        with self.store.read() as session:
            device = find_device(session, _hash(token))
        if device is None or device.revoked_at is not None:
            return None
        instant = self.clock()
        if instant - device.seen_at >= SEEN_EVERY:
            with self.store.write() as session:
                touch_device(session, device.key, instant)
        return device

    def is_paired(self, key: str) -> bool:
        """Whether a device is still let in."""
        return any(device.key == key for device in self.all())

    def all(self) -> tuple[Device, ...]:
        """All devices that are let in, the last one seen first."""
        with self.store.read() as session:
            return list_devices(session)

    def revoke(self, key: str) -> None:
        """Let a device in no longer."""
        with self.store.write() as session:
            revoke_device(session, key, self.clock())


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
