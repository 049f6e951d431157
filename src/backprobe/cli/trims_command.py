"""`backprobe trims`: what fuel trims over speed and load say."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.services.trim_table import TrimTable

FITS_NOTHING = 1
_BANKS = 'Total (short + long) in per cent; two banks as "22 / 3".'


def trims(
    log: Annotated[
        Path | None,
        typer.Argument(metavar="[LOG]", help="A log: a column a value, the first the time."),
    ] = None,
    idle: Annotated[str, typer.Option(help=f"Warm idle. {_BANKS}")] = "",
    at_2500: Annotated[
        str, typer.Option("--at-2500", help="2500 rpm without load, the same way.")
    ] = "",
    loaded: Annotated[str, typer.Option(help="Pulling at about 3000 rpm, the same way.")] = "",
    metering: Annotated[
        str, typer.Option(help='How air is metered: "air-mass" or "pressure".')
    ] = "",
    found: Annotated[
        list[str] | None,
        typer.Option(help='Outcome of a test, "TEST=OUTCOME"; may be given several times.'),
    ] = None,
    displacement: Annotated[str, typer.Option(help="Of the engine, for a log: 1.6 l.")] = "",
    limit: Annotated[
        float, typer.Option(min=5.0, max=60.0, help="Per cent at which the control unit stops.")
    ] = 25.0,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Write a picture to this file.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on one line.")] = False,
) -> None:
    """Say what fuel trims mean: causes with reasons, and what to test next.

    Give them as read, warm and in closed loop, or a log with trims, engine speed and air mass flow.
    Exit status 0: answered. 1: they fit nothing that is modelled. 2: unusable.
    """
    from backprobe.services.trim_entry import parse_findings
    from backprobe.services.trim_review import review_trims

    typed = (idle, at_2500, loaded)
    if log is None:
        table = _typed(typed, metering, limit)
    else:
        table = _logged(log, typed, displacement, limit)
    review = review_trims(table, parse_findings(found or []))
    if plot is not None:
        from backprobe.cli.writing import write_svg
        from backprobe.services.pictures.trim_picture import trim_picture

        write_svg(plot, trim_picture(table, ink="#111", paper="#fff"))
    if as_json:
        sys.stdout.write(json.dumps(review.as_json() | {"cells": _cells(table)}) + "\n")
    else:
        from backprobe.cli.terminal import output_console, show
        from backprobe.cli.trims_page import trims_page

        show(output_console(), trims_page(review, table))
    if review.fits_nothing:
        raise typer.Exit(FITS_NOTHING)


def _typed(typed: tuple[str, str, str], metering: str, limit: float) -> TrimTable:
    from backprobe.services.trim_entry import metering_of, parse_trims
    from backprobe.services.trim_table import STANDARD_POINTS, typed_table

    given = {
        point.name: parse_trims(text)
        for point, text in zip(STANDARD_POINTS, typed, strict=True)
        if text
    }
    return typed_table(given, metering_of(metering), limit)


def _logged(log: Path, typed: tuple[str, ...], displacement: str, limit: float) -> TrimTable:
    from backprobe.errors import UsageError
    from backprobe.quantities import parse_quantity
    from backprobe.recordings.log_reading import read_log
    from backprobe.services.trim_log import table_from_log

    if any(typed):
        raise UsageError("A log and typed trims don't go together.", remedy="Give one of them.")
    litres = parse_quantity(displacement, "litre").value if displacement else None
    return table_from_log(read_log(log).series, litres, limit)


def _cells(table: TrimTable) -> list[dict[str, object]]:
    """Cells for programs; a trim that was not read is null."""
    return [
        {
            "name": cell.name,
            "speed_rpm": cell.speed_rpm,
            "flow_g_s_per_litre": cell.flow,
            "trims": [None if trim != trim else trim for trim in cell.trims],  # noqa: PLR0124 - NaN
            "uncertainties": list(cell.uncertainties),
            "limited": list(cell.limited),
            "values": cell.n_value,
            "independent": cell.n_independent,
        }
        for cell in table.cells
    ]
