"""The interface for programs, readings: entered, undone. What fifty people ask for at once.

"async" spares each reading a second turn in a thread, which the framework would take to write its
answer.
"""

from __future__ import annotations

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool

from backprobe.services.entry_book import Entered
from backprobe.web.api_given import EntryGiven, UndoGiven
from backprobe.web.api_told import EntryTold, number_of
from backprobe.web.changing import Change, ChangeAtHand

router = APIRouter(prefix="/api/rounds", tags=["rounds"])


@router.post("/{key}/entries")
async def enter(key: str, given: EntryGiven, change: ChangeAtHand) -> EntryTold:
    """Write a reading into a cell; the answer comes when it is stored durably."""
    return _told(await run_in_threadpool(_enter, key, given, change))


@router.post("/{key}/undo")
async def undo(key: str, given: UndoGiven, change: ChangeAtHand) -> EntryTold:
    """Put back what stood in a cell before an entry."""
    return _told(await run_in_threadpool(_undo, key, given, change))


def _enter(key: str, given: EntryGiven, change: Change) -> Entered:
    entered = change.book.enter(
        key,
        (given.quantity, given.place),
        given.written,
        entry_key=given.entry_key or "",
        seen=given.seen,
        device=change.device,
    )
    change.told_of(entered.sheet)
    return entered


def _undo(key: str, given: UndoGiven, change: Change) -> Entered:
    entered = change.book.undo(
        key, given.entry, device=change.device, entry_key=given.entry_key or ""
    )
    change.told_of(entered.sheet)
    return entered


def _told(entered: Entered) -> EntryTold:
    shown = entered.indication
    return EntryTold(
        entry=entered.entry,
        is_new=entered.is_new,
        value=number_of(shown),
        over_range=shown is not None and shown.over_range,
        written="" if shown is None else shown.written,
    )
