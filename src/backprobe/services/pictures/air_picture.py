"""The sensor's air beside the band that the engine can take, over engine speed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from backprobe.services.air_check import AirRow
from backprobe.services.pictures.canvas import FAULT, Canvas

_WIDTH, _EDGE = 400.0, 10.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 388.0, 70.0, 330.0
_LARGE, _PLAIN = 17.0, 15.0
_BAND: Final = 22.0
_LEAST_APART: Final = 26.0  # between the middles of two bands
# Where a scale of flows may begin and end, g/s.
_MARKS: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


def air_picture(rows: Sequence[AirRow], *, ink: str = "currentColor", paper: str = "none") -> str:
    """Draw each point: its band as a box with the median across, the sensor as a sign.

    A full dot lies inside the band; outside it is a triangle that points the way it lies, filled
    and larger, so that nothing hangs on colour. Points keep their order of speed; where two are too
    near to be told apart they are moved a little.
    """
    canvas = Canvas(ink, paper)
    ordered = sorted(rows, key=lambda row: (row.speed, row.pressure))
    title = "Air: sensor and calculation"
    canvas.text(_EDGE, 26.0, title, size=_LARGE, bold=True)
    canvas.text(_EDGE, 50.0, "g/s", size=_PLAIN, bold=True)
    low, high = _scale(ordered)
    _draw_scale(canvas, low, high)
    for row, x in zip(ordered, _places(ordered), strict=True):
        _draw_point(canvas, row, x, (low, high))
    _draw_speeds(canvas, ordered)
    end = _draw_legend(canvas, _BOTTOM + 62.0, any(not math.isnan(r.flow) for r in ordered))
    return canvas.finish(_WIDTH, end, title, " ".join(_words(row) for row in ordered))


def _scale(rows: Sequence[AirRow]) -> tuple[float, float]:
    """Ends of the scale: marks that hold all bands and flows."""
    values = [v for r in rows for v in (r.low, r.high, r.flow) if not math.isnan(v) and v > 0.0]
    least, most = min(values), max(values)
    low = max((mark for mark in _MARKS if mark <= 0.95 * least), default=_MARKS[0])
    high = min((mark for mark in _MARKS if mark >= 1.05 * most), default=_MARKS[-1])
    return low, high if high > low else low * 10.0


def _height(value: float, ends: tuple[float, float]) -> float:
    share = math.log(max(value, 1e-3) / ends[0]) / math.log(ends[1] / ends[0])
    return _BOTTOM - min(max(share, -0.03), 1.03) * (_BOTTOM - _TOP)


def _draw_scale(canvas: Canvas, low: float, high: float) -> None:
    canvas.line((_LEFT, _TOP, _LEFT, _BOTTOM, _RIGHT, _BOTTOM), width=2.0)
    for mark in _MARKS:
        if low <= mark <= high:
            y = _height(mark, (low, high))
            canvas.line((_LEFT, y, _RIGHT, y), width=1.0, opacity=0.3)
            canvas.text(_LEFT - 6.0, y + 5.0, f"{mark:g}", size=_PLAIN, anchor="end")


def _places(rows: Sequence[AirRow]) -> list[float]:
    """Middle of each point on the page: by speed, kept apart."""
    start, end = _LEFT + 24.0, _RIGHT - 24.0
    speeds = [row.speed for row in rows]
    span = max(speeds) - min(speeds)
    apart = min(_LEAST_APART, (end - start) / max(len(rows) - 1, 1))
    if span == 0.0:
        middle = (start + end) / 2.0 - apart * (len(rows) - 1) / 2.0
        return [middle + apart * i for i in range(len(rows))]
    places = [start + (speed - min(speeds)) / span * (end - start) for speed in speeds]
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + apart)
    places[-1] = min(places[-1], end)
    for i in range(len(places) - 2, -1, -1):
        places[i] = min(places[i], places[i + 1] - apart)
    return places


def _draw_point(canvas: Canvas, row: AirRow, x: float, ends: tuple[float, float]) -> None:
    top, bottom = _height(row.high, ends), _height(row.low, ends)
    wide = min(_BAND, _LEAST_APART - 4.0)
    box = (x - wide / 2.0, top, wide, bottom - top)
    canvas.rect(box, fill=canvas.ink, width=0.0, opacity=0.18)
    canvas.rect(box, width=1.5, dash="4 3")
    middle = _height(row.calculated, ends)
    canvas.line((x - wide / 2.0, middle, x + wide / 2.0, middle), width=2.0)
    if math.isnan(row.flow):
        return
    y = _height(row.flow, ends)
    if row.side == "inside":
        canvas.circle((x, y), 6.0, fill=canvas.ink)
        return
    _draw_triangle(canvas, x, y, -1.0 if row.side == "above" else 1.0)


def _draw_triangle(canvas: Canvas, x: float, y: float, down: float) -> None:
    """A sign for what lies outside of its band, pointing away from it."""
    tip, base = y + 9.0 * down, y - 7.0 * down
    data = f"M{x - 9.0:.1f} {base:.1f}L{x + 9.0:.1f} {base:.1f}L{x:.1f} {tip:.1f}z"
    canvas.path(data, stroke=FAULT, width=2.0, fill=FAULT)


def _draw_speeds(canvas: Canvas, rows: Sequence[AirRow]) -> None:
    """Engine speeds below; where they would touch only the first of neighbours is written."""
    last = -1e9
    for row, x in zip(rows, _places(rows), strict=True):
        canvas.line((x, _BOTTOM, x, _BOTTOM + 5.0))
        if x - last >= 46.0:
            canvas.text(x, _BOTTOM + 22.0, f"{row.speed:.0f}", size=_PLAIN, anchor="middle")
            last = x
    canvas.text(_RIGHT, _BOTTOM + 41.0, "engine speed, rpm", size=_PLAIN, anchor="end")


def _draw_legend(canvas: Canvas, y: float, has_flow: bool) -> float:
    lines = [("band", "what nine engines in ten take; line: median")]
    if has_flow:
        lines += [("dot", "sensor, inside the band"), ("triangle", "sensor, outside of it")]
    for kind, words in lines:
        x = _EDGE + 14.0
        if kind == "band":
            canvas.rect((x - 9.0, y - 12.0, 18.0, 16.0), width=1.5, dash="4 3")
            canvas.line((x - 9.0, y - 4.0, x + 9.0, y - 4.0), width=2.0)
        elif kind == "dot":
            canvas.circle((x, y - 4.0), 6.0, fill=canvas.ink)
        else:
            _draw_triangle(canvas, x, y - 5.0, 1.0)
        canvas.text(x + 20.0, y, words, size=_PLAIN)
        y += 24.0
    return y - 6.0


def _words(row: AirRow) -> str:
    said = (
        f"{row.speed:.0f} rpm, {row.pressure:.0f} kPa: calculated {row.calculated:.3g} g/s"
        f" ({row.low:.3g} to {row.high:.3g})"
    )
    if math.isnan(row.flow):
        return f"{said}."
    return f"{said}, sensor {row.flow:.3g} g/s, {row.side} the band."
