"""Wires in their own colours.

The letters are those of IEC 60757, which gives no shades; the shades here are the project's own,
apart from each other on a bright and on a dark ground. The letters always stand beside them.
"""

from __future__ import annotations

from typing import Final

from backprobe.errors import ValueOutOfRange
from backprobe.services.pictures.canvas import Canvas
from backprobe.standards.wire_colour import colour_letters, colour_words

SHADES: Final[dict[str, str]] = {
    "BK": "#161616",
    "BN": "#7a4520",
    "RD": "#d22020",
    "OG": "#f08a1d",
    "YE": "#f6d836",
    "GN": "#2b8f3e",
    "BU": "#2563c9",
    "VT": "#8040a0",
    "GY": "#8b8f94",
    "WH": "#ffffff",
    "PK": "#f3a3bd",
    "GD": "#c79a1e",
    "TQ": "#2bb5ae",
    "SR": "#c6cbd0",
}
_PROTECTIVE: Final = ("GN", "YE")  # the one pair that is a colour of its own
_THICK, _EDGE, _STRIPE, _RING = 8.0, 1.0, 3.2, "4 12"


def letters_text(colour: str) -> str:
    """A wire's colour in letters, wire and stripe apart: "YE/BK"; what isn't one, as written."""
    known = _known(colour)
    return "/".join(known) if known else colour.strip()


def words_text(colour: str) -> str:
    """A wire's colour in words, or as it was written."""
    return colour_words(colour) if _known(colour) else colour.strip()


def draw_wire(canvas: Canvas, start: float, end: float, y: float, colour: str) -> None:
    """A level piece of wire: its own colour with an edge, its stripe along it, its rings across."""
    known = _known(colour)
    if end <= start:
        return
    if not known:
        canvas.line((start, y, end, y), width=3.0)
        return
    first, *more = _PROTECTIVE if known == ("GNYE",) else known
    canvas.path(_run(start, end, y), width=_THICK + 2 * _EDGE)
    canvas.path(_run(start, end, y), stroke=SHADES[first], width=_THICK)
    if known == ("GNYE",):
        canvas.path(_run(start, end, y), stroke=SHADES["YE"], width=_THICK / 2)
        return
    for letters, width, dash in zip(more, (_STRIPE, _THICK), ("", _RING), strict=False):
        canvas.path(_run(start, end, y), stroke=SHADES[letters], width=width, dash=dash)


def _run(start: float, end: float, y: float) -> str:
    return f"M{start:.1f} {y:.1f}H{end:.1f}"


def _known(colour: str) -> tuple[str, ...]:
    try:
        return colour_letters(colour)
    except ValueOutOfRange:
        return ()
