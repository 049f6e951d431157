"""A sensor's curve as a picture, with one reading marked on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from backprobe.core.engine.pull_up import volts_of
from backprobe.curves.curve_file import AnyCurve, OutputCurve, TemperatureCurve
from backprobe.services.pictures.canvas import FAULT, Canvas
from backprobe.services.pictures.text_fit import wrap_text
from backprobe.services.sensor_curves import Feed
from backprobe.services.words import measured

_WIDTH, _LEFT, _RIGHT = 340.0, 66.0, 326.0  # a phone shows it at its own size
_PLOT_HIGH: Final = 230.0
_LARGE, _PLAIN, _SMALL = 17.0, 14.0, 12.0
_N_POINT: Final = 80
_Marks = Sequence[tuple[float, str]]


def curve_picture(
    curve: AnyCurve,
    feed: Feed | None = None,
    marked: tuple[float, float] | None = None,
    *,
    ink: str = "currentColor",
    paper: str = "none",
) -> str:
    """Draw a curve.

    Parameters
    ----------
    curve : AnyCurve
        Ohms (or volts below a pull-up) over temperature; output over quantity.
    feed : Feed or None
        A pull-up: volts are drawn instead of ohms.
    marked : tuple of float or None
        A reading: degC and ohm, or quantity and output.
    """
    canvas = Canvas(ink, paper)
    y = canvas.lines(
        10.0,
        24.0,
        wrap_text(curve.title, _WIDTH - 20.0, _LARGE, bold=True, most=3),
        size=_LARGE,
        bold=True,
    )
    if isinstance(curve, TemperatureCurve):
        return _draw_temperature(canvas, curve, feed, marked, y)
    return _draw_output(canvas, curve, marked, y)


def _draw_temperature(
    canvas: Canvas,
    curve: TemperatureCurve,
    feed: Feed | None,
    marked: tuple[float, float] | None,
    y: float,
) -> str:
    low, high = curve.valid_degc
    x = np.linspace(low, high, _N_POINT)
    ohm = curve.law.ohm(x)
    marks_x = [(t, f"{t:g}") for t in _ticks(low, high)]
    if feed is not None:
        values = volts_of(ohm, feed.pull_up())
        ends, marks = (0.0, feed.supply), [(v, f"{v:g} V") for v in np.linspace(0, feed.supply, 6)]
        about = f"volts below a pull-up of {measured(feed.pull_up_ohm, 'ohm')}, over °C"
        at = None if marked is None else (marked[0], _volts(marked[1], feed))
    elif ohm.max() < 10.0 * ohm.min():
        values, at = ohm, marked
        marks = [(v, measured(v, "ohm")) for v in _ticks(0.0, float(ohm.max()))]
        ends, about = (0.0, float(ohm.max()) * 1.05), "ohm over °C"
    else:
        values = np.log10(ohm)
        ends = math.floor(float(values.min())), math.ceil(float(values.max()))
        marks = [(e, measured(10.0**e, "ohm")) for e in range(int(ends[0]), int(ends[1]) + 1)]
        about = "ohm (a step up is ten times) over °C"
        at = None if marked is None else (marked[0], math.log10(marked[1]))
    words = f"{curve.title}: " + "; ".join(
        f"{t:g} °C {measured(float(curve.law.ohm(np.array(t))), 'ohm')}" for t, _ in marks_x
    )
    return _plot(canvas, (x, values), ends, (marks_x, marks), at, y, (curve.title, about, words))


def _volts(ohm: float, feed: Feed) -> float:
    return float(volts_of(np.array(ohm), feed.pull_up()))


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers between two ends, four to six of them."""
    rough = (high - low) / 4.0
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * each for each in (1.0, 2.0, 5.0, 10.0) if size * each >= 0.75 * rough)
    first = math.ceil(low / step - 1e-9)
    return [step * each for each in range(first, math.floor(high / step + 1e-9) + 1)]


def _draw_output(
    canvas: Canvas, curve: OutputCurve, marked: tuple[float, float] | None, y: float
) -> str:
    table = curve.table
    outputs = np.linspace(table.output[0], table.output[-1], _N_POINT)
    x = table.quantity_at(outputs)
    marks_x = [
        (v, measured(v, curve.quantity_unit)) for v in _ticks(float(x.min()), float(x.max()))
    ]
    ends = (float(outputs[0]), float(outputs[-1]))
    marks = [(v, measured(v, curve.output_unit)) for v in _ticks(*ends)]
    about = f"{curve.output_unit} over {curve.quantity_unit}"
    words = f"{curve.title}: " + "; ".join(
        f"{measured(float(q), curve.quantity_unit)} {measured(float(o), curve.output_unit)}"
        for q, o in zip(table.quantity, table.output, strict=True)
    )
    told = (curve.title, about, words)
    return _plot(canvas, (x, outputs), ends, (marks_x, marks), marked, y, told)


def _plot(
    canvas: Canvas,
    line: tuple[np.ndarray, np.ndarray],
    ends: tuple[float, float],
    marks: tuple[_Marks, _Marks],
    at: tuple[float, float] | None,
    top: float,
    told: tuple[str, str, str],
) -> str:
    """Frame, marks, the curve, and the reading with lines to both axes."""
    title, about, words = told
    canvas.text(10.0, top + 2.0, about, size=_PLAIN)
    top += 18.0
    foot = top + _PLOT_HIGH
    low, high = float(line[0].min()), float(line[0].max())

    def place(x: float, y: float) -> tuple[float, float]:
        across = _LEFT + (x - low) / (high - low) * (_RIGHT - _LEFT)
        return across, foot - (y - ends[0]) / (ends[1] - ends[0]) * _PLOT_HIGH

    canvas.rect((_LEFT, top, _RIGHT - _LEFT, _PLOT_HIGH))
    for value, said in marks[1]:
        _, height = place(low, value)
        canvas.line((_LEFT, height, _RIGHT, height), width=1.0, opacity=0.3)
        canvas.text(_LEFT - 5.0, height + 4.0, said, size=_SMALL, anchor="end")
    for value, said in marks[0]:
        across, _ = place(value, ends[0])
        canvas.line((across, top, across, foot), width=1.0, opacity=0.3)
        canvas.text(
            min(max(across, 60.0), _WIDTH - 34.0), foot + 17.0, said, size=_SMALL, anchor="middle"
        )
    points = [place(float(x), float(y)) for x, y in zip(*line, strict=True)]
    canvas.line(tuple(value for point in points for value in point), width=2.5)
    if at is not None and low <= at[0] <= high and ends[0] <= at[1] <= ends[1]:
        across, height = place(*at)
        canvas.line(
            (_LEFT, height, across, height, across, foot), stroke=FAULT, width=2.0, dash="6 4"
        )
        canvas.circle((across, height), 6.0, stroke=FAULT, width=3.0)
    return canvas.finish(_WIDTH, foot + 30.0, title, words)
