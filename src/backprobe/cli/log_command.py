"""`backprobe log`: what logged values of a control unit hold, and how far to trust them."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from backprobe.recordings.log import Log
    from backprobe.recordings.log_mapping import LogMapping
    from backprobe.services.log_review import LogReview
    from backprobe.services.log_values import LoggedValue


def log(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A log: delimited text or ASAM MDF 4.")
    ],
    at: Annotated[
        float | None, typer.Option("--at", metavar="S", help="The values at this instant, s.")
    ] = None,
    start: Annotated[
        float | None, typer.Option("--from", metavar="S", help="The values over a span, from, s.")
    ] = None,
    end: Annotated[float | None, typer.Option("--to", metavar="S", help="... to, s.")] = None,
    mapping: Annotated[
        Path | None,
        typer.Option("--mapping", metavar="FILE", help="Which series is which quantity (TOML)."),
    ] = None,
    save_mapping: Annotated[
        Path | None,
        typer.Option("--save-mapping", metavar="FILE", help="Write that down, to be corrected."),
    ] = None,
    cylinders: Annotated[
        int | None,
        typer.Option(min=1, max=16, help="Of the engine: for air logged in mg a stroke."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE.svg", help="Draw the series over time.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As one JSON object.")] = False,
) -> None:
    """Look over a log of a control unit's values: series, intervals, gaps, values that are made up.

    With --at or --from and --to, give the values there, and those that a job file takes as `scan`.
    Exit status 0: answered. 2: the file can't be used; the message says why.
    """
    from backprobe.errors import UsageError
    from backprobe.recordings.log_reading import mapping_of, read_log
    from backprobe.services.log_review import review_log
    from backprobe.services.log_values import values_at, values_over

    if (start is None) != (end is None):
        raise UsageError("--from and --to belong together.", remedy="Give both, in seconds.")
    said = mapping_in(mapping)
    if save_mapping is not None:
        from backprobe.recordings.log_mapping import mapping_to_toml

        _write(save_mapping, mapping_to_toml(mapping_of(file, said)))
    found = read_log(file, said, cylinders=cylinders)
    review = review_log(found)
    values: tuple[LoggedValue, ...] | None = None
    if at is not None:
        values = values_at(found, at)
    elif start is not None and end is not None:
        values = values_over(found, start, end)
    if plot is not None:
        _draw(plot, found, review)
    if as_json:
        sys.stdout.write(json.dumps(_as_dict(review, values), allow_nan=False) + "\n")
    else:
        _show(review, values)


def mapping_in(path: Path | None) -> LogMapping | None:
    """Read a mapping of a log's series; None where no file is named."""
    from backprobe.errors import UsageError
    from backprobe.recordings.log_mapping import mapping_from_toml

    if path is None:
        return None
    try:
        return mapping_from_toml(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        remedy = "Look whether it's there and is a text."
        raise UsageError("The mapping can't be read.", str(path), remedy) from error


def _write(path: Path, text: str) -> None:
    from backprobe.errors import UsageError

    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        remedy = "Check the folder and your right to write there."
        raise UsageError("This file can't be written.", str(path), remedy) from error


def _draw(path: Path, found: Log, review: LogReview) -> None:
    from backprobe.errors import UsageError
    from backprobe.services.pictures.log_picture import log_picture

    if path.suffix.lower() != ".svg":
        raise UsageError("The picture is written as SVG.", str(path), "Name a file ending .svg.")
    _write(path, log_picture(found, review.states))


def _show(review: LogReview, values: tuple[LoggedValue, ...] | None) -> None:
    from backprobe.cli.log_page import log_page, values_page
    from backprobe.cli.terminal import output_console, show

    page = log_page(review) if values is None else values_page(review.log, values)
    show(output_console(), page)


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _as_dict(review: LogReview, values: tuple[LoggedValue, ...] | None) -> dict[str, object]:
    from dataclasses import asdict

    from backprobe.services.log_values import scan_values

    answer: dict[str, object] = {
        "format": 1,
        "file": review.log.source,
        "series": [
            {
                "name": one.series.name,
                "quantity": one.series.quantity,
                "unit": one.series.unit,
                "values": one.sampling.n_value,
                "interval": _number(one.sampling.interval),
                "interval_low": _number(one.sampling.interval_low),
                "interval_high": _number(one.sampling.interval_high),
                "gaps": one.sampling.n_gap,
                "longest_gaps": [[gap.start, gap.end] for gap in one.sampling.gaps],
                "low": one.low,
                "high": one.high,
                "mean": one.mean,
            }
            for one in review.series
        ],
        "states": [asdict(state) for state in review.states],
        "suspicions": [asdict(suspicion) for suspicion in review.suspicions],
        "remarks": list(review.remarks),
    }
    if values is not None:
        answer["values"] = [
            {k: _number(v) if isinstance(v, float) else v for k, v in asdict(one).items()}
            for one in values
        ]
        answer["scan"] = dict(scan_values(values))
    return answer
