"""The circuit as now understood, with the readings on it."""

from __future__ import annotations

from typing import Final

from backprobe.job.model import Job
from backprobe.services.answer import Answer
from backprobe.services.pictures.canvas import LINE, SIZE, Canvas
from backprobe.services.pictures.circuit_plan import (
    MARGIN,
    NARROWEST,
    PADDING,
    ROLE_SIZE,
    CircuitPlan,
    Row,
    mark_height,
    plan_circuit,
)
from backprobe.services.pictures.circuit_words import describe, heads, notes
from backprobe.services.pictures.draw_sensor import draw_sensor
from backprobe.services.pictures.draw_unit import draw_unit
from backprobe.services.pictures.draw_wire_fault import draw_faulty_wire
from backprobe.services.pictures.text_fit import fit_text, wrap_text
from backprobe.services.pictures.wire_line import draw_wire, letters_text

WIDTH: Final = 720
_TITLE: Final = 15.0


def circuit_picture(
    job: Job,
    answer: Answer | None,
    *,
    width: int = WIDTH,
    ink: str = "currentColor",
    paper: str = "none",
) -> str:
    """Draw a job's circuit as an answer understands it: control unit left, sensor right.

    A wire a row in the connector's own order, with its colour, what stands behind it and hangs on
    it, the latest readings of each state and the mark of the most probable fault. What isn't
    decided is shown as open. ``ink`` and ``paper`` are for places that know no current colour.
    """
    canvas = Canvas(ink, paper)
    room = max(width, NARROWEST) - 2 * MARGIN
    title, *under = heads(job, answer)
    titles = wrap_text(title, room, _TITLE, bold=True, most=3)
    lines = tuple(line for text in under for line in wrap_text(text, room, SIZE))
    y = canvas.lines(MARGIN, 20.0, titles, size=_TITLE, bold=True)
    y = canvas.lines(MARGIN, y, lines)
    plan = plan_circuit(job, answer, width, y + 14.0)
    _column_heads(canvas, plan, y + 4.0)
    for row in plan.rows:
        draw_unit(canvas, plan, row)
        _harness(canvas, plan, row)
    _connector(canvas, plan)
    draw_sensor(canvas, plan)
    y = plan.bottom + 22.0
    for number, note in enumerate(notes(job, answer, plan)):
        said = wrap_text(note, room, SIZE, bold=number == 0)
        y = canvas.lines(MARGIN, y, said, bold=number == 0) + 3.0
    description = describe(job, answer, plan)
    return canvas.finish(plan.width, y, title, description)


def _column_heads(canvas: Canvas, plan: CircuitPlan, y: float) -> None:
    middle = plan.wire_start + plan.harness_width / 2
    connector = plan.connector_start + plan.connector_width / 2
    canvas.text(MARGIN, y, "control unit and feeds")
    canvas.text(middle - 30.0, y, "harness", anchor="middle")
    canvas.text(min(connector, plan.sensor_start), y, "connector", anchor="middle")
    canvas.text(plan.width - MARGIN, y, "sensor", anchor="end")


def _harness(canvas: Canvas, plan: CircuitPlan, row: Row) -> None:
    start, end = plan.wire_start, plan.connector_start
    if row.mark is not None and row.mark.place == "wire":
        draw_faulty_wire(canvas, row, start, end)
    else:
        draw_wire(canvas, start, end, row.y, row.terminal.colour)
    y = row.y - 13.0 - (len(row.role_lines) - 1) * LINE * ROLE_SIZE / SIZE
    canvas.lines(start + PADDING, y, row.role_lines, size=ROLE_SIZE, bold=True)
    letters = letters_text(row.terminal.colour) or "colour not noted"
    letters = fit_text(letters, plan.harness_width / 2, SIZE)
    canvas.text(end - PADDING, row.y - 13.0, letters, anchor="end")
    y = row.y + 20.0 + mark_height(row)
    for lines, value in row.reading_lines:
        after = canvas.lines(start + PADDING, y, lines)
        canvas.text(end - PADDING, y, value, size=ROLE_SIZE, bold=True, anchor="end")
        y = after


def _connector(canvas: Canvas, plan: CircuitPlan) -> None:
    height = plan.bottom - plan.top
    x, wide = plan.connector_start, plan.connector_width
    canvas.rect((x, plan.top, wide, height), radius=6.0)
    for row in plan.rows:
        canvas.rect((x + 3.0, row.y - 11.0, wide - 6.0, 22.0), radius=11.0)
        canvas.text(x + wide / 2, row.y + 4.5, row.pin, bold=True, anchor="middle")
