"""Pages of captures and logs on their way in: sent, looked at, kept or given up."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import BackprobeError, ValueOutOfRange
from backprobe.services import incoming
from backprobe.services.job_book import JobBook
from backprobe.services.recording_book import checked_error
from backprobe.services.recording_intake import Placing, preview, take_in
from backprobe.services.told_of_samples import ToldOfSamples
from backprobe.web.answering import BookAtHand
from backprobe.web.pages import pages_of
from backprobe.web.recording_view import IncomingView, NewRecordingView, round_lines
from backprobe.web.recordings_at_hand import RecordingChangeAtHand, RecordingsAtHand
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Typed, TypedForm, said

router = APIRouter(include_in_schema=False)
USUAL_ERROR = "3"  # per cent; eight bits and a usual probe (common practice)


@router.get("/jobs/{key}/recordings/new")
def new_recording_page(request: Request, key: str, book: BookAtHand) -> HTMLResponse:
    """Show the form that sends a file."""
    view = NewRecordingView(key, book.job(key).head.title)
    return pages_of(request).page(request, "recording_new.html", view)


@router.post("/jobs/{key}/recordings/new")
def send_recording(
    request: Request, key: str, typed: TypedForm, book: BookAtHand, recordings: RecordingsAtHand
) -> Response:
    """Take a file that came whole with the form."""
    title = book.job(key).head.title
    try:
        if not typed.files:
            raise ValueOutOfRange("There is no file.", remedy="Choose one.")
        sent = typed.files[0]
        there = incoming.begin(recordings.store, key, sent.name, len(sent.content))
        incoming.append(recordings.store, there.key, 0, sent.content)
    except BackprobeError as error:
        view = NewRecordingView(key, title, FormView({}, {"file": said(error)}))
        return pages_of(request).page(request, "recording_new.html", view, status=UNUSABLE)
    return RedirectResponse(f"/incoming/{there.key}", SEE_OTHER)


@router.get("/incoming/{key}")
def incoming_page(
    request: Request, key: str, book: BookAtHand, recordings: RecordingsAtHand
) -> HTMLResponse:
    """Show how a file would be read."""
    there = incoming.found(recordings.store, key)
    view = _incoming_view(there, book, Typed((("error", USUAL_ERROR),)), {})
    return pages_of(request).page(request, "recording_in.html", view)


@router.post("/incoming/{key}")
def keep_recording(
    request: Request, key: str, typed: TypedForm, change: RecordingChangeAtHand
) -> Response:
    """Keep a file as it is read now, or look again with another mapping."""
    there = incoming.found(change.book.store, key)
    errors: dict[str, str] = {}
    if typed.text("do") == "keep":
        try:
            kept = take_in(change.recordings, there, _placing(typed), device=change.device)
        except BackprobeError as error:
            errors["form"] = said(error)
        else:
            change.told()
            return RedirectResponse(f"/recordings/{kept}", SEE_OTHER)
    view = _incoming_view(there, change.book, typed, errors)
    return pages_of(request).page(
        request, "recording_in.html", view, status=UNUSABLE if errors else 200
    )


@router.post("/incoming/{key}/drop")
def drop_incoming(key: str, recordings: RecordingsAtHand) -> Response:
    """Forget a file that was sent."""
    there = incoming.found(recordings.store, key)
    incoming.give_up(recordings.store, key)
    return RedirectResponse(f"/jobs/{there.job}", SEE_OTHER)


def _placing(typed: Typed) -> Placing:
    places = sorted(
        (int(name.removeprefix("place-")), value.strip())
        for name, value in typed.fields
        if name.startswith("place-") and name.removeprefix("place-").isdigit()
    )
    return Placing(
        kind=typed.text("kind"),
        mapping=typed.text("mapping"),
        round_key=typed.text("round"),
        places=tuple(value for _, value in places),
        caption=typed.text("caption"),
        error_share=checked_error(typed.number("error") / 100.0),
        told=_told(typed),
    )


def _told(typed: Typed) -> ToldOfSamples:
    return ToldOfSamples(typed.text("volts"), typed.text("interval"))


def _incoming_view(
    there: incoming.Incoming, book: JobBook, typed: Typed, errors: dict[str, str]
) -> IncomingView:
    job = book.job(there.job)
    seen = preview(there, typed.text("mapping"), typed.text("kind"), _told(typed))
    values = {"kind": seen.kind, **typed.values}
    pins = dict.fromkeys(pin for sheet in job.sheets for pin in sheet.connector.pins)
    return IncomingView(
        key=there.key,
        job_key=there.job,
        title=job.head.title,
        name=there.name,
        form=FormView(values, errors),
        rounds=round_lines(job),
        pins=tuple(pins),
        refused=seen.refused,
        summary=seen.summary,
        remarks=seen.remarks,
        head=seen.head,
        columns=seen.columns,
        rows=seen.rows,
        mapping=seen.mapping,
        channels=seen.channels,
        lacks=seen.lacks,
    )
