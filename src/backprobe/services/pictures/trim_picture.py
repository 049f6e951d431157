"""Fuel trims on the map of speed and load: a number in every cell, its sign by shape as well."""

from __future__ import annotations

import math
from typing import Final

from backprobe.services.pictures.canvas import FAULT, Canvas
from backprobe.services.trim_table import LOADS, SPEEDS, TrimCell, TrimTable
from backprobe.services.trim_words import trim_words

NORMAL: Final = 10.0  # per cent; totals within it are common practice's normal
_WIDTH, _EDGE = 340.0, 6.0  # a phone shows it at its own size
_LEFT, _TOP, _HIGH = 78.0, 62.0, 54.0
_LARGE, _PLAIN, _SMALL = 17.0, 14.0, 12.0


def trim_picture(table: TrimTable, *, ink: str = "currentColor", paper: str = "none") -> str:
    """Draw the trims of every bank, speed to the right, load upward.

    A cell with fuel added has a full bar at its foot, one with fuel taken away a dashed bar at
    its head, each as long as the trim is large; beyond 10 % the frame is heavy.
    """
    canvas = Canvas(ink, paper)
    title = "Fuel trims over speed and load"
    canvas.text(_EDGE, 24.0, title, size=_LARGE, bold=True)
    canvas.text(_EDGE, 44.0, "short plus long trim, per cent", size=_PLAIN)
    y = _TOP
    for bank in range(table.n_bank):
        y = _draw_bank(canvas, table, bank, y)
    for line in (
        "+ fuel is added: full bar at the foot.",
        "- fuel is taken away: dashed bar at the head.",
        "Heavy frame: beyond 10 %. ≥, ≤: at the limit.",
    ):
        canvas.text(_EDGE, y, line, size=_SMALL)
        y += 16.0
    return canvas.finish(_WIDTH, y, title, _description(table))


def _column(cell: TrimCell) -> int:
    return max(row for row, edge in enumerate(SPEEDS[:-1]) if cell.speed_rpm >= edge)


def _row(cell: TrimCell) -> int:
    return max(row for row, edge in enumerate(LOADS[:-1]) if cell.load >= edge)


def _draw_bank(canvas: Canvas, table: TrimTable, bank: int, y: float) -> float:
    """One bank's grid; only speeds and loads that were read have a column or a row."""
    columns = sorted({_column(cell) for cell in table.cells})
    rows = sorted({_row(cell) for cell in table.cells}, reverse=True)
    wide = min((_WIDTH - _LEFT - _EDGE) / len(columns), 110.0)
    if table.n_bank > 1:
        canvas.text(_EDGE, y + 14.0, f"Bank {bank + 1}", size=_PLAIN, bold=True)
        y += 24.0
    for number, row in enumerate(rows):
        top = y + number * _HIGH
        for size, line in enumerate(_load_words(row)):
            canvas.text(_EDGE, top + 24.0 + 15.0 * size, line, size=_SMALL)
    for number, column in enumerate(columns):
        middle = _LEFT + (number + 0.5) * wide
        foot = y + len(rows) * _HIGH + 18.0
        for below, words in enumerate(_speed_words(column)):
            canvas.text(middle, foot + 15.0 * below, words, size=_SMALL, anchor="middle")
    for column, row in dict.fromkeys((_column(cell), _row(cell)) for cell in table.cells):
        corner = _LEFT + columns.index(column) * wide, y + rows.index(row) * _HIGH
        here = [c for c in table.cells if (_column(c), _row(c)) == (column, row)]
        _draw_cell(canvas, here, bank, corner, wide)
    canvas.text(_EDGE, y + len(rows) * _HIGH + 18.0, "rpm", size=_SMALL)
    return y + len(rows) * _HIGH + 60.0


def _draw_cell(
    canvas: Canvas, cells: list[TrimCell], bank: int, corner: tuple[float, float], wide: float
) -> None:
    """All that was read at one speed and load; the frame and bar are those of the largest."""
    x, y = corner[0] + 3.0, corner[1] + 3.0
    wide, high = wide - 6.0, _HIGH - 6.0
    read = [cell for cell in cells if not math.isnan(cell.trims[bank])]
    if not read:
        canvas.rect((x, y, wide, high), width=1.0, dash="2 4")
        canvas.text(x + wide / 2, y + high / 2 + 4.0, "not read", size=_SMALL, anchor="middle")
        return
    trim = max((cell.trims[bank] for cell in read), key=abs)
    is_far = abs(trim) > NORMAL
    canvas.rect((x, y, wide, high), width=3.0 if is_far else 1.0, stroke=FAULT if is_far else "")
    long = (wide - 8.0) * min(abs(trim) / 25.0, 1.0)
    at = y + high - 6.0 if trim > 0.0 else y + 6.0
    canvas.line((x + 4.0, at, x + 4.0 + long, at), width=5.0, dash="" if trim > 0.0 else "4 3")
    said = ", ".join(_said(cell, bank) for cell in read)
    size = _LARGE if wide > 66.0 and len(read) == 1 else _PLAIN if wide > 52.0 else _SMALL
    canvas.text(x + wide / 2, y + high / 2 + 6.0, said, size=size, bold=is_far, anchor="middle")


def _said(cell: TrimCell, bank: int) -> str:
    trim = cell.trims[bank]
    words = trim_words(trim).removesuffix(" %")
    if not cell.limited[bank]:
        return words
    return f"≥{words}" if trim > 0.0 else f"≤{words}"


def _speed_words(column: int) -> tuple[str, ...]:
    low, high = SPEEDS[column], SPEEDS[column + 1]
    if column == 0:
        return ("idle",)
    return ("above", f"{low:.0f}") if math.isinf(high) else (f"{low:.0f}", f"to {high:.0f}")


def _load_words(row: int) -> tuple[str, str]:
    low, high = 100.0 * LOADS[row], 100.0 * LOADS[row + 1]
    if row == 0:
        return "load below", f"{high:.0f} %"
    return (
        ("load above", f"{low:.0f} %") if math.isinf(high) else ("load", f"{low:.0f}-{high:.0f} %")
    )


def _description(table: TrimTable) -> str:
    """The same in words, for who can't see it."""
    said = []
    for cell in table.cells:
        parts = [
            f"{f'bank {bank + 1} ' if table.n_bank > 1 else ''}"
            f"{'not read' if math.isnan(trim) else trim_words(trim)}"
            f"{' or beyond' if cell.limited[bank] else ''}"
            for bank, trim in enumerate(cell.trims)
        ]
        said.append(f"{cell.name}: {', '.join(parts)}.")
    return " ".join(said)
