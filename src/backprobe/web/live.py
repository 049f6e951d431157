"""What happens to a job, told at once to every page that shows it.

Committed changes come from the store, where each has its number: a page that lost its connection
says the last one it saw and misses none. One task asks the store for news twice a second, so that
what other processes write arrives too; a change made in this process wakes it at once. What it
finds is handed to all who follow the job, so that a change is read once however many look on.
Passing messages, such as "there is a new answer", are told to those who listen now and kept
nowhere.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import defaultdict, deque
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool

from backprobe.errors import StoreError
from backprobe.store.engine import Store
from backprobe.store.feed import news_after
from backprobe.store.record import Event

ASK_EVERY: Final = 0.5  # s
MOST_PENDING: Final = 100  # passing messages for one page; older ones are dropped
MOST_CHANGES: Final = 100  # handed to one page; one that is slower asks the store itself


@dataclass(frozen=True, slots=True)
class Passing:
    """A message that is told and forgotten."""

    kind: str
    details: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Followed:
    """A job that is followed: its key, and the number of its row."""

    key: str
    id: int


@dataclass(eq=False, slots=True)
class Listener:
    """One page that shows a job."""

    job: Followed
    changed: asyncio.Event = field(default_factory=asyncio.Event)
    pending: deque[Passing] = field(default_factory=lambda: deque(maxlen=MOST_PENDING))
    changes: list[Event] = field(default_factory=list)
    is_behind: bool = True  # it has to ask the store itself for what it has missed

    def take(self) -> list[Passing]:
        """Take the messages that have come; what comes later sets `changed` again."""
        self.changed.clear()
        taken = list(self.pending)
        self.pending.clear()
        return taken

    def take_changes(self) -> list[Event] | None:
        """Take the changes that were handed over; None where the store has to be asked."""
        taken, was_behind = self.changes, self.is_behind
        self.changes, self.is_behind = [], False
        return None if was_behind else taken

    def hand(self, found: Sequence[Event]) -> None:
        """Hand changes over."""
        if len(self.changes) + len(found) > MOST_CHANGES:
            self.lose()
            return
        self.changes.extend(found)
        self.changed.set()

    def lose(self) -> None:
        """Have the page ask the store itself."""
        self.changes.clear()
        self.is_behind = True
        self.changed.set()


class Live:
    """Who listens, and the task that tells them."""

    def __init__(self, store: Store, ask_every: float = ASK_EVERY) -> None:
        self.store = store
        self.ask_every = ask_every
        self.is_closing = False
        self._listeners: set[Listener] = set()
        self._told: int | None = None  # number of the newest change that was told
        self._woken = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    @contextlib.contextmanager
    def listening(self, job: Followed) -> Iterator[Listener]:
        """Listen to one job for as long as the page is there."""
        listener = Listener(job)
        self._listeners.add(listener)
        self._woken.set()
        try:
            yield listener
        finally:
            self._listeners.discard(listener)

    def wake(self) -> None:
        """Have the store asked at once: something was written. From any thread."""
        self._in_loop(self._woken.set)

    def publish(self, job_key: str, kind: str, details: Mapping[str, Any] | None = None) -> None:
        """Tell a passing message to whoever shows a job. From any thread."""
        self._in_loop(self._publish, job_key, Passing(kind, details or {}))

    def close(self) -> None:
        """End all streams: the server is about to stop. In the loop's own thread."""
        self.is_closing = True
        for listener in self._listeners:
            listener.changed.set()

    async def run(self) -> None:
        """Ask for news until cancelled; a store that is away for a while is asked again."""
        self._loop = asyncio.get_running_loop()
        self._woken = asyncio.Event()
        self.is_closing = False
        while True:
            await self._pause()
            self._woken.clear()
            if not self._listeners:
                self._told = None  # whoever comes asks the store itself first
                continue
            with contextlib.suppress(StoreError):
                self._tell(*await run_in_threadpool(news_after, self.store, self._told))

    async def _pause(self) -> None:
        # Nobody listens: nothing need be asked until somebody does.
        limit = self.ask_every if self._listeners else None
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._woken.wait(), limit)

    def _tell(self, newest: int, found: tuple[tuple[int, Event], ...]) -> None:
        changes: defaultdict[int, list[Event]] = defaultdict(list)
        for job, event in found:
            changes[job].append(event)
        # Numbers go back where a backup was put in the place of the store.
        is_lost = self._told is None or newest < self._told
        for listener in self._listeners:
            if is_lost:
                listener.lose()
            elif listener.job.id in changes:
                listener.hand(changes[listener.job.id])
        self._told = newest

    def _publish(self, job_key: str, message: Passing) -> None:
        for listener in self._listeners:
            if listener.job.key == job_key:
                listener.pending.append(message)
                listener.changed.set()

    def _in_loop(self, function: Any, *arguments: Any) -> None:
        loop = self._loop
        if loop is None:  # nobody can listen yet
            return
        with contextlib.suppress(RuntimeError):  # the loop has ended, and all listeners with it
            loop.call_soon_threadsafe(function, *arguments)


@contextlib.asynccontextmanager
async def live_hook(app: FastAPI) -> AsyncIterator[None]:
    """Run the task beside the requests."""
    live: Live = app.state.live
    task = asyncio.create_task(live.run())
    try:
        yield
    finally:
        live.close()
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
