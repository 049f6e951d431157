"""`backprobe explain`: what the readings of one or more job files say."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.cli.answering import Outcome

UNUSABLE = 2


def explain(
    files: Annotated[
        list[str], typer.Argument(metavar="FILE...", help="Job files, one connector each.")
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a file, one a line, in the order given.")
    ] = False,
    why: Annotated[
        str | None,
        typer.Option(
            metavar="TERMINAL|FAULT",
            help='All the evidence on one terminal ("3") or fault ("open:sensor-ground").',
        ),
    ] = None,
) -> None:
    """Say what each wire does, what is wrong, how sure that is, and what to measure next.

    Exit status 0: every file was answered. 2: at least one could not be used; the message says
    where and how to mend it, the other files are answered all the same.
    """
    from backprobe.cli.answering import outcomes
    from backprobe.cli.bank_progress import BankProgress
    from backprobe.errors import BackprobeError, UsageError

    if as_json and why is not None:
        raise UsageError(
            "--json and --why cannot be had together.",
            remedy="Leave one of them out; the JSON carries the main reasons in `reasons`.",
        )
    all_usable = True
    with BankProgress() as progress:
        for number, outcome in enumerate(outcomes(files, progress)):
            progress.clear()
            if not sys.stdout.isatty():  # else the answers themselves show how far it is
                progress(f"file {number + 1} of {len(files)}", (number + 1) / len(files))
            try:
                _tell(outcome, as_json=as_json, why=why, is_first=number == 0)
            except BackprobeError as error:
                all_usable = False
                sys.stderr.write(f"{error}\n")
    if not all_usable:
        raise typer.Exit(UNUSABLE)


def _tell(outcome: Outcome, *, as_json: bool, why: str | None, is_first: bool) -> None:
    """Print one outcome; one without an answer, or with nothing to what was asked, is raised."""
    from backprobe.errors import BackprobeError

    if outcome.answer is None or outcome.job is None:
        raise BackprobeError(outcome.error)
    if as_json:
        from backprobe.services.answer import answer_to_json

        sys.stdout.write(json.dumps(answer_to_json(outcome.answer), allow_nan=False) + "\n")
    else:
        from rich.rule import Rule

        from backprobe.cli.explain_page import page
        from backprobe.cli.terminal import output_console, show
        from backprobe.cli.why_page import why_page

        console = output_console()
        content = (
            page(outcome.job, outcome.answer, console.width)
            if why is None
            else why_page(outcome.answer, why)
        )
        if not is_first:
            show(console, Rule(style=""))
        show(console, content)
    sys.stdout.flush()
