"""Pieces of layout that the pages in words share: headings, alarms, hanging lines, lists."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from backprobe.services.telling import sentence


def heading(words: str) -> RenderableType:
    """Head a section, a blank line before it."""
    return Group(Text(""), Text(words.upper(), style="bold underline"))


def alarm(title: str, lines: Sequence[str]) -> RenderableType:
    """Frame what must not be missed; capitals and marks, as colour may not be there."""
    body = Group(*(Text(sentence(line)) for line in lines))
    return Panel(body, title=f"!! {title} !!", box=box.HEAVY, style="bold", title_align="left")


def two_columns(*, numbers_first: bool = False) -> Table:
    """Begin lines with a short mark or number on the left, the text hanging beside it."""
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, justify="right" if numbers_first else "left", style="bold")
    grid.add_column(overflow="fold")
    return grid


def hanging(mark: str, words: str) -> RenderableType:
    """Hang one paragraph beside its mark."""
    grid = two_columns()
    grid.add_row(mark, Text(words))
    return grid
