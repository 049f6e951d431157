"""The report of a job, as PDF and as a page of its own; pictures and documents of a job."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Query, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse

from backprobe.report.gathering import report_of
from backprobe.report.html import render_html
from backprobe.report.pdf import render_pdf
from backprobe.services.attachments import add_attachment, read_attachment
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.guards.headers import DOCUMENT_POLICY, POLICY

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{key}/report.pdf")
def report_pdf(
    key: str,
    book: BookAtHand,
    answers: AnswersAtHand,
    paper: Annotated[Literal["a4", "letter"], Query()] = "a4",
) -> Response:
    """The report on paper."""
    made = report_of(book.store, key, answers.whole, datetime.now().astimezone())
    return Response(
        render_pdf(made, paper),
        media_type="application/pdf",
        headers={"Content-Disposition": file_header(made.title, "pdf")},
    )


@router.get("/jobs/{key}/report.html")
def report_html(key: str, book: BookAtHand, answers: AnswersAtHand) -> HTMLResponse:
    """The report as one page that needs nothing else."""
    made = report_of(book.store, key, answers.whole, datetime.now().astimezone())
    return HTMLResponse(render_html(made), headers={POLICY: DOCUMENT_POLICY})


def file_header(title: str, ending: str) -> str:
    """A header that offers a file under a job's title; RFC 6266 and RFC 8187."""
    kept = "".join(c if c.isalnum() or c in " -_" else " " for c in title)
    name = " ".join(kept.split())[:60] or "report"
    plain = name.encode("ascii", "ignore").decode() or "report"
    return f"inline; filename=\"{plain}.{ending}\"; filename*=UTF-8''{quote(name)}.{ending}"


# ------------------------------------------------------------------ pictures and documents
@router.get("/files/{key}")
def show_file(key: str, book: BookAtHand) -> Response:
    """One picture or document, as it was sent."""
    found, content = read_attachment(book.store, key)
    return Response(
        content,
        media_type=found.media_type,
        headers={
            "Content-Disposition": file_header(found.name.rpartition(".")[0] or found.name, "file")
            if not found.media_type.startswith("image/")
            else "inline",
            POLICY: DOCUMENT_POLICY,
        },
    )


@router.post("/jobs/{key}/files")
def add_file(
    key: str,
    change: ChangeAtHand,
    file: Annotated[UploadFile, File()],
    caption: Annotated[str, Form(max_length=500)] = "",
    round_key: Annotated[str, Form(max_length=64)] = "",
    quantity: Annotated[str, Form(max_length=60)] = "",
    place: Annotated[str, Form(max_length=60)] = "",
    back: Annotated[str, Form(max_length=80)] = "",
) -> Response:
    """Keep a picture or document with a job, a round or a reading."""
    add_attachment(
        change.book.store,
        key,
        file.filename or "picture",
        file.file.read(),
        caption=caption,
        round_key=round_key,
        quantity=quantity,
        place=place,
        device=change.device,
    )
    change.told()
    sheet = change.book.sheet_of_round(round_key) if round_key and back == "sheet" else ""
    return RedirectResponse(f"/sheets/{sheet}" if sheet else f"/jobs/{key}", 303)
