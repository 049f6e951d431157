"""The stream of a job's changes, as server-sent events (HTML standard, section 9.2)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from typing import Annotated, Any, Final

from fastapi import APIRouter, Header, Query
from fastapi.responses import StreamingResponse
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from backprobe.errors import StoreError
from backprobe.store.engine import Store
from backprobe.store.feed import events_after, position
from backprobe.store.record import Event
from backprobe.web.at_hand import DevicesAtHand, LiveAtHand, StoreAtHand
from backprobe.web.devices import Devices
from backprobe.web.live import Followed, Listener, Live, Passing
from backprobe.web.visitor import AnyVisitor, Visitor

HEARTBEAT: Final = 15.0  # s; what lies between drops connections on which nothing is said
AGAIN_MS: Final = 1000  # after which a browser connects again

router = APIRouter(prefix="/api", tags=["jobs"])


class ChangeTold(BaseModel):
    """The data of one event; a passing message has neither number, time nor device."""

    number: int | None
    kind: str
    details: dict[str, Any]
    at: str | None
    device: str | None


@router.get(
    "/jobs/{key}/events",
    response_class=StreamingResponse,
    responses={
        200: {
            "content": {"text/event-stream": {"schema": ChangeTold.model_json_schema()}},
            "description": "Each change of the job as one event; its id is the change's number.",
        }
    },
)
async def events(
    key: str,
    visitor: AnyVisitor,
    store: StoreAtHand,
    live: LiveAtHand,
    devices: DevicesAtHand,
    after: Annotated[int | None, Query(ge=0)] = None,
    last_event_id: Annotated[str, Header()] = "",
) -> StreamingResponse:
    """Follow a job: every change after the last one seen, then each as it happens.

    `Last-Event-ID`, which browsers send when they connect again, counts before `after`. With
    neither, the stream begins now.
    """
    job_id, newest = await run_in_threadpool(position, store, key)
    seen = newest if after is None else after
    if last_event_id.isascii() and last_event_id.isdecimal():
        seen = int(last_event_id)
    # A number beyond the newest comes from before a backup was put back: nothing would ever follow.
    stream = Stream(store, live, devices, visitor)
    return StreamingResponse(
        stream.chunks(Followed(key, job_id), min(seen, newest)),
        media_type="text/event-stream",
        headers={"X-Accel-Buffering": "no"},
    )


class Stream:
    """One page's stream of one job."""

    def __init__(self, store: Store, live: Live, devices: Devices, visitor: Visitor) -> None:
        self.store = store
        self.live = live
        self.devices = devices
        self.visitor = visitor
        self.heartbeat = HEARTBEAT

    async def chunks(self, job: Followed, seen: int) -> AsyncIterator[str]:
        """All that is sent, until the page goes, the server stops or the device is removed."""
        # A number without data tells the browser where it stands, should nothing happen.
        yield f"retry: {AGAIN_MS}\nid: {seen}\n\n"
        with self.live.listening(job) as listener:
            while not self.live.is_closing:
                # Taken before the store is asked: a change in between wakes the next turn.
                passing, found = listener.take(), listener.take_changes()
                if not self.visitor.is_local and not await run_in_threadpool(self._is_let_in):
                    return
                if found is None:
                    found = await run_in_threadpool(self._missed, listener, seen)
                for event in found:
                    if event.id > seen:  # what was asked for may be handed over once more
                        seen = event.id
                        yield change_text(event)
                for message in passing:
                    yield passing_text(message)
                if not await heard(listener, self.heartbeat):
                    listener.is_behind = True
                    yield ":\n\n"

    def _is_let_in(self) -> bool:
        """Whether this device is still paired; a store that is away doesn't end the stream."""
        try:
            return self.devices.is_paired(self.visitor.key)
        except StoreError:
            return True

    def _missed(self, listener: Listener, seen: int) -> list[Event]:
        """What came since, from the store itself."""
        try:
            return list(events_after(self.store, listener.job.id, seen))
        except StoreError:  # asked again in a while; ended, the page would have to be loaded anew
            listener.is_behind = True
            return []


async def heard(listener: Listener, seconds: float) -> bool:
    """Wait for news; False where there was none in that time."""
    try:
        async with asyncio.timeout(seconds):  # unlike wait_for it needs no task for each
            await listener.changed.wait()
    except TimeoutError:
        return False
    return True


def change_text(event: Event) -> str:
    """A committed change as it is sent."""
    told = _data(event.id, event.kind, event.details, event.at.isoformat(), event.device)
    return f"id: {event.id}\n{told}"


def passing_text(message: Passing) -> str:
    """A passing message as it is sent."""
    return _data(None, message.kind, message.details, None, None)


def _data(
    number: int | None, kind: str, details: Mapping[str, Any], at: str | None, device: str | None
) -> str:
    """A `ChangeTold` as it is sent: every page that looks on gets one for every reading."""
    told = {"number": number, "kind": kind, "details": dict(details), "at": at, "device": device}
    # Without indent JSON is one line, whatever stands in its texts: none can end the event early.
    return f"data: {json.dumps(told)}\n\n"
