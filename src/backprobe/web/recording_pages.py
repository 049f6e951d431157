"""Pages of captures and logs that are kept: drawn, laid over one another, marked, taken."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.services.alignment import aligned
from backprobe.services.channel_account import account_of, take_readings
from backprobe.services.findings.looking import SIGNALS
from backprobe.services.job_book import JobBook
from backprobe.services.log_account import log_account
from backprobe.services.log_witness import take_as_witness
from backprobe.services.pictures.traces_picture import traces_picture
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_export import as_mdf, as_parquet, has_mdf
from backprobe.store.recording import Recording
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.recording_view import Overlaid, RecordingView
from backprobe.web.recordings_at_hand import (
    RecordingChange,
    RecordingChangeAtHand,
    RecordingsAtHand,
)
from backprobe.web.report_pages import file_header
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Typed, TypedForm, said

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
    found = recordings.recording(key)
    laid = _laid(recordings, found, other, align, shift) if other else None
    view = _view(found, book, recordings, other=laid, is_studied=study)
    return pages_of(request).page(request, "recording.html", view)


@router.post("/recordings/{key}/place")
def place_recording(
    request: Request, key: str, typed: TypedForm, change: RecordingChangeAtHand
) -> Response:
    """Write anew in which round and at which terminals it was taken, and what its signals are."""
    known = change.recordings.recording(key).told.channels
    try:
        change.recordings.place(
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
            device=change.device,
        )
    except BackprobeError as error:
        return _refused(request, key, change, FormView({}, {"place": said(error)}))
    change.told()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


def _signal(written: str) -> str:
    if written and written not in SIGNALS:
        raise ValueOutOfRange(
            f'"{written[:40]}" is no signal that is known.', remedy=f"Known: {', '.join(SIGNALS)}."
        )
    return written


@router.post("/recordings/{key}/marks")
def put_mark(
    request: Request, key: str, typed: TypedForm, change: RecordingChangeAtHand
) -> Response:
    """Put a remark at an instant or over a span."""
    try:
        start, end = _span(typed)
        change.recordings.mark(key, start, end, typed.text("text"), device=change.device)
    except BackprobeError as error:
        return _refused(request, key, change, FormView(typed.values, {"mark": said(error)}))
    change.told()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/marks/{number}/back")
def take_mark_back(key: str, number: int, change: RecordingChangeAtHand) -> Response:
    """Take a remark back."""
    change.recordings.take_mark_back(key, number, device=change.device)
    change.told()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/void")
def void_recording(key: str, typed: TypedForm, change: RecordingChangeAtHand) -> Response:
    """Say why it doesn't count, or let it count again."""
    change.recordings.void(key, typed.text("reason"), device=change.device)
    change.told()
    return RedirectResponse(f"/recordings/{key}", SEE_OTHER)


@router.post("/recordings/{key}/readings")
def take_channel(key: str, typed: TypedForm, change: RecordingChangeAtHand) -> Response:
    """Take what was measured on a channel as readings of its round."""
    number = typed.text("channel")
    channel = int(number) if number.isdecimal() else -1
    found = take_readings(change.book, change.recordings, key, channel, device=change.device)
    change.told_of(found.sheet)
    return RedirectResponse(f"/sheets/{found.sheet}", SEE_OTHER)


@router.post("/recordings/{key}/witness")
def take_span(
    request: Request, key: str, typed: TypedForm, change: RecordingChangeAtHand
) -> Response:
    """Take the means over a span of a log as the control unit's values of a round."""
    round_key = typed.text("round")
    try:
        start, end = _span(typed)
        sheet = take_as_witness(
            change.book, change.recordings, key, round_key, start, end, device=change.device
        )
    except BackprobeError as error:
        return _refused(request, key, change, FormView(typed.values, {"witness": said(error)}))
    change.told_of(sheet)
    return RedirectResponse(f"/sheets/{sheet}/witnesses", SEE_OTHER)


def _span(typed: Typed) -> tuple[float, float]:
    """First and last instant as typed, s; one instant where the last is left out."""
    start = typed.number("from")
    return start, typed.number("until") if typed.text("until") else start


def _refused(request: Request, key: str, change: RecordingChange, form: FormView) -> HTMLResponse:
    """The page again, with what is wrong beside the form that was sent."""
    view = _view(change.recordings.recording(key), change.book, change.recordings, form=form)
    return pages_of(request).page(request, "recording.html", view, status=UNUSABLE)


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
    found: Recording,
    book: JobBook,
    recordings: RecordingBook,
    *,
    other: Overlaid | None = None,
    form: FormView | None = None,
    is_studied: bool = False,
) -> RecordingView:
    told, job = found.told, book.job(found.job)
    kept = recordings.samples(found)
    is_short = told.n_sample * len(told.channels) <= STUDIED_AT_ONCE
    return RecordingView(
        found=found,
        job=job,
        picture_svg=traces_picture(found, kept),
        channels=(
            (*account_of(found, kept, job), *log_account(found, kept, job))
            if is_short or is_studied
            else None
        ),
        others=tuple(
            (each.key, each.told.name)
            for each in recordings.of_job(found.job)
            if each.key != found.key and each.told.kind == told.kind
        ),
        has_mdf=has_mdf(),
        form=form or FormView(),
        other=other,
    )


def _laid(
    recordings: RecordingBook, own: Recording, other: str, way: str, typed_shift: str
) -> Overlaid:
    """How another recording of the same job is laid over this one."""
    laid = recordings.recording(other)
    if laid.job != own.job:
        raise ValueOutOfRange(
            "That recording belongs to another job.", remedy="Choose one of this job."
        )
    found = aligned(own, recordings.samples(own), laid, recordings.samples(laid), way)
    try:
        shift = float(typed_shift.replace(",", ".")) if typed_shift else found.shift
    except ValueError:
        shift = found.shift
    if math.isfinite(shift) and shift != found.shift:
        found = found.shifted(shift)
    names = tuple(f"{channel.name} of {laid.told.name}" for channel in laid.told.channels)
    return Overlaid(found.other, names, way, found.shift, found.words)
