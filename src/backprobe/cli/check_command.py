"""`backprobe check`: whether job files can be used, how much is in them, and what they lack."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.job.model import Job

UNUSABLE = 2


def check(
    files: Annotated[
        list[str], typer.Argument(metavar="FILE...", help="Job files, one connector each.")
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a file, one a line, in the order given.")
    ] = False,
) -> None:
    """Say of each job file whether it can be used, how much it holds, and what it lacks.

    Exit status 0: all can be used. 2: at least one cannot; the message says where and how to mend
    it.
    """
    from backprobe.errors import BackprobeError
    from backprobe.job import read_job

    all_usable = True
    for file in files:
        try:
            job = read_job(file)
        except BackprobeError as error:
            all_usable = False
            _tell_unusable(file, error, as_json=as_json)
        else:
            _tell_usable(file, job, as_json=as_json)
    if not all_usable:
        raise typer.Exit(UNUSABLE)


def _tell_unusable(file: str, error: Exception, *, as_json: bool) -> None:
    if as_json:
        counts = {"terminals": 0, "rounds": 0, "void_rounds": 0, "readings": 0}
        _write_json(file, usable=False, error=str(error), **counts, remarks=[])
    else:
        sys.stdout.flush()
        sys.stderr.write(f"{error}\n")


def _tell_usable(file: str, job: Job, *, as_json: bool) -> None:
    from dataclasses import asdict

    from backprobe.job.remarks import contents_of, remarks_on

    contents = contents_of(job)
    remarks = remarks_on(job)
    if as_json:
        _write_json(file, usable=True, error="", **asdict(contents), remarks=list(remarks))
        return
    void = f" ({contents.void_rounds} void)" if contents.void_rounds else ""
    _write_line(
        f"{file}: can be used. {contents.terminals} terminals,"
        f" {_counted(contents.rounds, 'round')}{void},"
        f" {_counted(contents.readings, 'reading')}."
    )
    for remark in remarks:
        _write_line(f"  - {remark}")


def _counted(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def _write_json(file: str, **fields: object) -> None:
    sys.stdout.write(json.dumps({"format": 1, "file": file, **fields}, allow_nan=False) + "\n")


def _write_line(line: str) -> None:
    """Wrap for people; leave a line whole for other programs."""
    from backprobe.cli.terminal import output_console

    console = output_console()
    if console.is_terminal:
        indent = "    " if line.startswith("  - ") else ""
        line = textwrap.fill(line, console.width, subsequent_indent=indent)
    sys.stdout.write(f"{line}\n")
