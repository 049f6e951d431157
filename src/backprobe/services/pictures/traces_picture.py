"""Samples over time as a drawing: one strip a channel, lowest to highest of each column filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.services.findings.words import significant
from backprobe.services.kept_samples import Drawing, KeptSamples
from backprobe.services.words import unit_words
from backprobe.store.recording import Recording

Array = NDArray[np.float64]

BINS: Final = 600
_LEFT, _RIGHT, _TOP, _BELOW = 62.0, 10.0, 24.0, 34.0
_WIDTH, _BETWEEN = 720.0, 22.0
_HEIGHTS: Final = ((2, 170.0), (4, 120.0), (99, 84.0))  # of a strip, by how many there are


@dataclass(frozen=True, slots=True)
class Trace:
    """One line to be drawn.

    lowest, highest : ndarray, shape (n_bins,): NaN parts it.
    strip : number of the strip that it lies in; is_dashed : told from another in that strip.
    """

    name: str
    unit: str
    lowest: Array
    highest: Array
    strip: int
    is_dashed: bool = False


def traces_picture(found: Recording, kept: KeptSamples, *, ink: str = "currentColor") -> str:
    """A whole recording with its marks."""
    drawn = kept.drawing(found.told.start, max(found.end, kept.end), BINS)
    svg = traces_svg(
        drawn,
        [
            Trace(c.name, c.unit, low, high, i)
            for i, (c, low, high) in enumerate(
                zip(found.told.channels, drawn.lowest, drawn.highest, strict=True)
            )
        ],
        [(mark.start, mark.text) for mark in found.marks],
        f"{found.told.name}: samples over time",
    )
    return svg.replace("currentColor", ink)


def traces_svg(
    drawn: Drawing,
    traces: Sequence[Trace],
    marks: Sequence[tuple[float, str]] = (),
    title: str = "Samples over time",
) -> str:
    """Draw traces as a document of its own; black on nothing, so that it prints."""
    strips = sorted({trace.strip for trace in traces})
    tall = next(size for most, size in _HEIGHTS if len(strips) <= most or most == _HEIGHTS[-1][0])
    height = _TOP + len(strips) * (tall + _BETWEEN) - _BETWEEN + _BELOW
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {height:g}"'
            f' role="img" aria-label="{escape(title, quote=True)}" font-family="sans-serif"'
            ' font-size="12" color="currentColor" fill="currentColor">'
        )
    ]
    for place, strip in enumerate(strips):
        top = _TOP + place * (tall + _BETWEEN)
        own = [trace for trace in traces if trace.strip == strip]
        parts += _strip(own, top, tall)
    bottom = height - _BELOW
    parts += _time_axis(drawn.start, drawn.end, bottom)
    parts += _marks(marks, drawn, bottom)
    return "".join([*parts, "</svg>"])


def _strip(traces: Sequence[Trace], top: float, tall: float) -> list[str]:
    low, high = _range(traces)
    ticks = nice_ticks(low, high, 4 if tall > 100 else 2)
    scale = tall / (high - low)

    def y(value: Array | float) -> Array:
        return np.asarray(top + tall - (np.asarray(value) - low) * scale)

    right = _WIDTH - _RIGHT
    parts = [
        (
            f'<rect x="{_LEFT:g}" y="{top:g}" width="{right - _LEFT:g}" height="{tall:g}"'
            ' fill="none" stroke="currentColor"/>'
        )
    ]
    shown = f" {escape(unit_words(traces[0].unit))}" if traces[0].unit else ""
    for tick in ticks:
        at = float(y(tick))
        parts.append(
            f'<path d="M{_LEFT:g} {at:.1f}H{right:g}" stroke="currentColor" stroke-opacity=".25"/>'
            f'<text x="{_LEFT - 6:g}" y="{at + 4:.1f}" text-anchor="end">'
            f"{significant(tick, 4)}{shown if tick == ticks[-1] else ''}</text>"
        )
    names = ", ".join(
        f"{trace.name} (dashed)" if trace.is_dashed else trace.name for trace in traces
    )
    parts.append(
        f'<text x="{_LEFT + 4:g}" y="{top - 3:.1f}" font-weight="bold">{escape(names)}</text>'
    )
    parts += [_line(trace, y(trace.lowest), y(trace.highest)) for trace in traces]
    return parts


def _range(traces: Sequence[Trace]) -> tuple[float, float]:
    values = [x for t in traces for x in (t.lowest, t.highest) if np.isfinite(x).any()]
    if not values:
        return 0.0, 1.0
    low = min(float(np.nanmin(x)) for x in values)
    high = max(float(np.nanmax(x)) for x in values)
    margin = 0.06 * (high - low) or 0.5 * abs(high) or 1.0
    return low - margin, high + margin


def _line(trace: Trace, lowest: Array, highest: Array) -> str:
    """An area from lowest to highest, with an outline so that thin places are seen."""
    x = _LEFT + (np.arange(lowest.size) + 0.5) / lowest.size * (_WIDTH - _LEFT - _RIGHT)
    finite = np.isfinite(lowest)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], finite, [False]]).astype(np.int8)))
    path = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        there = [f"{x[i]:.1f} {highest[i]:.1f}" for i in range(first, last)]
        back = [
            f"{x[i]:.1f} {lowest[i]:.1f}"
            for i in range(last - 1, first - 1, -1)
            if lowest[i] != highest[i] or trace.is_dashed is False
        ]
        path.append(f"M{'L'.join(there)}" + ("" if trace.is_dashed else f"L{'L'.join(back)}Z"))
    dash = ' stroke-dasharray="6 4" fill="none"' if trace.is_dashed else ""
    return (
        f'<path d="{"".join(path)}" stroke="currentColor" stroke-width="1.2"'
        f' stroke-linejoin="round"{dash}/>'
    )


def _time_axis(start: float, end: float, bottom: float) -> list[str]:
    factor, unit = time_unit(end - start)
    parts = []
    for tick in nice_ticks(start * factor, end * factor, 7):
        x = _x(tick / factor, start, end)
        parts.append(
            f'<path d="M{x:.1f} {bottom:g}v5" stroke="currentColor"/>'
            f'<text x="{x:.1f}" y="{bottom + 18:g}" text-anchor="middle">'
            f"{significant(tick, 5)}</text>"
        )
    parts.append(
        f'<text x="{_WIDTH - _RIGHT:g}" y="{bottom + 32:g}" text-anchor="end">time, {unit}</text>'
    )
    return parts


def _marks(marks: Sequence[tuple[float, str]], drawn: Drawing, bottom: float) -> list[str]:
    parts = []
    for number, (at, text) in enumerate(marks, start=1):
        if not drawn.start <= at <= drawn.end:
            continue
        x = _x(at, drawn.start, drawn.end)
        parts.append(
            f'<g><title>{escape(text)}</title><path d="M{x:.1f} {_TOP:g}V{bottom:g}"'
            ' stroke="currentColor" stroke-dasharray="2 3"/>'
            f'<text x="{x + 4:.1f}" y="{_TOP + 13:g}" font-weight="bold">{number}</text></g>'
        )
    return parts


def _x(at: float, start: float, end: float) -> float:
    return _LEFT + (at - start) / (end - start) * (_WIDTH - _LEFT - _RIGHT)


def time_unit(span: float) -> tuple[float, str]:
    """What a span of time is best counted in: factor from seconds, and name."""
    for factor, unit in ((1.0, "s"), (1e3, "ms"), (1e6, "µs")):
        if span * factor >= 2.0:
            return factor, unit
    return 1e9, "ns"


def nice_ticks(low: float, high: float, wanted: int) -> list[float]:
    """Round numbers within a range: steps of 1, 2 or 5 times a power of ten."""
    raw = (high - low) / max(wanted, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = float(next(s for s in (1.0, 2.0, 5.0, 10.0) if s * power >= raw) * power)
    first = int(np.ceil(low / step - 1e-9))
    last = int(np.floor(high / step + 1e-9))
    return [round(i * step, 12) for i in range(first, last + 1)]
