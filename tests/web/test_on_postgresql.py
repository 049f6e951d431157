"""Pages, interface and streams on PostgreSQL: one job, two servers that share the data base."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from backprobe.web.app import create_app
from backprobe.web.settings import ServeSettings
from tests.postgres_server import PostgresServer
from tests.web.browsers import browser
from tests.web.running import Received, received, running

FORM = {
    "title": "Gauge stays at cold",
    "connector": "coolant sensor",
    "kind": "temperature",
    "wires": "1 YE/BK\n2 brown",
}
STATE = {"plugged": "no", "key": "on", "black_lead": "battery negative"}


@pytest.fixture
def stores(postgres: PostgresServer, tmp_path: Path) -> Iterator[tuple[Store, Store]]:
    """The same data base as two servers of a workshop have it open."""
    url = postgres.new_database()
    found = (Store(url, tmp_path / "files"), Store(url, tmp_path / "files"))
    upgrade(found[0])
    yield found
    for each in found:
        each.close()


def begun(client: TestClient) -> tuple[str, str, str]:
    """A job begun by its forms; keys of its sheet, its round and itself."""
    sheet = client.post("/jobs/new", data=FORM).headers["location"].removeprefix("/sheets/")
    sent = client.post(f"/sheets/{sheet}/rounds", data=STATE)
    round_key = sent.headers["location"].partition("#round-")[2]
    return sheet, round_key, client.get(f"/api/sheets/{sheet}").json()["job"]


def next_entry(events: Iterator[Received]) -> tuple[str, dict[str, object]]:
    """Number and details of the next entry told on a stream."""
    for event in events:
        if event.data is not None and event.data["kind"] == "entry":
            return event.id, event.data["details"]
    raise AssertionError("the stream has ended")


def test_a_job_by_forms_with_a_page_on_each_of_two_servers(stores: tuple[Store, Store]) -> None:
    one, other = (create_app(store, ServeSettings()) for store in stores)
    client = browser(one)
    sheet, key, job = begun(client)
    with running(one) as here, running(other) as there:
        streams = [received(each.get(f"/api/jobs/{job}/events")) for each in (here, there)]
        for stream in streams:
            next(stream)
        cell = {"quantity": "volts", "place": "1"}
        sent = client.post(f"/rounds/{key}/entry", data=cell | {"written": "5.01"})
        assert sent.status_code == 303
        first, same = (next_entry(stream)[1]["entry"] for stream in streams)
        assert first == same

        # The same key by both servers: stored once, and told once on either stream.
        body = {**cell, "place": "2", "written": "12 mV", "entry_key": "outbox-0001"}
        at = f"/api/rounds/{key}/entries"
        told = [browser(each).post(at, json=body).json() for each in (one, other)]
        assert [each["is_new"] for each in told] == [True, False]
        assert told[0]["entry"] == told[1]["entry"]
        last = [next_entry(stream) for stream in streams]
        assert [details["entry"] for _, details in last] == [told[0]["entry"]] * 2

        # A connection that broke takes up where it was.
        browser(other).post(f"/rounds/{key}/entry", data=cell | {"written": "4.98", "seen": first})
        again = received(here.get(f"/api/jobs/{job}/events", {"Last-Event-ID": last[0][0]}))
        next(again)
        assert next_entry(again)[1]["place"] == "1"

    shown = browser(other).get(f"/sheets/{sheet}/table").text
    for text in ("5.01 V", "4.98 V", "12 mV"):
        assert text in shown
    entries = client.get(f"/api/sheets/{sheet}").json()["rounds"][0]["entries"]
    assert [each["written"] for each in entries] == ["5.01", "12 mV", "4.98"]
    assert [each["stands"] for each in entries] == [False, True, True]


def test_what_cannot_be_is_refused_and_found_jobs_are_listed(stores: tuple[Store, Store]) -> None:
    client = browser(create_app(stores[0], ServeSettings()))
    _, key, job = begun(client)
    refused = client.post(
        f"/rounds/{key}/entry", data={"quantity": "volts", "place": "1", "written": "98765"}
    )
    assert refused.status_code == 422
    assert 'value="98765"' in refused.text
    assert "Gauge stays at cold" in client.get("/", params={"q": "COLD coolant"}).text
    assert client.post(f"/jobs/{job}/close").status_code == 303
    closed = client.post(
        f"/rounds/{key}/entry", data={"quantity": "volts", "place": "1", "written": "5.0"}
    )
    assert closed.status_code == 409
