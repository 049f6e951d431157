"""Small pieces of pages: what a number, a code or a line of wires says, told while it is typed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from backprobe.errors import BackprobeError
from backprobe.services.identifiers import code_facts, vin_facts
from backprobe.web.job_form import WireLine, terminals_of, wire_lines
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import said

router = APIRouter(include_in_schema=False, prefix="/fragments")
ShortText = Annotated[str, Query(max_length=2000)]


@dataclass(frozen=True, slots=True)
class SaidView:
    """Sentences on what was typed, or what is wrong with it."""

    lines: tuple[str, ...] = ()
    error: str = ""
    wires: tuple[WireLine, ...] = ()


def said_of_vin(vin: str) -> SaidView:
    """What a vehicle identification number says."""
    if not vin.strip():
        return SaidView()
    try:
        facts = vin_facts(vin)
    except BackprobeError as error:
        return SaidView(error=said(error))
    if facts.check_digit == "wrong":
        return SaidView((facts.model_year_words,), error=facts.check_digit_words)
    return SaidView((facts.check_digit_words, facts.model_year_words))


def said_of_code(code: str) -> SaidView:
    """What a trouble code says."""
    if not code.strip():
        return SaidView()
    try:
        return SaidView((code_facts(code).words,))
    except BackprobeError as error:
        return SaidView(error=said(error))


def said_of_wires(wires: str) -> SaidView:
    """How lines of wires were understood."""
    try:
        return SaidView(wires=wire_lines(terminals_of(wires)))
    except BackprobeError as error:
        return SaidView(error=said(error))


@router.get("/vin")
def vin_piece(request: Request, vin: ShortText = "") -> HTMLResponse:
    """Tell what a vehicle identification number says."""
    return pages_of(request).page(request, "said.html", said_of_vin(vin))


@router.get("/code")
def code_piece(request: Request, code: ShortText = "") -> HTMLResponse:
    """Tell what a trouble code says."""
    return pages_of(request).page(request, "said.html", said_of_code(code))


@router.get("/wires")
def wires_piece(request: Request, wires: ShortText = "") -> HTMLResponse:
    """Tell how lines of wires were understood."""
    return pages_of(request).page(request, "said.html", said_of_wires(wires))
