"""Paired devices in the store."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from backprobe.errors import NotFoundError
from backprobe.store.devices import (
    add_device,
    find_device,
    list_devices,
    revoke_device,
    touch_device,
)
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
LATER = NOON + timedelta(hours=1)


def test_a_device_is_kept_seen_and_revoked(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(store)
    with store.write() as session:
        first = add_device(session, "Bay 1 phone", "aa", NOON)
        second = add_device(session, "Bay 2 phone", "bb", NOON)
    with store.write() as session:
        touch_device(session, first, LATER)
    with store.read() as session:
        found = find_device(session, "aa")
        assert found is not None
        assert (found.name, found.paired_at, found.seen_at) == ("Bay 1 phone", NOON, LATER)
        assert [device.key for device in list_devices(session)] == [first, second]
        assert find_device(session, "cc") is None
    for instant in (LATER, LATER + timedelta(hours=1)):  # twice: the first time counts
        with store.write() as session:
            revoke_device(session, first, instant)
    with store.read() as session:
        gone = find_device(session, "aa")
        assert gone is not None
        assert gone.revoked_at == LATER
        assert [device.key for device in list_devices(session)] == [second]
    with pytest.raises(NotFoundError), store.write() as session:
        revoke_device(session, "nobody", NOON)
    store.close()
