"""A report as PDF: archivable (PDF/A-2a) and accessible (PDF/UA-1), the same bytes each time."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any, Final

import typst

from backprobe.errors import ReportError
from backprobe.report.blocks import Photo, Report
from backprobe.report.digest import as_plain
from backprobe.report.glyphs import FONTS, Fitted
from backprobe.report.input import Paper

TEMPLATE: Final = Path(__file__).parent / "report.typ"
STANDARDS: Final[list[typst.PDFStandard]] = ["a-2a", "ua-1"]
LONGEST_HEAD: Final = 70  # letters of the title at the head of every page


def render_pdf(report: Report, paper: Paper = "a4") -> bytes:
    """Set a report on A4 or Letter.

    Raises
    ------
    ReportError
        The text can't be set as it is.
    """
    fitted = Fitted()
    data = fitted.everything(_plain(report))
    data["footnote"] = fitted.footnote
    data["name"] = fitted.text(" ".join(report.title.split()))
    data["head"] = fitted.text(_head(report))
    data["paper"] = {"a4": "a4", "letter": "us-letter"}[paper]
    try:
        made, told = typst.compile_with_warnings(
            TEMPLATE,
            font_paths=[FONTS],
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"data": json.dumps(data)},
            pdf_standards=STANDARDS,
            timestamp=report.instant,
        )
    except RuntimeError as error:
        raise ReportError(
            f"The report can't be set: {error}",
            remedy="The same report as a page (HTML) can be printed from the browser.",
        ) from error
    if told:
        # A missing typeface is only warned of, and would look wrong without anybody noticing.
        warning = "; ".join(each.message for each in told)
        raise ReportError(
            f"The report can't be set as it should be: {warning}",
            remedy="Install the program anew; a part of it is missing.",
        )
    return bytes(made)


def _plain(value: Report) -> Any:
    """The report as JSON; a photograph becomes a drawing that holds it, without a file."""
    plain = as_plain(value, frozenset(("jpeg",)))
    blocks = [block for section in value.sections for block in section.blocks]
    photos = iter([block for block in blocks if isinstance(block, Photo)])
    for section in plain["sections"]:
        for block in section["blocks"]:
            if block["kind"] == "Photo":
                block["svg"] = _as_drawing(next(photos))
    return plain


def _as_drawing(photo: Photo) -> str:
    data = base64.b64encode(photo.jpeg).decode("ascii")
    size = f'width="{photo.width}" height="{photo.height}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size}>'
        f'<image href="data:image/jpeg;base64,{data}" {size}/></svg>'
    )


def _head(report: Report) -> str:
    title = " ".join(report.title.split())
    if len(title) > LONGEST_HEAD:
        title = f"{title[: LONGEST_HEAD - 1].rstrip()}…"
    return f"{title}   VIN {report.vin[:20]}" if report.vin else title
