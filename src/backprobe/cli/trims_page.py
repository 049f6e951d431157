"""The review of fuel trims as a page in the terminal."""

from __future__ import annotations

import math

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.cli.layout import hanging, heading
from backprobe.services.trim_review import TrimReview
from backprobe.services.trim_table import TrimTable
from backprobe.services.trim_words import trim_words
from backprobe.services.words import gain_words, minutes_words


def trims_page(review: TrimReview, table: TrimTable) -> RenderableType:
    """The verdict first, then what it stands on, then what to do."""
    parts: list[RenderableType] = [Text(review.verdict, style="bold"), Text(review.fits)]
    parts += [heading("Trims"), _cells(table)]
    parts.append(heading("What remains"))
    for line in review.causes:
        parts.append(hanging("-", f"{line.said}. {line.why}"))
        parts += [hanging("   ", f"would give {each}") for each in line.expected]
        if line.proof:
            parts.append(hanging("   ", f"Proof before repair: {line.proof}"))
    if review.ruled_out:
        parts += [heading("Ruled out"), Text("; ".join(review.ruled_out) + ".")]
    if review.reasons:
        parts.append(heading("Reasons"))
        parts += [hanging(f"{line.decibans:+.0f} dB", line.text) for line in review.reasons]
    if review.next:
        parts.append(heading("Test next"))
        for number, test in enumerate(review.next, start=1):
            said = f"{test.words} ({minutes_words(test.minutes)}; {gain_words(test.bits)})"
            parts.append(hanging(f"{number}.", said))
            if test.outcomes:
                shown = " | ".join(test.outcomes)
                parts.append(hanging("   ", f'--found "{test.name}=..." with: {shown}'))
            parts += [hanging("   !", caution) for caution in test.cautions]
    if review.remarks:
        parts.append(heading("Mind"))
        parts += [hanging("-", remark) for remark in review.remarks]
    return Group(*parts)


def _cells(table: TrimTable) -> RenderableType:
    grid = Table(box=None, pad_edge=False)
    grid.add_column("")
    for bank in range(table.n_bank):
        grid.add_column(f"bank {bank + 1}" if table.n_bank > 1 else "total", justify="right")
    grid.add_column("values", justify="right")
    for cell in table.cells:
        trims = [
            "-" if math.isnan(trim) else trim_words(trim) + (" or more" if limited else "")
            for trim, limited in zip(cell.trims, cell.limited, strict=True)
        ]
        grid.add_row(cell.name, *trims, str(cell.n_value))
    return grid
