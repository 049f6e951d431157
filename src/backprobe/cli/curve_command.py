"""`backprobe curve`: what a sensor's reading means by its curve; which curve and pull-up fit."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.curves.curve_file import AnyCurve
    from backprobe.services.sensor_curves import Feed

NOTHING_FITS = 1
UNUSABLE = 2

curve_app = typer.Typer(
    name="curve",
    help="Curves of sensors: what volts, ohms and hertz mean, and which curve fits.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Json = Annotated[bool, typer.Option("--json", help="As JSON.")]
Named = Annotated[
    str, typer.Argument(metavar="ID", help="A curve's id, or the file of one of your own.")
]
PullUpOption = Annotated[str, typer.Option("--pull-up", help="In the control unit: 2.2k.")]
SupplyOption = Annotated[str, typer.Option("--supply", help="That the pull-up hangs on.")]


@curve_app.command("list")
def list_curves(as_json: Json = False) -> None:
    """List the curves that come with the program."""
    from backprobe.curves.loader import load_curves

    curves = load_curves()
    if as_json:
        listed = [
            {"id": c.id, "title": c.title, "kind": c.kind, "source": c.source} for c in curves
        ]
        sys.stdout.write(json.dumps(listed) + "\n")
        return
    wide = max(len(curve.id) for curve in curves)
    for curve in curves:
        sys.stdout.write(f"{curve.id:{wide}}  {curve.title}\n")


@curve_app.command("show")
def show_curve(
    name: Named,
    pull_up: PullUpOption = "",
    supply: SupplyOption = "5 V",
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Write a picture to this file.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show a curve: source, tolerance, and a table; with a pull-up its volts as well."""
    from backprobe.cli.writing import write_svg
    from backprobe.services.curve_table import curve_rows

    curve, feed = _find(name), _feed(pull_up, supply)
    heads, rows = curve_rows(curve, feed)
    if plot is not None:
        from backprobe.services.pictures.curve_picture import curve_picture

        write_svg(plot, curve_picture(curve, feed, ink="#111", paper="#fff"))
    if as_json:
        told = {"id": curve.id, "title": curve.title, "kind": curve.kind, "about": curve.about}
        told |= {"source": curve.source}
        table = {"tolerance": curve.tolerance, "columns": heads, "rows": rows}
        sys.stdout.write(json.dumps({"format": 1} | told | table) + "\n")
        return
    from backprobe.cli.curve_page import curve_page
    from backprobe.cli.terminal import output_console, show

    show(output_console(), curve_page(curve, heads, rows))


# A temperature below zero begins as an option does.
_SIGNED = {"ignore_unknown_options": True}


@curve_app.command("convert", context_settings=_SIGNED)
def convert_reading(
    name: Named,
    reading: Annotated[
        str, typer.Argument(help='Value with its unit: "2.41 V", "2.2k", "40 degC", "3.05 kHz".')
    ],
    pull_up: PullUpOption = "",
    supply: SupplyOption = "5 V",
    as_json: Json = False,
) -> None:
    """Say what a reading means by a curve, with its interval."""
    from backprobe.services.curve_points import parse_reading
    from backprobe.services.sensor_curves import convert

    found = convert(_find(name), parse_reading(reading), _feed(pull_up, supply))
    if as_json:
        sys.stdout.write(json.dumps(found.as_json()) + "\n")
        return
    sys.stdout.write(f"{found.said}\n")
    for remark in found.remarks:
        sys.stdout.write(f"- {remark}\n")


@curve_app.command("fit", context_settings=_SIGNED)
def fit_curve(
    points: Annotated[
        list[str],
        typer.Argument(
            metavar="POINT...", help='"20 degC=2.66 V", "90 degC=243 ohm", "2.2k=2.5 V".'
        ),
    ],
    supply: SupplyOption = "5 V",
    as_json: Json = False,
) -> None:
    """Find pull-up and curve from known temperatures, or known resistors in the sensor's place.

    Exit status 0: answered. 1: no curve kept here fits. 2: the points can't be used.
    """
    from backprobe.quantities import parse_quantity
    from backprobe.services.curve_fitting import fit_points
    from backprobe.services.curve_points import parse_points

    answer = fit_points(parse_points(points), parse_quantity(supply, "volt").value)
    if as_json:
        sys.stdout.write(json.dumps(answer.as_json()) + "\n")
    else:
        from backprobe.cli.curve_page import fit_page
        from backprobe.cli.terminal import output_console, show

        show(output_console(), fit_page(answer))
    if answer.nothing_fits:
        raise typer.Exit(NOTHING_FITS)


@curve_app.command("check")
def check_curves(
    files: Annotated[list[str], typer.Argument(metavar="FILE...", help="Curve files.")],
) -> None:
    """Check curve files of your own: the mistake with its line, else what the curve is."""
    from backprobe.curves.loader import load_curve
    from backprobe.errors import CurveFileError

    is_sound = True
    for file in files:
        try:
            curve = load_curve(Path(file))
        except CurveFileError as error:
            sys.stderr.write(f"{error}\n")
            is_sound = False
        else:
            sys.stdout.write(f"{file}: can be used. {curve.title}.\n")
    if not is_sound:
        raise typer.Exit(UNUSABLE)


def _find(name: str) -> AnyCurve:
    from backprobe.curves.loader import curve_named, load_curve

    return load_curve(Path(name)) if name.endswith(".toml") else curve_named(name)


def _feed(pull_up: str, supply: str) -> Feed | None:
    from backprobe.services.curve_points import parse_feed

    return parse_feed(pull_up, supply)
