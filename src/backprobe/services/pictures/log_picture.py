"""A log as a picture: one strip a series, one time axis below all of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.recordings.log import Log, LogSeries
from backprobe.services.log_sampling import sampling_of
from backprobe.services.log_states import HeldState
from backprobe.services.pictures.canvas import Canvas, number

MOST_STRIPS: Final = 10
WIDTH: Final = 760.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 14.0, 14.0, 12.0, 40.0
_STRIP: Final = 92.0
_HEAD: Final = 20.0
_GAP_FACTOR: Final = 5.0
_ROUND_STEPS: Final = (1.0, 2.0, 5.0, 10.0)
_Place = Callable[[float], float]


def log_picture(log: Log, states: tuple[HeldState, ...] = (), *, paper: str = "#ffffff") -> str:
    """Draw a log as SVG: known quantities first, at most ten strips.

    Parameters
    ----------
    log : Log
        With at least one series.
    states : tuple of HeldState
        Marked behind the strips, with their names on top.
    paper : str
        Colour of the ground.
    """
    shown = sorted(log.series, key=lambda one: one.quantity == "")[:MOST_STRIPS]
    start = min(float(one.times[0]) for one in shown)
    end = max(float(one.times[-1]) for one in shown)
    if end <= start:
        end = start + 1.0
    canvas = Canvas(ink="#1b1b1b", paper=paper)
    height = _TOP + _HEAD + _STRIP * len(shown) + _BOTTOM

    def x_of(instant: float) -> float:
        return _LEFT + (instant - start) / (end - start) * (WIDTH - _LEFT - _RIGHT)

    _mark_states(canvas, states, x_of, height)
    for row, series in enumerate(shown):
        _strip(canvas, series, x_of, _TOP + _HEAD + row * _STRIP)
    _axis(canvas, start, end, x_of, height - _BOTTOM)
    left_out = len(log.series) - len(shown)
    names = ", ".join(one.quantity or one.name for one in shown)
    more = f" {left_out} more series are not drawn." if left_out else ""
    words = f"{names} from {start:g} s to {end:g} s.{more}"
    return canvas.finish(WIDTH, height, f"Log {log.source}".strip(), words)


def _mark_states(
    canvas: Canvas, states: tuple[HeldState, ...], x_of: _Place, height: float
) -> None:
    free_from = -math.inf
    for state in states:
        left, right = x_of(state.start), x_of(state.end)
        box = (left, _TOP + _HEAD - 4.0, max(right - left, 2.0), height - _TOP - _HEAD - _BOTTOM)
        canvas.rect(box, stroke="none", width=0.0, fill="#e8e4d8")
        if left > free_from:
            canvas.text(left, _TOP + 6.0, state.state)
            free_from = left + 7.0 * len(state.state)


def _strip(canvas: Canvas, series: LogSeries, x_of: _Place, top: float) -> None:
    low, high = float(series.values.min()), float(series.values.max())
    span = high - low or 1.0
    unit = series.unit.replace("deg", "°")
    label = series.quantity or series.name
    canvas.text(_LEFT, top + 11.0, f"{label}, {unit}" if unit else label, bold=True)
    canvas.text(WIDTH - _RIGHT, top + 11.0, f"{_short(low)} to {_short(high)}", anchor="end")
    base, room = top + _STRIP - 10.0, _STRIP - 30.0
    canvas.line((_LEFT, base, WIDTH - _RIGHT, base), width=0.5, opacity=0.5)

    def y_of(value: float) -> float:
        return base - (value - low) / span * room

    data = "".join(_pieces(series, x_of, y_of))
    canvas.path(data, width=1.3)


def _pieces(series: LogSeries, x_of: _Place, y_of: _Place) -> list[str]:
    """Path data, broken at gaps; of many values the lowest and highest in each half unit."""
    at = _thinned(series)
    times, values = series.times[at], series.values[at]
    usual = sampling_of(series).interval
    longest = _GAP_FACTOR * max(usual, float(np.median(np.diff(times))) if at.size > 1 else 0.0)
    pieces, before = [], -math.inf
    for instant, value in zip(times.tolist(), values.tolist(), strict=True):
        is_new = not instant - before <= longest
        pieces.append(f"{'M' if is_new else 'L'}{number(x_of(instant))} {number(y_of(value))}")
        before = instant
    if at.size == 1:
        pieces.append("h2")
    return pieces


def _thinned(series: LogSeries) -> NDArray[np.int64]:
    """Indices of the values to draw: all, or the extreme ones of each half unit of width."""
    n, n_bin = series.values.size, int(2 * WIDTH)
    if n <= 2 * n_bin:
        return np.arange(n, dtype=np.int64)
    edges = np.linspace(0, n, n_bin + 1).astype(np.int64)
    found: list[int] = []
    for first, last in pairwise(edges.tolist()):
        part = series.values[first:last]
        found += [first + int(part.argmin()), first + int(part.argmax())]
    return np.unique(np.array(found, dtype=np.int64))


def _axis(canvas: Canvas, start: float, end: float, x_of: _Place, y: float) -> None:
    canvas.line((_LEFT, y, WIDTH - _RIGHT, y))
    step = _round_step((end - start) / 8.0)
    first = math.ceil(start / step - 1e-9)
    for n in range(first, math.floor(end / step + 1e-9) + 1):
        x = x_of(n * step)
        canvas.line((x, y, x, y + 5.0))
        canvas.text(x, y + 18.0, f"{n * step:.6g}", anchor="middle")
    canvas.text(WIDTH / 2.0, y + 33.0, "time, s", anchor="middle")


def _round_step(least: float) -> float:
    decade = 10.0 ** math.floor(math.log10(least))
    return next(decade * step for step in _ROUND_STEPS if decade * step >= least * (1 - 1e-9))


def _short(value: float) -> str:
    return f"{value:.4g}"
