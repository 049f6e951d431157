"""Draws the sensor: the leads from the connector, and the parts on them."""

from __future__ import annotations

from typing import Final

from backprobe.services.pictures.canvas import FAULT, LINE, Canvas
from backprobe.services.pictures.circuit_plan import MARGIN, CircuitPlan, Row
from backprobe.services.pictures.hanging import BOX, TRACK
from backprobe.services.pictures.sensor_plan import (
    EDGE,
    LABEL_X,
    SYMBOL_X,
    TAGS,
    WIPER_X,
    Placed,
    wiper_turn,
)
from backprobe.services.pictures.symbols import LENGTH, draw_ground, draw_symbol

_OPEN: Final = "5 4"  # dashes of what isn't decided
_BOX_OVER: Final = 16.0  # a box reaches over its outer wires
_LEAD: Final = 12.0  # from a wire down to a symbol
_TAGS: Final = {"supply-regulated": "+", "supply-battery": "+", "sensor-ground": "−", "": "?"}


def draw_sensor(canvas: Canvas, plan: CircuitPlan) -> None:
    """Draw the sensor with everything that hangs on the wires."""
    x, width = plan.sensor_start, plan.sensor.width
    dash = "" if plan.likeliest.is_decided else _OPEN
    canvas.rect((x, plan.top, width, plan.bottom - plan.top), radius=6.0, dash=dash)
    for number, row in enumerate(plan.rows):
        _lead(canvas, plan, number, row)
    for part in plan.sensor.parts:
        if part.symbol == BOX:
            _box(canvas, plan, part, dash)
        else:
            _upright(canvas, plan, part, dash)


def _line_x(plan: CircuitPlan, part: Placed) -> float:
    lane = plan.sensor_start + EDGE + part.lane * plan.sensor.lane_width
    return lane if part.symbol == BOX else lane + SYMBOL_X


def _lead(canvas: Canvas, plan: CircuitPlan, number: int, row: Row) -> None:
    """The line from a terminal to the farthest part on it; an open end where there is none."""
    ends = []
    for part in plan.sensor.parts:
        if number in part.touched:
            x = _line_x(plan, part)
            ends.append(wiper_turn(part, x) if number == part.wiper else x)
    start = plan.connector_start + plan.connector_width
    if ends:
        canvas.line((start, row.y, max(ends), row.y))
        return
    x = plan.sensor_start + 14.0
    canvas.line((start, row.y, x, row.y))
    canvas.circle((x + 3.5, row.y), 3.5)
    words = {"not-used": "nothing on it", "shield": "screen ends here"}.get(row.role, "not decided")
    canvas.text(x + 14.0, row.y + 4.5, words)


def _upright(canvas: Canvas, plan: CircuitPlan, part: Placed, dash: str) -> None:
    rows, x = plan.rows, _line_x(plan, part)
    top = rows[part.first].y
    foot = rows[part.last].y if len(part.rows) > 1 else top + _LEAD + LENGTH + 12.0
    begin = top + _LEAD
    canvas.line((x, top, x, begin))
    draw_symbol(canvas, _symbol(part), x, begin, upright=True, dash=dash)
    canvas.line((x, begin + LENGTH, x, foot), dash=dash)
    for row in part.rows:
        canvas.dot((x, rows[row].y))
    if part.to_body:
        draw_ground(canvas, x, foot)
    if part.wiper >= 0:
        _wiper(canvas, x, begin + LENGTH / 2, rows[part.wiper].y)
    if part.mark_lines:
        canvas.rect(
            (x - 13.0, begin - 5.0, 26.0, LENGTH + 10.0),
            radius=8.0,
            stroke=FAULT,
            width=2.5,
            dash="6 4",
        )
    y = canvas.lines(x + LABEL_X, top + 21.0, part.lines)
    canvas.lines(x + LABEL_X, y, part.mark_lines, bold=True)


def _symbol(part: Placed) -> str:
    return "resistor" if part.symbol == TRACK else part.symbol


def _wiper(canvas: Canvas, x: float, middle: float, y: float) -> None:
    """The wiper's arrow on a track, and its lead to its wire."""
    turn = x - WIPER_X
    canvas.line((turn, y, turn, middle, x - 7.0, middle))
    canvas.line((x - 11.0, middle - 4.0, x - 7.0, middle, x - 11.0, middle + 4.0))
    canvas.dot((turn, y))


def _box(canvas: Canvas, plan: CircuitPlan, part: Placed, dash: str) -> None:
    rows, x = plan.rows, _line_x(plan, part)
    top, bottom = rows[part.first].y - _BOX_OVER, rows[part.last].y + _BOX_OVER
    right = plan.width - MARGIN - EDGE
    canvas.rect((x, top, right - x, bottom - top), radius=4.0, dash=dash)
    for number in part.rows:
        row = rows[number]
        tag = _TAGS.get(row.role, "out" if row.role.startswith("signal") else "")
        canvas.text(x + 5.0, row.y + 4.5, tag)
    if part.mark_lines:
        canvas.rect(
            (x - 4.0, top - 4.0, right - x + 8.0, bottom - top + 8.0),
            radius=8.0,
            stroke=FAULT,
            width=2.5,
            dash="6 4",
        )
    y = (top + bottom - part.text_height) / 2 + LINE * 0.8
    y = canvas.lines(x + TAGS + 6.0, y, part.lines)
    canvas.lines(x + TAGS + 6.0, y, part.mark_lines, bold=True)
