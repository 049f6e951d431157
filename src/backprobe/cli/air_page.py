"""The air check as words and tables."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.cli.layout import hanging, heading
from backprobe.services.air_check import AirAnswer, AirRow
from backprobe.services.air_quick_checks import QuickCheck
from backprobe.services.words import percent


def air_page(answer: AirAnswer | None, standing: Sequence[QuickCheck]) -> RenderableType:
    """Everything said, in the order in which it is needed."""
    parts: list[RenderableType] = []
    if answer is not None:
        parts += [Text(answer.headline, style="bold")]
        parts += [hanging("!", each) for each in answer.remarks]
        parts += [heading("Air"), _table(answer.rows)]
        parts += [hanging("-", each) for each in answer.reasons]
    checks = (*(answer.checks if answer is not None else ()), *standing)
    if checks:
        parts += [heading("Quick checks")]
        parts += [hanging(_mark(c), f"{c.title}: {c.words}") for c in checks]
    if answer is not None:
        if answer.possible:
            parts += [heading("Possible")]
            parts += [hanging(percent(e.probability), e.words) for e in answer.possible]
        parts += [heading("What limits this")]
        parts += [hanging("-", each) for each in answer.limits]
        parts += [heading("Next")]
        parts += [hanging(f"{i}.", each) for i, each in enumerate(answer.next, start=1)]
        parts += [Text(""), *(hanging("Beware:", each) for each in answer.cautions)]
    return Group(*parts)


def _mark(check: QuickCheck) -> str:
    return {"usual": "+", "doubtful": "?"}.get(check.verdict, "!")


def _table(rows: Sequence[AirRow]) -> RenderableType:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in ("point", "rpm", "kPa", "°C", "sensor g/s", "calculated g/s", "VE", "load"):
        table.add_column(name, justify="left" if name == "point" else "right")
    for row in rows:
        band = f"{row.calculated:.3g} ({row.low:.3g} to {row.high:.3g})"
        table.add_row(
            row.name,
            f"{row.speed:.0f}",
            f"{row.pressure:.0f}",
            f"{row.temperature:.0f}",
            "" if math.isnan(row.flow) else f"{row.flow:.3g} {_sign(row)}",
            band,
            "" if math.isnan(row.efficiency) else f"{row.efficiency:.2f}",
            "" if math.isnan(row.load) else f"{100 * row.load:.0f} %",
        )
    return table


def _sign(row: AirRow) -> str:
    return {"below": "LOW", "above": "HIGH"}.get(row.side, "")
