"""`backprobe next`: which reading to take next, step by step."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from backprobe.services.answer import Answer

SETTLED = 1


def next_readings(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A job file.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on one line, steps included.")
    ] = False,
) -> None:
    """Say which readings are worth taking next, best first, step by step with minutes and cautions.

    Exit status 0: there is something worth measuring. 1: the question is settled, or no reading
    is worth its minutes. 2: the file could not be used.
    """
    from backprobe.cli.answering import explain_job, read
    from backprobe.cli.bank_progress import BankProgress
    from backprobe.services.telling import must_read_again

    job = read(file)
    with BankProgress() as progress:
        answer = explain_job(job, file, progress)
    if as_json:
        sys.stdout.write(json.dumps(_as_json(answer, file), allow_nan=False) + "\n")
    else:
        from backprobe.cli.next_page import next_page
        from backprobe.cli.terminal import output_console, show

        show(output_console(), next_page(answer, job))
    if (answer.settled or not answer.next) and not must_read_again(answer):
        raise typer.Exit(SETTLED)


def _as_json(answer: Answer, file: str) -> dict[str, Any]:
    """Give the readings as they stand in the answer's JSON, the steps added."""
    from backprobe.services.answer import next_reading_to_json

    readings = [
        next_reading_to_json(reading) | {"steps": list(reading.steps)} for reading in answer.next
    ]
    return {"format": 1, "file": file, "settled": answer.settled, "next": readings}
