"""The answer desk beside the requests: opened with the server, closed with it."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, FastAPI, Request
from starlette.concurrency import run_in_threadpool

from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.job_book import JobBook
from backprobe.web.live import Live


async def answers_of(request: Request) -> AnswerDesk:
    """The desk of the application that a request came to."""
    desk: AnswerDesk = request.app.state.answers
    return desk


async def book_of(request: Request) -> JobBook:
    """The jobs of the application that a request came to."""
    book: JobBook = request.app.state.book
    return book


AnswersAtHand = Annotated[AnswerDesk, Depends(answers_of)]
BookAtHand = Annotated[JobBook, Depends(book_of)]


def desk_for(app: FastAPI) -> AnswerDesk:
    """A desk that tells its answers to whoever follows the job."""
    live: Live = app.state.live
    return AnswerDesk(app.state.store, live.publish)


@contextlib.asynccontextmanager
async def answers_hook(app: FastAPI) -> AsyncIterator[None]:
    """Answer as long as the server runs."""
    desk: AnswerDesk = app.state.answers
    desk.start()
    try:
        yield
    finally:
        await run_in_threadpool(desk.stop)
