"""Changes reach every page that shows the job: once, in order, also after a break."""

import asyncio
import sqlite3
import threading
import time
from collections.abc import Iterator
from itertools import islice

import pytest
from fastapi import FastAPI

from backprobe.errors import StoreError
from backprobe.store import feed
from backprobe.store.engine import Store
from backprobe.store.events import job_row, log
from backprobe.store.jobs import new_job
from backprobe.store.record import JobHead
from backprobe.web import event_stream
from backprobe.web.devices import Devices
from backprobe.web.event_stream import Stream
from backprobe.web.live import Followed, Live
from backprobe.web.visitor import Visitor
from tests.web.browsers import browser
from tests.web.running import PATIENCE, Running, in_a_loop, received, running


def note(store: Store, key: str, number: int) -> None:
    """Write a change of a job."""
    with store.write() as session:
        log(session, job_row(session, key).id, "noted", "bench", number=number)


@pytest.fixture
def job(store: Store) -> str:
    """A job with one change."""
    with store.write() as session:
        key = new_job(session, JobHead("Hesitates"))
    note(store, key, 0)
    return key


@pytest.fixture
def server(app: FastAPI) -> Iterator[Running]:
    """A server that runs during a test."""
    with running(app) as found:
        yield found


def test_the_whole_history_then_each_change_as_it_happens(
    server: Running, store: Store, job: str
) -> None:
    answer = server.get(f"/api/jobs/{job}/events?after=0")
    assert answer.status == 200
    assert answer.headers["content-type"] == "text/event-stream; charset=utf-8"
    assert answer.headers["cache-control"] == "no-store"
    events = received(answer)
    assert next(events).data is None
    _, newest = feed.position(store, job)
    while (event := next(events)).id != str(newest):
        pass
    assert event.data is not None
    assert event.data["kind"] == "noted"
    assert event.data["details"] == {"number": 0}
    assert event.data["device"] == "bench"
    assert event.data["number"] == newest
    assert event.data["at"].endswith("+00:00")
    for number in (1, 2, 3):
        note(store, job, number)
        data = next(events).data
        assert data is not None
        assert data["details"] == {"number": number}


def test_without_a_number_it_begins_now_and_says_where_it_stands(
    server: Running, store: Store, job: str
) -> None:
    events = received(server.get(f"/api/jobs/{job}/events"))
    first = next(events)
    assert (first.id, first.data) == (str(feed.position(store, job)[1]), None)
    note(store, job, 1)
    data = next(events).data
    assert data is not None
    assert data["details"] == {"number": 1}


def test_nothing_is_lost_or_told_twice_over_many_breaks(
    server: Running, store: Store, job: str
) -> None:
    """A page that loses its connection again and again while another device writes."""
    count = 40
    _, before = feed.position(store, job)

    def write() -> None:
        for number in range(1, count + 1):
            note(store, job, number)
            time.sleep(0.005)

    writer = threading.Thread(target=write)
    writer.start()
    seen: list[int] = []
    last = str(before)
    while len(seen) < count:
        answer = server.get(f"/api/jobs/{job}/events?after=0", {"Last-Event-ID": last})
        next(events := received(answer))
        for event in islice(events, min(3, count - len(seen))):
            last = event.id
            assert event.data is not None
            seen.append(event.data["details"]["number"])
        answer.close()
    writer.join()
    assert seen == list(range(1, count + 1))


def test_what_another_process_writes_arrives(server: Running, store: Store, job: str) -> None:
    events = received(server.get(f"/api/jobs/{job}/events"))
    next(events)
    other = sqlite3.connect(str(store.path))
    with other:
        other.execute(
            "insert into event (job_id, kind, details, at, device)"
            " select id, 'imported', '{}', '2026-03-02 12:00:00', 'command line' from job"
            " where key = ?",
            (job,),
        )
    other.close()
    data = next(events).data
    assert data is not None
    assert (data["kind"], data["device"]) == ("imported", "command line")


def test_a_passing_message_reaches_those_who_listen_and_has_no_number(
    server: Running, app: FastAPI, store: Store, job: str
) -> None:
    with store.write() as session:
        other = new_job(session, JobHead("Another"))
    pages = [received(server.get(f"/api/jobs/{job}/events")) for _ in range(3)]
    stranger = received(server.get(f"/api/jobs/{other}/events"))
    for page in (*pages, stranger):
        next(page)
    deadline = time.monotonic() + PATIENCE
    while len(app.state.live._listeners) < 4 and time.monotonic() < deadline:
        time.sleep(0.01)
    app.state.live.publish(job, "answer", {"text": "two\nlines\r\n\r\ndata: x \u2028"})
    for page in pages:
        found = next(page)
        assert found.id == ""
        assert found.data == {
            "number": None,
            "kind": "answer",
            "details": {"text": "two\nlines\r\n\r\ndata: x \u2028"},
            "at": None,
            "device": None,
        }
    note(store, other, 7)
    data = next(stranger).data
    assert data is not None
    assert data["details"] == {"number": 7}


def test_a_change_made_here_arrives_before_the_store_would_be_asked(
    app: FastAPI, store: Store, job: str
) -> None:
    app.state.live.ask_every = 3600.0
    with running(app) as server:
        events = received(server.get(f"/api/jobs/{job}/events"))
        next(events)
        note(store, job, 1)
        app.state.live.wake()
        data = next(events).data
    assert data is not None
    assert data["details"] == {"number": 1}


def test_the_server_stops_at_once_with_open_streams(app: FastAPI, job: str) -> None:
    ended: list[bytes] = []
    with running(app) as server:
        answers = [server.get(f"/api/jobs/{job}/events") for _ in range(3)]
        for answer in answers:
            next(received(answer))
        threading.Thread(target=lambda: ended.extend(each.read() for each in answers)).start()
    assert ended == [b""] * 3
    # Without ending them, it would wait for the whole of its grace, a second, and more.
    assert server.stop_seconds < 0.9


@pytest.mark.parametrize("last", ["99999999999", "9" * 400])
def test_a_number_from_before_a_backup_was_put_back(
    server: Running, store: Store, job: str, last: str
) -> None:
    """Numbers begin again lower; waiting for a higher one would be waiting for long."""
    events = received(server.get(f"/api/jobs/{job}/events", {"Last-Event-ID": last}))
    assert next(events).id == str(feed.position(store, job)[1])
    note(store, job, 5)
    assert next(events).data is not None


def test_an_unknown_job_has_no_stream(app: FastAPI) -> None:
    found = browser(app).get("/api/jobs/nobody/events")
    assert found.status_code == 404
    assert "no such job" in found.json()["what"]


@pytest.mark.parametrize("after", ["-1", "x", "1.5"])
def test_a_number_must_be_one(app: FastAPI, job: str, after: str) -> None:
    found = browser(app).get(f"/api/jobs/{job}/events", params={"after": after})
    assert found.status_code == 422
    assert found.json()["where"] == "query after"


def stream(store: Store, visitor: Visitor | None = None) -> Stream:
    found = Stream(store, Live(store), Devices(store), visitor or Visitor())
    found.heartbeat = 0.01
    return found


def followed(store: Store, key: str) -> tuple[Followed, int]:
    number, newest = feed.position(store, key)
    return Followed(key, number), newest


def test_silence_is_filled_with_heartbeats(store: Store, job: str) -> None:
    async def read() -> list[str]:
        chunks = stream(store).chunks(*followed(store, job))
        return [await anext(chunks) for _ in range(4)]

    first, *rest = in_a_loop(read())
    assert first.startswith("retry: 1000\nid: ")
    assert rest == [":\n\n"] * 3


def test_a_removed_device_hears_nothing_more(store: Store, job: str) -> None:
    devices = Devices(store)
    devices.pair("Bay 2 phone")
    key = devices.all()[0].key
    heard: list[str] = []

    async def read() -> None:
        chunks = stream(store, Visitor("Bay 2 phone", key)).chunks(*followed(store, job))
        heard.extend([await anext(chunks) for _ in range(2)])
        devices.revoke(key)
        note(store, job, 1)
        heard.extend([chunk async for chunk in chunks])

    in_a_loop(asyncio.wait_for(read(), PATIENCE))
    assert len(heard) == 2
    assert not any("noted" in chunk for chunk in heard)


def test_a_store_that_is_away_for_a_while_is_asked_again(
    store: Store, job: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []

    def away(*arguments: object) -> object:
        calls.append(1)
        if len(calls) < 3:
            raise StoreError("Away.")
        return feed.events_after(*arguments)  # type: ignore[arg-type]  # passed on as they came

    monkeypatch.setattr(event_stream, "events_after", away)

    async def read() -> str:
        chunks = stream(store).chunks(followed(store, job)[0], 0)
        async for chunk in chunks:
            if "noted" in chunk:
                return chunk
        return ""

    assert '"number": 0' in in_a_loop(asyncio.wait_for(read(), PATIENCE))
