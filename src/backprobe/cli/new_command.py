"""`backprobe new`: a job file to fill in, with the usual rounds prepared."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from backprobe.errors import BackprobeError, UsageError
from backprobe.vocabulary import CONNECTOR_KINDS

if TYPE_CHECKING:
    from backprobe.job.model import Terminal

_WIRES: Final = 4  # where nobody can be asked
_FEWEST, _MOST = 2, 8


def new(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The job file to write.")],
    title: Annotated[
        str | None, typer.Option(help='What the job is about: "Hesitates on a cold morning".')
    ] = None,
    name: Annotated[
        str | None, typer.Option(help='What the connector is called: "intake sensor".')
    ] = None,
    kind: Annotated[
        str, typer.Option(help=f"What it belongs to: {', '.join(CONNECTOR_KINDS)}.")
    ] = "unknown",
    wire: Annotated[
        list[str] | None,
        typer.Option(metavar="PIN COLOUR", help='One wire, such as "1 YE/BK"; give it repeatedly.'),
    ] = None,
    wires: Annotated[
        int | None, typer.Option(metavar="N", help="How many wires the connector has, 2 to 8.")
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a file that is there already.")
    ] = False,
) -> None:
    """Write a job file to fill in; asks for what is not given, if there is someone to ask.

    Exit status 0: written. 2: not written; the message says why.
    """
    from backprobe.job.blank_job import write_blank_job
    from backprobe.job.model import Connector, Job

    path = Path(file)
    _require_free(path, force=force)
    can_ask = is_someone_there()
    _require_kind(kind)
    title = title or (
        typer.prompt("Title, such as the complaint in a few words") if can_ask else ""
    )
    name = name or (typer.prompt("Name of the connector") if can_ask else "")
    terminals = _terminals(wire or [], wires, can_ask=can_ask)
    job = Job(
        title=title.strip() or "New job",
        connector=Connector(name.strip() or "sensor connector", kind, terminals),
        opened=datetime.now(tz=UTC).astimezone().date(),
    )
    _write(path, write_blank_job(job), force=force)
    sys.stdout.write(
        f"{file} is ready with {len(terminals)} terminals and three empty rounds. Fill in round A,"
        f" then ask: backprobe explain {file}\n"
    )


def is_someone_there() -> bool:
    """Tell whether there is someone at a keyboard who can be asked."""
    return sys.stdin is not None and sys.stdin.isatty()


def _ask(question: str, *, can_ask: bool) -> str:
    return str(typer.prompt(question)) if can_ask else ""


def _require_free(path: Path, *, force: bool) -> None:
    if path.is_dir():
        raise UsageError("This is a folder.", str(path), "Name a file in it.")
    if path.exists() and not force:
        raise UsageError(
            "There is such a file already; nothing was written.",
            str(path),
            "Choose another name, or write over it with --force.",
        )


def _require_kind(kind: str) -> None:
    from backprobe.job.table import nearest

    if kind not in CONNECTOR_KINDS:
        raise UsageError(
            f'"{kind}" can\'t be the kind of a connector.',
            "--kind",
            nearest(kind, CONNECTOR_KINDS, "Possible are"),
        )


def _terminals(given: list[str], wires: int | None, *, can_ask: bool) -> tuple[Terminal, ...]:
    """Put together the terminals from what was given, and what can be asked."""
    from backprobe.job.model import Terminal

    found = [_terminal(one) for one in given]
    is_counted = wires is not None or bool(found)
    if wires is None:
        wires = len(found) or _ask_count(can_ask=can_ask)
    if not _FEWEST <= wires <= _MOST:
        raise UsageError(
            f"A job file has {_FEWEST} to {_MOST} terminals, not {wires}.",
            "--wires",
            "Take the wires of one sensor or actuator.",
        )
    if len(found) > wires:
        raise UsageError(
            f"{len(found)} wires are given, but --wires says {wires}.",
            "--wire",
            "Leave --wires out, or correct it.",
        )
    taken = [terminal.pin for terminal in found]
    twice = next((pin for pin in taken if taken.count(pin) > 1), None)
    if twice:
        raise UsageError(f'Pin "{twice}" is given twice.', "--wire", "Give each its own pin.")
    free = (str(number) for number in range(1, 2 * _MOST) if str(number) not in taken)
    while len(found) < wires:
        pin = next(free)
        colour = "" if is_counted or not can_ask else _ask_colour(pin)
        found.append(Terminal(pin, colour))
    return tuple(found)


def _terminal(given: str) -> Terminal:
    from backprobe.job.model import Terminal
    from backprobe.job.reader import is_pin

    pin, _, colour = given.strip().partition(" ")
    if not is_pin(pin):
        raise UsageError(
            f'"{given[:40]}" doesn\'t begin with a pin.',
            "--wire",
            'Write the pin, one to four letters or digits, then the colour: "1 YE/BK".',
        )
    try:
        return Terminal(pin, _colour(colour))
    except BackprobeError as error:
        raise UsageError(error.what, f'--wire "{given[:40]}"', error.remedy) from error


def _colour(given: str) -> str:
    """Accept words as well as the letters of the standard."""
    from backprobe.standards.wire_colour import colour_from_words, colour_letters

    try:
        return colour_from_words(given)
    except BackprobeError:
        return "/".join(colour_letters(given))


def _ask_count(*, can_ask: bool) -> int:
    if not can_ask:
        return _WIRES
    while True:
        given: str = typer.prompt("How many wires")
        if given.strip().isdecimal() and _FEWEST <= int(given) <= _MOST:
            return int(given)
        typer.echo(f"A number from {_FEWEST} to {_MOST}, please.")


def _ask_colour(pin: str) -> str:
    question = f"Colour of wire {pin}, such as YE/BK (Enter if unknown)"
    while True:
        try:
            return _colour(typer.prompt(question, default="", show_default=False))
        except BackprobeError as error:
            typer.echo(str(error))


def _write(path: Path, content: str, *, force: bool) -> None:
    try:
        with path.open("w" if force else "x", encoding="utf-8", newline="\n") as file:
            file.write(content)
    except FileExistsError:
        _require_free(path, force=False)
        raise
    except OSError as error:
        raise UsageError(
            f"The file can't be written ({error.strerror or 'unknown reason'}).",
            str(path),
            "Check the folder and your right to write there.",
        ) from error
