"""The interface for programs: all that the pages can do, as JSON, described by OpenAPI."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Body, Path, Query
from fastapi.responses import PlainTextResponse

from backprobe.errors import JobFileError, ValueOutOfRange
from backprobe.job import parse_job
from backprobe.services.answer import answer_to_json
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.api_given import (
    ConnectorGiven,
    JobGiven,
    NewJob,
    NewRound,
    NewSheet,
    OutcomeGiven,
    ReasonGiven,
    RoundGiven,
    SetAsideGiven,
)
from backprobe.web.api_told import (
    AnswerTold,
    JobBegun,
    JobTold,
    KeyTold,
    LineTold,
    ListTold,
    NumberTold,
    SheetTold,
    job_told,
    sheet_told,
)
from backprobe.web.changing import ChangeAtHand
from backprobe.web.error_answers import ANSWERS_BESIDE_TEXT

router = APIRouter(prefix="/api")


# ------------------------------------------------------------------ jobs
@router.get("/jobs", tags=["jobs"])
def list_jobs(
    book: BookAtHand,
    q: Annotated[str, Query(max_length=200)] = "",
    state: Literal["open", "closed"] | None = None,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
    offset: Annotated[int, Query(ge=0, le=10_000_000)] = 0,
) -> ListTold:
    """List the jobs in which all words occur, the last changed first."""
    is_open = None if state is None else state == "open"
    lines, count = book.listed(q, is_open=is_open, limit=limit, offset=offset)
    return ListTold(jobs=[LineTold.of(line) for line in lines], count=count)


@router.post("/jobs", tags=["jobs"], status_code=201)
def begin_job(given: NewJob, change: ChangeAtHand) -> JobBegun:
    """Begin a job."""
    key = change.book.begin(given.head(), device=change.device, key=given.key or "")
    if given.connector is None:
        return JobBegun(key=key)
    there = change.book.job(key).sheets
    if there:  # sent again
        return JobBegun(key=key, sheet=there[0].key)
    sheet = change.book.add_sheet(key, given.connector.connector(), device=change.device)
    change.told_of(sheet)
    return JobBegun(key=key, sheet=sheet)


@router.post("/jobs/import", tags=["jobs"], status_code=201)
def import_job(
    text: Annotated[str, Body(media_type="text/plain", max_length=1_000_000)],
    change: ChangeAtHand,
) -> JobBegun:
    """Take a job file in."""
    try:
        job = parse_job(text, "the job file")
    except JobFileError as error:
        raise ValueOutOfRange(error.what, error.where, error.remedy) from error
    key, sheet = change.book.take_in(job, device=change.device)
    change.told_of(sheet)
    return JobBegun(key=key, sheet=sheet)


@router.get("/jobs/{key}", tags=["jobs"])
def show_job(key: str, book: BookAtHand) -> JobTold:
    """Show a job."""
    return job_told(book.job(key))


@router.put("/jobs/{key}", tags=["jobs"])
def change_job(key: str, given: JobGiven, change: ChangeAtHand) -> JobTold:
    """Write vehicle, complaint, codes and meter anew."""
    change.book.change(key, given.head(), device=change.device)
    return job_told(change.book.job(key))


@router.post("/jobs/{key}/close", tags=["jobs"])
def close_job(key: str, change: ChangeAtHand) -> JobTold:
    """Close a job."""
    change.book.close(key, device=change.device)
    change.told()
    return job_told(change.book.job(key))


@router.post("/jobs/{key}/reopen", tags=["jobs"])
def reopen_job(key: str, change: ChangeAtHand) -> JobTold:
    """Open a closed job again."""
    change.book.reopen(key, device=change.device)
    change.told()
    return job_told(change.book.job(key))


@router.post("/jobs/{key}/outcome", tags=["jobs"])
def conclude(key: str, given: OutcomeGiven, change: ChangeAtHand) -> JobTold:
    """Write down what was found and done."""
    change.book.conclude(
        key,
        fault=given.fault,
        terminals=given.terminals,
        cause=given.cause,
        repair=given.repair,
        not_tested=given.not_tested,
        proof=given.proof,
        device=change.device,
    )
    change.told()
    return job_told(change.book.job(key))


@router.post("/jobs/{key}/sheets", tags=["sheets"], status_code=201)
def add_sheet(key: str, given: NewSheet, change: ChangeAtHand) -> KeyTold:
    """Begin the sheet of one more connector."""
    sheet = change.book.add_sheet(key, given.connector(), device=change.device, key=given.key or "")
    change.told_of(sheet)
    return KeyTold(key=sheet)


# ------------------------------------------------------------------ sheets
@router.get("/sheets/{key}", tags=["sheets"])
def show_sheet(key: str, book: BookAtHand) -> SheetTold:
    """Show a sheet with all entries."""
    job_key, _, sheet = book.sheet(key)
    return sheet_told(job_key, sheet)


@router.get(
    "/sheets/{key}/job-file",
    tags=["sheets"],
    response_class=PlainTextResponse,
    responses=ANSWERS_BESIDE_TEXT,
)
def job_file(key: str, book: BookAtHand) -> PlainTextResponse:
    """Give a sheet as a job file."""
    return PlainTextResponse(book.job_file(key)[1])


@router.get("/sheets/{key}/answer", tags=["sheets"])
def show_answer(key: str, book: BookAtHand, answers: AnswersAtHand) -> AnswerTold:
    """What is known; after a new reading what was known before, until the answer is there."""
    book.sheet(key)
    current = answers.current_or_asked(key)
    found = current or answers.latest(key)
    return AnswerTold(
        answer=None if found is None else answer_to_json(found.answer),
        is_current=current is not None,
        is_awaited=answers.is_awaited(key),
        computed_at=None if found is None else found.computed_at,
        seconds=None if found is None else found.seconds,
        parameters=None if found is None else dict(found.parameters),
        versions=None if found is None else dict(found.versions),
        input_hash=None if found is None else found.input_hash,
    )


@router.put("/sheets/{key}/connector", tags=["sheets"])
def change_connector(
    key: str,
    given: ConnectorGiven,
    change: ChangeAtHand,
) -> SheetTold:
    """Write name, kind and terminals anew."""
    change.book.change_connector(key, given.connector(), device=change.device)
    change.told_of(key)
    return show_sheet(key, change.book)


@router.post("/sheets/{key}/repeat", tags=["sheets"], status_code=201)
def repeat(key: str, change: ChangeAtHand) -> KeyTold:
    """Begin the same sheet again, to be read after the repair."""
    sheet = change.book.repeat_after_repair(key, device=change.device)
    change.told_of(sheet)
    return KeyTold(key=sheet)


@router.post("/sheets/{key}/set-aside", tags=["sheets"], status_code=201)
def set_aside(
    key: str,
    given: SetAsideGiven,
    change: ChangeAtHand,
) -> NumberTold:
    """Note that a proposed reading can't be had."""
    number = change.book.set_aside(
        key,
        quantity=given.quantity,
        place=given.place,
        state=given.state,
        reason=given.reason,
        device=change.device,
    )
    change.told_of(key)
    return NumberTold(number=number)


@router.delete("/sheets/{key}/set-aside/{number}", tags=["sheets"], status_code=204)
def take_up_again(
    key: str,
    number: Annotated[int, Path(ge=1, lt=2**53)],
    change: ChangeAtHand,
) -> None:
    """Let a reading that was set aside be proposed again."""
    change.book.take_up_again(key, number, device=change.device)
    change.told_of(key)


@router.post("/sheets/{key}/rounds", tags=["rounds"], status_code=201)
def add_round(key: str, given: NewRound, change: ChangeAtHand) -> KeyTold:
    """Begin a round."""
    found = change.book.add_round(
        key, given.round(), device=change.device, key=given.round_key or ""
    )
    change.told()
    return KeyTold(key=found)


# ------------------------------------------------------------------ rounds
@router.put("/rounds/{key}", tags=["rounds"], status_code=204)
def change_round(
    key: str,
    given: RoundGiven,
    change: ChangeAtHand,
) -> None:
    """Write a round's state and note anew."""
    change.book.change_round(key, given.round(), device=change.device)
    change.told_of_round(key)


@router.post("/rounds/{key}/void", tags=["rounds"], status_code=204)
def void_round(
    key: str,
    given: ReasonGiven,
    change: ChangeAtHand,
) -> None:
    """Take a round out of the reasoning; it stays visible."""
    change.book.void_round(key, given.reason, device=change.device)
    change.told_of_round(key)


@router.post("/rounds/{key}/count-again", tags=["rounds"], status_code=204)
def count_again(key: str, change: ChangeAtHand) -> None:
    """Let a void round count again."""
    change.book.count_again(key, device=change.device)
    change.told_of_round(key)
