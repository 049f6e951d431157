"""The book of captures and logs, for every route that asks for it; alone, or to change one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from backprobe.services.recording_book import RecordingBook
from backprobe.web.changing import Change, ChangeAtHand


async def _recordings(request: Request) -> RecordingBook:
    book: RecordingBook = request.app.state.recordings
    return book


RecordingsAtHand = Annotated[RecordingBook, Depends(_recordings)]


@dataclass(frozen=True, slots=True)
class RecordingChange(Change):
    """A change of captures and logs that a request makes."""

    recordings: RecordingBook


async def _recording_change(change: ChangeAtHand, recordings: RecordingsAtHand) -> RecordingChange:
    return RecordingChange(change.book, change.answers, change.live, change.device, recordings)


RecordingChangeAtHand = Annotated[RecordingChange, Depends(_recording_change)]
