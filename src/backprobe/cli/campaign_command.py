"""`backprobe campaign`: how often the program is right, on simulated vehicles."""

from __future__ import annotations

import json
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backprobe.errors import UsageError
from backprobe.vocabulary import FAULT_KINDS

if TYPE_CHECKING:
    from backprobe.campaign.accuracy_page import Table
    from backprobe.campaign.run import Campaign, Progress

CONDITIONS = ("healthy", "fault", "black-lead", "mixed")
SHEETS = ("full", "partial")


def campaign(
    vehicles: Annotated[int, typer.Option(min=1, help="How many vehicles.")] = 200,
    seed: Annotated[int, typer.Option(min=0, help="The same seed gives the same vehicles.")] = 1,
    conditions: Annotated[
        str, typer.Option(help="healthy, fault, black-lead (healthy, badly measured) or mixed.")
    ] = "mixed",
    sheets: Annotated[str, typer.Option(help="full or partial sheets of readings.")] = "full",
    kinds: Annotated[
        str, typer.Option(help='Kinds of faults only, with commas: "open,resistance".')
    ] = "",
    connector: Annotated[
        str, typer.Option(help='One kind of connector only, such as "thermistor" or "pedal".')
    ] = "",
    follow: Annotated[
        bool,
        typer.Option("--follow", help="Take the program's own next readings, too; takes long."),
    ] = False,
    all_kinds: Annotated[
        int | None,
        typer.Option(
            min=0,
            help="How many to compare with connectors of all kinds, too, which takes longer than "
            "the answers; all where not said.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object.")] = False,
    write: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the tables as a page, too.")
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write every vehicle's job file and truth, too."),
    ] = None,
    workers: Annotated[int, typer.Option(min=1, help="Processes at work.")] = 2,
) -> None:
    """Draw simulated vehicles, explain their readings, count how often the answers are right."""
    from backprobe.campaign.accuracy import accuracy
    from backprobe.campaign.accuracy_page import markdown, tables, to_json
    from backprobe.campaign.asking import ask
    from backprobe.campaign.connectors import design_named
    from backprobe.campaign.draw import Wishes
    from backprobe.campaign.run import Campaign, run_campaign

    chosen = _require_kinds(kinds)
    wishes = Wishes(
        conditions=_require(conditions, CONDITIONS, "--conditions"),
        sheets=_require(sheets, SHEETS, "--sheets"),
        fault_kinds=chosen,
        design=design_named(connector).name if connector else "",
    )
    asked = Campaign(vehicles, seed, wishes, workers, save, follow, all_kinds)
    found = accuracy(run_campaign(asked, ask, _progress()))
    shown = tables(found)
    if as_json:
        sys.stdout.write(json.dumps({"campaign": _named(asked), **to_json(found)}) + "\n")
    else:
        _print(shown)
    if write is not None:
        write.write_text(markdown(shown, _command(asked)), encoding="utf-8")


def _require(value: str, allowed: tuple[str, ...], option: str) -> str:
    if value not in allowed:
        raise UsageError(
            f'"{value}" is not known here.',
            where=option,
            remedy=f"Take one of: {', '.join(allowed)}.",
        )
    return value


def _require_kinds(text: str) -> tuple[str, ...]:
    kinds = tuple(part.strip() for part in text.split(",") if part.strip())
    for kind in kinds:
        _require(kind, FAULT_KINDS, "--kinds")
    return kinds


def _progress() -> Progress | None:
    """Count on the error stream, where someone is watching it."""
    if not sys.stderr.isatty():
        return None

    def tell(done: int, total: int) -> None:
        end = "\n" if done == total else ""
        sys.stderr.write(f"\r{done} of {total} vehicles{end}")
        sys.stderr.flush()

    return tell


def _named(asked: Campaign) -> dict[str, object]:
    return {
        "vehicles": asked.vehicles,
        "seed": asked.seed,
        "conditions": asked.wishes.conditions,
        "sheets": asked.wishes.sheets,
        "kinds": list(asked.wishes.fault_kinds),
        "connector": asked.wishes.design,
        "all_kinds": asked.all_kinds,
    }


def _command(asked: Campaign) -> str:
    """The command line that gives this page again."""
    words = ["backprobe", "campaign", "--vehicles", str(asked.vehicles), "--seed", str(asked.seed)]
    words += ["--conditions", asked.wishes.conditions, "--sheets", asked.wishes.sheets]
    if asked.wishes.fault_kinds:
        words += ["--kinds", ",".join(asked.wishes.fault_kinds)]
    if asked.wishes.design:
        words += ["--connector", asked.wishes.design]
    if asked.follow:
        words.append("--follow")
    if asked.all_kinds is not None:
        words += ["--all-kinds", str(asked.all_kinds)]
    return shlex.join([*words, "--write", "docs/accuracy.md"])


def _print(shown: tuple[Table, ...]) -> None:
    from rich.table import Table as Grid

    from backprobe.cli.terminal import output_console, show

    console = output_console()
    for table in shown:
        if not table.rows:
            continue
        grid = Grid(title=table.heading, title_justify="left")
        for column in table.columns:
            grid.add_column(column)
        for row in table.rows:
            grid.add_row(*row)
        show(console, grid)
