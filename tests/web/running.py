"""A real server in a thread, and what reads its streams."""

import asyncio
import http.client
import json
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fastapi import FastAPI

from backprobe.web.server import Serving, bind

_Found = TypeVar("_Found")
PATIENCE = 10.0  # s; a busy machine is slow at times


@dataclass
class Running:
    """A server that answers."""

    port: int
    stop_seconds: float = 0.0
    open: ExitStack = field(default_factory=ExitStack)  # connections, closed at the end

    def get(self, path: str, headers: dict[str, str] | None = None) -> http.client.HTTPResponse:
        """Ask for something; the answer may be read in pieces."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        connection.request("GET", path, headers=headers or {})
        self.open.callback(connection.close)
        answer = connection.getresponse()
        self.open.callback(answer.close)
        return answer


@contextmanager
def running(app: FastAPI) -> Iterator[Running]:
    """Serve an application until the block ends."""
    started = threading.Event()
    listener = bind("127.0.0.1", 0)
    found = Running(listener.getsockname()[1])
    server = Serving(app, listener, on_started=started.set).server()
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    assert started.wait(PATIENCE)
    try:
        yield found
    finally:
        before = time.monotonic()
        server.should_exit = True
        thread.join(PATIENCE)
        found.stop_seconds = time.monotonic() - before
        found.open.close()
        assert not thread.is_alive()


@dataclass(frozen=True)
class Received:
    """One event as a browser takes it: HTML standard, section 9.2.6."""

    id: str
    data: dict[str, Any] | None


def received(answer: http.client.HTTPResponse) -> Iterator[Received]:
    """The events of a stream as they come; heartbeats are left out."""
    number, data = "", ""
    while line := answer.readline().decode():
        field, _, value = line.rstrip("\n").partition(":")
        value = value.removeprefix(" ")
        if field == "id":
            number = value
        elif field == "data":
            data += value
        elif not line.strip() and (data or number):
            yield Received(number, json.loads(data) if data else None)
            number, data = "", ""


def in_a_loop(work: Coroutine[Any, Any, _Found]) -> _Found:
    """Run to the end in a loop of its own.

    In a thread of its own too: a browser that other tests drive leaves a loop running in this one.
    """
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()  # noqa: TID251 - its thread is its own
