"""Curves and fits as pages in the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.cli.layout import hanging, heading
from backprobe.curves.curve_file import AnyCurve
from backprobe.services.curve_fitting import FitAnswer
from backprobe.services.words import percent


def curve_page(
    curve: AnyCurve, heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> RenderableType:
    """What a curve is, where it comes from, and its table."""
    grid = Table(box=None, pad_edge=False)
    for head in heads:
        grid.add_column(head, justify="right")
    for row in rows:
        grid.add_row(*row)
    return Group(
        Text(curve.title, style="bold"),
        Text(curve.about),
        Text(f"Source: {curve.source}. Sound sensors lie within {100 * curve.tolerance:g} %."),
        Text(""),
        grid,
    )


def fit_page(answer: FitAnswer) -> RenderableType:
    """The verdict, the curves that remain and those that are excluded, what isn't told."""
    parts: list[RenderableType] = [Text(answer.verdict, style="bold"), Text(answer.own)]
    if answer.pull_up is not None and answer.candidates:
        parts.append(Text(answer.pull_up_said))
    left = [line for line in answer.candidates if not line.is_excluded]
    if left:
        parts.append(heading("Curves that remain"))
        parts += [
            hanging("-", f"{line.curve}, {line.title} ({percent(line.probability)}): {line.said}")
            for line in left
        ]
    out = [line.curve for line in answer.candidates if line.is_excluded]
    if out:
        parts += [heading("Excluded"), Text(", ".join(out))]
    if answer.cannot_tell:
        parts.append(heading("What these points can't tell"))
        parts += [hanging("-", line) for line in answer.cannot_tell]
    return Group(*parts)
