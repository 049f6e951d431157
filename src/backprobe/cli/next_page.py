"""The next readings as words: where, in which state, how long, what they split, the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import Group, RenderableType
from rich.text import Text

from backprobe.cli.layout import two_columns
from backprobe.job import Job
from backprobe.services.answer import Answer, NextReading
from backprobe.services.telling import (
    ALWAYS,
    NOTHING_WORTH,
    headline,
    listed,
    must_read_again,
    price,
    settled_words,
)
from backprobe.services.words import (
    reading_words,
)

MOST_IN_SHORT: Final = 3
MOST_WITH_STEPS: Final = 3


def next_section(answer: Answer, job: Job) -> RenderableType:
    """List the best of the next readings in short, cautions gathered below."""
    again = read_again(answer)
    if not answer.next:
        return Group(*again, Text(settled_words(answer) if answer.settled else NOTHING_WORTH))
    grid = two_columns()
    best = answer.next[:MOST_IN_SHORT]
    for number, reading in enumerate(best, 1):
        lines = [Text(headline(reading, job), style="bold"), Text(price(reading))]
        if reading.text:
            lines.append(Text(reading.text))
        grid.add_row(f"{number}.", Group(*lines))
    lead = [Text(settled_words(answer) + " To prove it further:")] if answer.settled else []
    steps = Text(f"Steps, and more to choose from: backprobe next {answer.file}")
    return Group(*again, *lead, grid, _cautions(best), steps, Text(ALWAYS))


def next_page(answer: Answer, job: Job) -> RenderableType:
    """List the next readings, the best with every step and their own cautions."""
    parts: list[RenderableType] = [*read_again(answer)]
    if not answer.next:
        return Group(*parts, Text(settled_words(answer) if answer.settled else NOTHING_WORTH))
    for number, reading in enumerate(answer.next[:MOST_WITH_STEPS], 1):
        parts += [_with_steps(number, reading, job), Text("")]
    others = answer.next[MOST_WITH_STEPS:]
    if others:
        grid = two_columns()
        for number, reading in enumerate(others, MOST_WITH_STEPS + 1):
            grid.add_row(f"{number}.", Text(f"{headline(reading, job)}: {price(reading)}"))
        parts += [Text("Or", style="bold"), grid, Text("")]
    return Group(*parts, Text(ALWAYS))


def read_again(answer: Answer) -> list[RenderableType]:
    """Send people back to readings that do not fit, before anything new is measured."""
    if not must_read_again(answer):
        return []
    readings = listed(reading_words(each) for each in answer.misfit.readings)
    return [Text(f"First of all read again {readings}.", style="bold")]


def _with_steps(number: int, reading: NextReading, job: Job) -> RenderableType:
    lines: list[RenderableType] = [Text(headline(reading, job), style="bold")]
    lines.append(Text(price(reading)))
    if reading.text:
        lines.append(Text(reading.text))
    if reading.steps:
        steps = two_columns()
        for place, step in enumerate(reading.steps):
            steps.add_row(f"{chr(ord('a') + place)})", Text(step))
        lines.append(steps)
    if reading.cautions:
        lines.append(_cautions([reading]))
    outer = two_columns()
    outer.add_row(f"{number}.", Group(*lines))
    return outer


def _cautions(readings: Sequence[NextReading]) -> RenderableType:
    """Each caution once, in the order of the readings."""
    texts = dict.fromkeys(caution for reading in readings for caution in reading.cautions)
    grid = two_columns()
    for number, text in enumerate(texts):
        grid.add_row("Beware:" if number == 0 else "", Text(text))
    return grid
