"""Pages of captures and logs that are kept: drawn, laid over one another, marked, taken."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.services.alignment import Alignment, aligned
from backprobe.services.channel_account import account_of, take_readings
from backprobe.services.findings.looking import SIGNALS
from backprobe.services.job_book import JobBook
from backprobe.services.log_account import log_account
from backprobe.services.log_witness import take_as_witness
from backprobe.services.pictures.traces_picture import traces_picture
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_export import as_mdf, as_parquet, has_mdf
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.at_hand import LiveAtHand
from backprobe.web.pages import pages_of
from backprobe.web.recording_view import (
    Overlaid,
    RecordingView,
    facts_of,
    mark_lines,
    round_lines,
    summary_of,
)
from backprobe.web.recordings_at_hand import RecordingsAtHand
from backprobe.web.report_pages import file_header
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, TypedForm, said
from backprobe.web.visitor import AnyVisitor

router = APIRouter(include_in_schema=False)
STUDIED_AT_ONCE = 200_000  # samples of all channels; the picture of more comes first


# ------------------------------------------------------------------ one that is kept
@router.get("/recordings/{key}")
def recording_page(
    request: Request,
    key: str,
    book: BookAtHand,
    recordings: RecordingsAtHand,
    other: Annotated[str, Query(max_length=64)] = "",
    align: Annotated[str, Query(max_length=20)] = "start",
    shift: Annotated[str, Query(max_length=30)] = "",
    study: Annotated[bool, Query()] = False,
) -> HTMLResponse:
    """Show a capture or log; what is found in a long one comes after its picture."""
    view = _view(key, book, recordings, overlay=(other, align, shift), is_studied=study)
    return pages_of(request).page(request, "recording.html", view)


@router.post("/recordings/{key}/place")
def place_recording(
    request: Request,
    key: str,
    typed: TypedForm,
    book: BookAtHand,
    recordings: RecordingsAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
) -> Response:
    """Write anew in which round and at which terminals it was taken, and what its signals are."""
    known = recordings.recording(key).told.channels
    try:
        recordings.place(
            key,
            round_key=typed.text("round"),
            channels=[
                replace(
                    channel,
                    place=typed.text(f"place-{number}"),
                    signal=_signal(typed.text(f"signal-{number}")),
                )
                for number, channel in enumerate(known)
            ],
            caption=typed.text("caption"),
            error_share=typed.number("error") / 100.0,
            device=visitor.name,
        )
    except BackprobeError as error:
        view = _view(key, book, recordings, form=FormView({}, {"place": said(error)}))
        return pages_of(request).page(request, "recording.html", view, status=UNUSABLE)
    live.wake()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


def _signal(written: str) -> str:
    if written and written not in SIGNALS:
        raise ValueOutOfRange(
            f'"{written[:40]}" is no signal that is known.', remedy=f"Known: {', '.join(SIGNALS)}."
        )
    return written


@router.post("/recordings/{key}/marks")
def put_mark(
    request: Request,
    key: str,
    typed: TypedForm,
    book: BookAtHand,
    recordings: RecordingsAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
) -> Response:
    """Put a remark at an instant or over a span."""
    try:
        start = typed.number("from")
        end = typed.number("until") if typed.text("until") else start
        recordings.mark(key, start, end, typed.text("text"), device=visitor.name)
    except BackprobeError as error:
        form = FormView(typed.values, {"mark": said(error)})
        view = _view(key, book, recordings, form=form)
        return pages_of(request).page(request, "recording.html", view, status=UNUSABLE)
    live.wake()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/marks/{number}/back")
def take_mark_back(
    key: str, number: int, recordings: RecordingsAtHand, live: LiveAtHand, visitor: AnyVisitor
) -> Response:
    """Take a remark back."""
    recordings.take_mark_back(key, number, device=visitor.name)
    live.wake()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/void")
def void_recording(
    key: str, typed: TypedForm, recordings: RecordingsAtHand, live: LiveAtHand, visitor: AnyVisitor
) -> Response:
    """Say why it doesn't count, or let it count again."""
    recordings.void(key, typed.text("reason"), device=visitor.name)
    live.wake()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/readings")
def take_channel(
    key: str,
    typed: TypedForm,
    book: BookAtHand,
    recordings: RecordingsAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
) -> Response:
    """Take what was measured on a channel as readings of its round."""
    number = typed.text("channel")
    channel = int(number) if number.isdecimal() else -1
    found = take_readings(book, recordings, key, channel, device=visitor.name)
    answers.ask(found.sheet)
    live.wake()
    return RedirectResponse(f"/sheets/{found.sheet}", SEE_OTHER)


@router.post("/recordings/{key}/witness")
def take_span(
    request: Request,
    key: str,
    typed: TypedForm,
    book: BookAtHand,
    recordings: RecordingsAtHand,
    answers: AnswersAtHand,
    live: LiveAtHand,
    visitor: AnyVisitor,
) -> Response:
    """Take the means over a span of a log as the control unit's values of a round."""
    try:
        start = typed.number("from")
        end = typed.number("until") if typed.text("until") else start
        sheet = take_as_witness(
            book, recordings, key, typed.text("round"), start, end, device=visitor.name
        )
    except BackprobeError as error:
        form = FormView(typed.values, {"witness": said(error)})
        view = _view(key, book, recordings, form=form)
        return pages_of(request).page(request, "recording.html", view, status=UNUSABLE)
    answers.ask(sheet)
    live.wake()
    return RedirectResponse(f"/sheets/{sheet}/witnesses", SEE_OTHER)


@router.get("/recordings/{key}/as.parquet")
def download_parquet(key: str, recordings: RecordingsAtHand) -> Response:
    """The samples as Apache Parquet."""
    found = recordings.recording(key)
    return FileResponse(
        as_parquet(recordings, found),
        media_type="application/vnd.apache.parquet",
        headers={"Content-Disposition": file_header(found.told.name, "parquet")},
    )


@router.get("/recordings/{key}/as.mf4")
def download_mdf(key: str, recordings: RecordingsAtHand) -> Response:
    """The samples as ASAM MDF 4."""
    found = recordings.recording(key)
    return Response(
        as_mdf(recordings, found),
        media_type="application/octet-stream",
        headers={"Content-Disposition": file_header(found.told.name, "mf4")},
    )


def _view(
    key: str,
    book: JobBook,
    recordings: RecordingBook,
    *,
    overlay: tuple[str, str, str] = ("", "start", ""),
    form: FormView | None = None,
    is_studied: bool = False,
) -> RecordingView:
    found = recordings.recording(key)
    is_short = found.told.n_sample * len(found.told.channels) <= STUDIED_AT_ONCE
    job = book.job(found.job)
    told = found.told
    kept = recordings.samples(found)
    laid = _laid(recordings, found.key, found.job, overlay)
    names = [channel.name for channel in told.channels]
    other = None
    if laid is not None:
        over = recordings.recording(laid.other).told
        other = Overlaid(laid.other, over.name)
        names += [f"{channel.name} of {over.name}" for channel in over.channels]
    return RecordingView(
        key=key,
        job_key=found.job,
        title=job.head.title,
        name=told.name,
        caption=told.caption,
        kind=told.kind,
        sheet_key=found.sheet,
        round_key=found.round,
        round_name=found.round_name,
        placed=told.channels,
        error=f"{100 * told.error_share:g}",
        summary=summary_of(found),
        void=found.void,
        remarks=told.remarks,
        start=told.start,
        end=found.end,
        interval=told.interval,
        names=tuple(names),
        picture_svg=traces_picture(found, kept),
        channels=(
            (*account_of(found, kept, job), *log_account(found, kept, job))
            if is_short or is_studied
            else None
        ),
        marks=mark_lines(found),
        others=tuple(
            (each.key, each.told.name)
            for each in recordings.of_job(found.job)
            if each.key != key and each.told.kind == told.kind
        ),
        rounds=round_lines(job),
        facts=facts_of(found),
        is_open=job.closed_at is None,
        has_mdf=has_mdf(),
        form=form or FormView(),
        other=other,
        align=overlay[1],
        shift=0.0 if laid is None else laid.shift,
        alignment_words="" if laid is None else laid.words,
    )


def _laid(
    recordings: RecordingBook, key: str, job: str, overlay: tuple[str, str, str]
) -> Alignment | None:
    """How another recording of the same job is laid over this one."""
    other, way, typed = overlay
    if not other:
        return None
    own, laid = recordings.recording(key), recordings.recording(other)
    if laid.job != job:
        raise ValueOutOfRange(
            "That recording belongs to another job.", remedy="Choose one of this job."
        )
    found = aligned(own, recordings.samples(own), laid, recordings.samples(laid), way)
    try:
        shift = float(typed.replace(",", ".")) if typed else found.shift
    except ValueError:
        shift = found.shift
    is_given = bool(typed) and math.isfinite(shift) and shift != found.shift
    return found.shifted(shift) if is_given else found
