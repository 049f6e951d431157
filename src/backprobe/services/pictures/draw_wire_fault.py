"""Draws a wire with the fault that sits on it, at its place and in words."""

from __future__ import annotations

from typing import Final

from backprobe.services.pictures.canvas import FAULT, Canvas
from backprobe.services.pictures.circuit_plan import PADDING, Row
from backprobe.services.pictures.symbols import LENGTH, draw_ground, draw_symbol
from backprobe.services.pictures.wire_line import draw_wire

_PLACE: Final = 28.0  # from the control unit's side of the wire to the fault
_DROP: Final = 26.0
_SHORTS: Final = {
    "short-to-ground": "",
    "short-to-supply": "supply",
    "short-to-battery": "battery",
}


def draw_faulty_wire(canvas: Canvas, row: Row, start: float, end: float) -> None:
    """Draw the wire of a row, with its fault."""
    mark, y, colour = row.mark, row.y, row.terminal.colour
    if mark is None:
        return
    x, words = start + _PLACE, start + PADDING
    if mark.kind in _SHORTS:
        draw_wire(canvas, start, end, y, colour)
        _drop(canvas, x, y, _SHORTS[mark.kind])
        words = x + 34.0
    else:
        width = {"open": 30.0, "resistance": LENGTH, "swapped": 40.0}[mark.kind]
        draw_wire(canvas, start, x - 4.0, y, colour)
        draw_wire(canvas, x + width + 4.0, end, y, colour)
        {"open": _gap, "resistance": _resistor, "swapped": _crossing}[mark.kind](canvas, x, y)
    canvas.lines(words, y + 23.0, row.mark_lines, bold=True)


def _gap(canvas: Canvas, x: float, y: float) -> None:
    """Two ends that don't meet, and a cross between them."""
    canvas.line((x + 8.0, y - 7.0, x + 22.0, y + 7.0), stroke=FAULT, width=3.0)
    canvas.line((x + 8.0, y + 7.0, x + 22.0, y - 7.0), stroke=FAULT, width=3.0)


def _resistor(canvas: Canvas, x: float, y: float) -> None:
    draw_symbol(canvas, "resistor", x, y)
    canvas.rect((x - 5.0, y - 10.0, LENGTH + 10.0, 20.0), radius=6.0, stroke=FAULT, width=2.5)


def _crossing(canvas: Canvas, x: float, y: float) -> None:
    """An arrow up and one down across the wire: this one and another have changed places."""
    canvas.line((x - 4.0, y, x + 44.0, y), width=3.0)
    for left, way in ((x + 11.0, 1.0), (x + 29.0, -1.0)):
        head = y - way * 9.0
        canvas.line((left, y + way * 9.0, left, head), stroke=FAULT, width=2.5)
        canvas.line(
            (left - 5.0, head + way * 6.0, left, head, left + 5.0, head + way * 6.0),
            stroke=FAULT,
            width=2.5,
        )


def _drop(canvas: Canvas, x: float, y: float, feed: str) -> None:
    """A line from the wire down to what it touches."""
    canvas.circle((x, y), 6.5, stroke=FAULT, width=3.0)
    canvas.line((x, y + 6.5, x, y + _DROP), stroke=FAULT, width=3.0)
    if not feed:
        draw_ground(canvas, x, y + _DROP)
        return
    canvas.line((x - 10.0, y + _DROP, x + 10.0, y + _DROP), width=3.0)
    canvas.text(x - 20.0, y + _DROP + 15.0, feed)
