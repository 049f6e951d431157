"""Draws what stands behind each wire: the control unit, a fused feed, a ground point."""

from __future__ import annotations

from typing import Final

from backprobe.services.pictures.canvas import FAULT, SIZE, Canvas
from backprobe.services.pictures.circuit_plan import MARGIN, PADDING, UNIT_WIDTH, CircuitPlan, Row
from backprobe.services.pictures.symbols import LENGTH, draw_ground, draw_rail, draw_symbol

_END: Final = MARGIN + 20.0  # where a rail or a ground stands
_SYMBOL: Final = MARGIN + 76.0
_ONLY: Final = MARGIN + 36.0  # a symbol that ends the line itself


def draw_unit(canvas: Canvas, plan: CircuitPlan, row: Row) -> None:
    """Draw what stands behind one wire, and the control unit's outline where it is inside it."""
    behind, y, edge = row.behind, row.y, plan.wire_start
    if behind.end:
        _line_from_end(canvas, row, edge)
    elif behind.symbol:
        draw_symbol(canvas, behind.symbol, _ONLY, y)
        canvas.line((_ONLY + LENGTH, y, edge, y))
    if row.is_marked("behind"):
        canvas.rect(
            (MARGIN + 3.0, y - 27.0, 122.0, 41.0), radius=8.0, stroke=FAULT, width=2.5, dash="6 4"
        )
    y = canvas.lines(MARGIN + PADDING, y + 29.0, row.behind_lines)
    canvas.lines(MARGIN + PADDING, y, row.mark_lines if row.is_marked("behind") else (), bold=True)
    _outline(canvas, plan, row)


def _line_from_end(canvas: Canvas, row: Row, edge: float) -> None:
    behind, y = row.behind, row.y
    if behind.end == "ground":
        draw_ground(canvas, _END, y, sideways=True)
    else:
        draw_rail(canvas, _END, y)
        canvas.text(_END - 12.0, y - 14.0, behind.feed)
    if not behind.symbol:
        canvas.line((_END, y, edge, y))
        return
    canvas.line((_END, y, _SYMBOL, y))
    draw_symbol(canvas, behind.symbol, _SYMBOL, y)
    canvas.line((_SYMBOL + LENGTH, y, edge, y))


def _outline(canvas: Canvas, plan: CircuitPlan, row: Row) -> None:
    """The control unit around the rows inside it, with its name where it begins."""
    rows, place = plan.rows, plan.rows.index(row)
    if not row.behind.inside:
        return
    is_first = place == 0 or not rows[place - 1].behind.inside
    if not is_first:
        return
    last = place
    while last + 1 < len(rows) and rows[last + 1].behind.inside:
        last += 1
    top, bottom = row.y - row.above, rows[last].y + rows[last].below
    canvas.rect((MARGIN, top + 1.0, UNIT_WIDTH, bottom - top - 2.0), radius=6.0)
    canvas.text(MARGIN + UNIT_WIDTH - PADDING, top + 15.0, "control unit", size=SIZE, anchor="end")
