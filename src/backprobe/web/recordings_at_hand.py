"""The book of captures and logs, for every route that asks for it."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from backprobe.services.recording_book import RecordingBook


async def _recordings(request: Request) -> RecordingBook:
    book: RecordingBook = request.app.state.recordings
    return book


RecordingsAtHand = Annotated[RecordingBook, Depends(_recordings)]
