"""`backprobe family`: list, show, check and draw the circuits that the program knows."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.families.schema import Family

UNUSABLE = 2

family_app = typer.Typer(
    name="family",
    help="The circuits that the program knows: list, show, check and draw them.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Json = Annotated[bool, typer.Option("--json", help="As JSON.")]
Named = Annotated[
    str, typer.Argument(metavar="ID", help="A family's id, or the file of one of your own.")
]


@family_app.command("list")
def list_families(as_json: Json = False) -> None:
    """List all families: id, number of wires, kind of connector, circuit."""
    from backprobe.cli.family_page import family_list, list_json
    from backprobe.cli.terminal import output_console, show
    from backprobe.families.loader import load_families

    families = sorted(load_families(), key=lambda family: (len(family.wires), family.id))
    if as_json:
        sys.stdout.write(json.dumps([list_json(family) for family in families]) + "\n")
        return
    show(output_console(), family_list(families))


@family_app.command("show")
def show_family(
    name: Named,
    as_json: Json = False,
    every_state: Annotated[
        bool, typer.Option("--all", help="The faults in every state, not only the usual three.")
    ] = False,
) -> None:
    """Show a family: its wires, what is believed of its values, and what each wire reads.

    Readings are DC volts to battery negative on a meter of 10 Mohm: the range within which nine
    vehicles in ten would read. With a fault, only what it changes is shown.
    """
    from backprobe.cli.family_page import family_body, family_head, show_json
    from backprobe.cli.terminal import output_console, show
    from backprobe.families.draw_text import draw_text
    from backprobe.families.tables import reading_rows

    family = _find(name)
    rows = reading_rows(family)
    if as_json:
        sys.stdout.write(json.dumps(show_json(family, rows), allow_nan=False) + "\n")
        return
    console = output_console()
    show(console, family_head(family))
    # Written as it is: the console would cut lines that are wider than itself.
    console.file.write(draw_text(family))
    show(console, family_body(family, rows, every_state=every_state))


@family_app.command("check")
def check_families(
    files: Annotated[
        list[str], typer.Argument(metavar="FILE...", help="Family files, one circuit each.")
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a file, one a line, in the order given.")
    ] = False,
    brief: Annotated[
        bool, typer.Option("--brief", help="Say only whether each file can be used.")
    ] = False,
) -> None:
    """Check family files: mistakes with line and remedy; a sound one is drawn and solved.

    Exit status 0: all can be used. 2: at least one cannot; each mistake says where and how to
    mend it.
    """
    usable = [_check_file(file, as_json=as_json, brief=brief) for file in files]
    if not all(usable):
        raise typer.Exit(UNUSABLE)


def _check_file(file: str, *, as_json: bool, brief: bool) -> bool:
    from backprobe.errors import FamilyFileError
    from backprobe.families.loader import examine_family, read_family_text
    from backprobe.families.mistakes import Mistake

    family: Family | None = None
    try:
        reading = examine_family(read_family_text(Path(file)), file)
    except FamilyFileError as error:
        mistakes: tuple[Mistake, ...] = (Mistake(None, error.what, error.remedy),)
    else:
        family, mistakes = reading.family, reading.mistakes
    if as_json:
        listed = [
            {"line": mistake.line, "what": mistake.what, "remedy": mistake.remedy}
            for mistake in mistakes
        ]
        answer = {"format": 1, "file": file, "usable": family is not None, "mistakes": listed}
        sys.stdout.write(json.dumps(answer) + "\n")
    elif family is None:
        sys.stdout.flush()
        for mistake in mistakes:
            place = f"{file}, line {mistake.line}" if mistake.line else file
            sys.stderr.write(f"{place}: {mistake.what} {mistake.remedy}\n")
    else:
        _tell_sound(file, family, brief=brief)
    return family is not None


def _tell_sound(file: str, family: Family, *, brief: bool) -> None:
    sys.stdout.write(f"{file}: can be used. {family.title}, {len(family.wires)} wires.\n")
    if brief:
        return
    from backprobe.cli.family_page import healthy_readings
    from backprobe.cli.terminal import output_console, show
    from backprobe.families.draw_text import draw_text
    from backprobe.families.tables import reading_rows

    sys.stdout.write(f"\n{draw_text(family)}\n")
    (row,) = reading_rows(family, faults=())
    show(output_console(), healthy_readings(family, row))
    sys.stdout.flush()


@family_app.command("draw")
def draw_family(
    name: Named,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE.svg", help="Write a picture to this file."),
    ] = None,
) -> None:
    """Draw a family's circuit in characters, or as an SVG picture with -o."""
    from backprobe.errors import UsageError
    from backprobe.families.draw_text import draw_text

    family = _find(name)
    if output is None:
        sys.stdout.write(draw_text(family))
        return
    if output.suffix.lower() != ".svg":
        raise UsageError("The picture is written as SVG.", str(output), "Name a file ending .svg.")
    from backprobe.families.draw import draw_svg

    try:
        output.write_text(draw_svg(family), encoding="utf-8")
    except OSError as error:
        remedy = "Check the folder and your right to write there."
        raise UsageError("This file can't be written.", str(output), remedy) from error
    sys.stdout.write(f"{output}: {family.title}, {len(family.wires)} wires.\n")


def _find(name: str) -> Family:
    """Find a family by id, or read it from a file."""
    from backprobe.errors import UsageError
    from backprobe.families.loader import load_families, load_family
    from backprobe.families.mistakes import nearest

    families = {family.id: family for family in load_families()}
    if name in families:
        return families[name]
    if name.endswith(".toml") or Path(name).is_file():
        return load_family(Path(name))
    hint = nearest(name, families)
    if hint.startswith("Known here"):
        hint = "`backprobe family list` lists them; a file of your own ends in .toml."
    raise UsageError(f'No family is named "{name}".', remedy=hint)
