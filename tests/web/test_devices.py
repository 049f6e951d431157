"""Devices by their tokens."""

from datetime import UTC, datetime, timedelta

from sqlalchemy import event

from backprobe.store.engine import Store
from backprobe.web.devices import Devices


class Clock:
    """The instant that the test wants."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


def test_a_token_finds_its_device_until_it_is_revoked(store: Store) -> None:
    devices = Devices(store)
    first, second = devices.pair("Bay 1 phone"), devices.pair("Bay 2 phone")
    assert first != second
    assert len(first) >= 43  # 256 bits in base 64
    found = devices.of_token(first)
    assert found is not None
    assert found.name == "Bay 1 phone"
    assert devices.is_paired(found.key)
    devices.revoke(found.key)
    assert devices.of_token(first) is None
    assert not devices.is_paired(found.key)
    assert devices.of_token(second) is not None


def test_being_seen_is_noted_once_a_minute(store: Store) -> None:
    clock = Clock()
    devices = Devices(store, clock)
    token = devices.pair("Bay 1 phone")
    writes: list[str] = []

    def note(connection: object, cursor: object, statement: str, *_more: object) -> None:
        if statement.startswith("UPDATE"):
            writes.append(statement)

    event.listen(store.engine, "before_cursor_execute", note)
    paired = clock.now
    for _ in range(6):
        clock.now += timedelta(seconds=20)
        assert devices.of_token(token) is not None
    assert len(writes) == 2
    assert devices.all()[0].paired_at == paired
    assert devices.all()[0].seen_at == clock.now
