"""What becomes of errors: JSON for programs, a page for people, details for the log only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from jinja2 import TemplateError
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from backprobe.errors import BackprobeError, ConflictError, NotFoundError, StoreError
from backprobe.services.incident import record_incident
from backprobe.web.pages import pages_of
from backprobe.web.visitor import RefusedError, visitor_of

UNUSABLE: Final = 422
STATUSES: Final[tuple[tuple[type[BackprobeError], int], ...]] = (
    (NotFoundError, 404),
    (ConflictError, 409),
    (StoreError, 503),
)


class ErrorTold(BaseModel):
    """What every error under /api says: what is wrong, where, and what to do about it."""

    what: str
    where: str
    remedy: str


# For the description of the interface.
ANSWERS: Final[dict[int | str, dict[str, Any]]] = {
    "4XX": {"model": ErrorTold, "description": "The request can't be met; what to change is told."},
    "5XX": {"model": ErrorTold, "description": "The program or its store is in trouble."},
}
# A model alone would be described in the media type of the address; errors are JSON everywhere.
ANSWERS_BESIDE_TEXT: Final[dict[int | str, dict[str, Any]]] = {
    status: {
        "description": told["description"],
        "content": {"application/json": {"schema": ErrorTold.model_json_schema()}},
    }
    for status, told in ANSWERS.items()
}


@dataclass(frozen=True, slots=True)
class ErrorView:
    """What the error page shows."""

    what: str
    where: str = ""
    remedy: str = ""


# Of the errors that the framework raises by itself.
PLAIN: Final[dict[int, ErrorView]] = {
    400: ErrorView("The request can't be read.", remedy="Load the page again."),
    404: ErrorView("There is no such page.", remedy="Begin at the list of jobs."),
    405: ErrorView(
        "This can't be done at this address.", remedy="Go back and load the page again."
    ),
    413: ErrorView("That is too large to be taken in.", remedy="Send a smaller file or picture."),
}


def status_of(error: BackprobeError) -> int:
    """The HTTP status that fits an error."""
    if isinstance(error, RefusedError):
        return error.status
    return next((status for kind, status in STATUSES if isinstance(error, kind)), UNUSABLE)


def is_api(path: str) -> bool:
    """Whether an address belongs to the interface for programs."""
    return path == "/api" or path.startswith("/api/")


def answer(
    request: Request, status: int, view: ErrorView, headers: Mapping[str, str] | None = None
) -> Response:
    """An error as JSON under /api, else as a page; as a piece of one where a script swaps it in."""
    if is_api(request.url.path):
        return JSONResponse(asdict(view), status, dict(headers or {}))
    is_piece = request.headers.get("hx-request") == "true"
    template = "error_notice.html" if is_piece else "error.html"
    return pages_of(request).page(request, template, view, status=status, headers=headers)


async def answer_ours(request: Request, error: Exception) -> Response:
    """Answer an error of our own tree."""
    if not isinstance(error, BackprobeError):  # registered for our own errors only
        raise error
    # Where something lies on this computer is no stranger's business.
    where = error.where if visitor_of(request) else ""
    headers = error.headers if isinstance(error, RefusedError) else None
    return answer(request, status_of(error), ErrorView(error.what, where, error.remedy), headers)


async def answer_plain(request: Request, error: Exception) -> Response:
    """Answer an error that the framework raised: no such address, not this method, too large."""
    if not isinstance(error, HTTPException):
        raise error
    view = PLAIN.get(error.status_code) or ErrorView(f"{error.detail}.")
    return answer(request, error.status_code, view, error.headers)


async def answer_invalid(request: Request, error: Exception) -> Response:
    """Answer a request whose values aren't what the address takes; the first mistake is told."""
    if not isinstance(error, RequestValidationError):
        raise error
    mistakes = error.errors()
    first = mistakes[0] if mistakes else {"msg": "it can't be read", "loc": ()}
    more = f" There are {len(mistakes) - 1} more mistakes." if len(mistakes) > 1 else ""
    view = ErrorView(
        f"The request isn't as it should be: {first['msg']}.{more}",
        " ".join(str(part) for part in first["loc"]),
        "What is expected stands in /api/openapi.json.",
    )
    return answer(request, UNUSABLE, view)


async def answer_unforeseen(request: Request, error: Exception) -> Response:
    """Answer an error that nobody foresaw: a reference number, nothing else."""
    incident = record_incident(error)
    view = ErrorView(
        incident.told,
        remedy="Its details are in the log of the computer that runs backprobe; send them along "
        "when you report it. What was acknowledged before is stored.",
    )
    try:
        return answer(request, 500, view)
    except TemplateError:  # it may be the page itself that is broken
        return PlainTextResponse(f"{view.what} {view.remedy}", 500)


def answer_errors(app: FastAPI) -> None:
    """Register the answers with an application."""
    app.add_exception_handler(BackprobeError, answer_ours)
    app.add_exception_handler(HTTPException, answer_plain)
    app.add_exception_handler(RequestValidationError, answer_invalid)
    app.add_exception_handler(Exception, answer_unforeseen)
