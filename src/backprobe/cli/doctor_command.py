"""`backprobe doctor`: whether everything that is kept can be used, and how to mend what can't."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING, Annotated, Final

import typer

from backprobe.cli.database import DatabaseOption

if TYPE_CHECKING:
    from backprobe.services.doctor import Finding

_STATUS: Final = {"sound": 0, "note": 0, "wrong": 1, "unusable": 2}
_MARKS: Final = {"sound": "ok", "note": "note", "wrong": "WRONG", "unusable": "UNUSABLE"}


def doctor(
    database: DatabaseOption = "",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object.")] = False,
) -> None:
    """Look over the data base, pictures and documents, free space; nothing is changed.

    Exit status 0: healthy. 1: something is wrong. 2: the data base can't be used.
    """
    from backprobe.services.doctor import examine, worst
    from backprobe.store.engine import Store

    store = Store(database)
    try:
        findings = examine(store)
    finally:
        store.close()
    state = worst(findings)
    if as_json:
        _write_json(store.where, state, findings)
    else:
        for each in findings:
            _write(each)
    raise typer.Exit(_STATUS[state])


def _write_json(where: str, state: str, findings: tuple[Finding, ...]) -> None:
    from dataclasses import asdict

    told = {
        "format": 1,
        "database": where,
        "state": state,
        "findings": [asdict(each) for each in findings],
    }
    sys.stdout.write(json.dumps(told) + "\n")


def _write(finding: Finding) -> None:
    from backprobe.cli.terminal import output_console

    line = f"{_MARKS[finding.state]:9}{finding.check}: {finding.text} {finding.remedy}".rstrip()
    console = output_console()
    if console.is_terminal:
        line = textwrap.fill(line, console.width, subsequent_indent=" " * 9, break_on_hyphens=False)
    sys.stdout.write(f"{line}\n")
