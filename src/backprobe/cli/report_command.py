"""`backprobe report`: the record of a job as a document."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from backprobe.cli.database import DatabaseOption, open_store
from backprobe.errors import UsageError


class Paper(StrEnum):
    """Sizes of paper."""

    A4 = "a4"
    LETTER = "letter"


def report(
    job: Annotated[str, typer.Argument(metavar="JOB", help="Key of a job, or words that find it.")],
    output: Annotated[
        str, typer.Option("-o", "--output", metavar="FILE", help="A name in .pdf or .html.")
    ],
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.A4,
    database: DatabaseOption = "",
) -> None:
    """Write the report of a job: one page for the customer, then the technical record.

    Exit status 0: written. 2: it could not be; the message says why.
    """
    file = Path(output)
    if file.suffix.lower() not in (".pdf", ".html"):
        raise UsageError(
            "A report is a PDF or an HTML file.", output, "End its name in .pdf or .html."
        )
    from datetime import datetime

    from backprobe.report.gathering import report_of
    from backprobe.report.html import render_html
    from backprobe.report.pdf import render_pdf
    from backprobe.services.answer_desk import derive
    from backprobe.services.job_book import JobBook

    store = open_store(database)
    try:
        key = JobBook(store).found(job)
        made = report_of(
            store, key, lambda sheet: derive(store, sheet), datetime.now().astimezone()
        )
    finally:
        store.close()
    content = (
        render_pdf(made, paper.value)
        if file.suffix.lower() == ".pdf"
        else render_html(made).encode("utf-8")
    )
    try:
        file.write_bytes(content)
    except OSError as error:
        raise UsageError(
            f"The report can't be written: {(error.strerror or 'unknown reason').lower()}.",
            output,
            "Name a file in a folder in which you may write.",
        ) from error
    sys.stdout.write(f"{output} is written.\n")
