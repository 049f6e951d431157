"""Symbols of circuit diagrams, drawn along a line to the right from a point.

Shapes after IEC 60617: resistor, fuse, thermistor, coil, cell, contact, motor, heater.
"""

from __future__ import annotations

from typing import Final

from backprobe.services.pictures.canvas import Canvas

LENGTH: Final = 36.0
_BODY: Final = f"M0 -6H{LENGTH:g}V6H0z"
_SLANT: Final = "M4 12H10L28 -12"
_PATHS: Final[dict[str, tuple[str, ...]]] = {
    "resistor": (_BODY,),
    "fuse": (_BODY, f"M0 0H{LENGTH:g}"),
    "thermistor": (_BODY, _SLANT),
    "heater": (_BODY, "M9 -6V6M18 -6V6M27 -6V6"),
    "coil": ("M0 0a4.5 4.5 0 0 1 9 0a4.5 4.5 0 0 1 9 0a4.5 4.5 0 0 1 9 0a4.5 4.5 0 0 1 9 0",),
    "cell": ("M0 0H15M15 -11V11M21 -5V5M21 0H36",),
    "contact": ("M0 0H8L27 -9M28 0H36",),
    "source": ("M0 0H36", "M9 0a9 9 0 0 1 18 0a9 9 0 0 1 -18 0z"),
    "motor": ("M0 0H6M30 0H36", "M6 0a12 12 0 0 1 24 0a12 12 0 0 1 -24 0z"),
    "bridge": ("M0 -9H36V9H0z", "M8 -3H28M24 -6L28 -3L24 0M28 4H8M12 1L8 4L12 7"),
    "input": ("M36 0H28M28 -9V9L8 0z",),
    "unknown": ("M9 0a9 9 0 0 1 18 0a9 9 0 0 1 -18 0z", "M27 0H36"),
}


def draw_symbol(
    canvas: Canvas, name: str, x: float, y: float, *, upright: bool = False, dash: str = ""
) -> None:
    """A symbol that begins at a point and goes right, or down where it stands upright."""
    with canvas.turned(x, y, 90.0 if upright else 0.0):
        for data in _PATHS[name]:
            canvas.path(data, dash=dash)
    middle = (x, y + LENGTH / 2) if upright else (x + LENGTH / 2, y)
    letter = {"motor": "M", "unknown": "?"}.get(name, "")
    if letter:
        canvas.text(middle[0], middle[1] + 4.5, letter, bold=True, anchor="middle")


def draw_ground(canvas: Canvas, x: float, y: float, *, sideways: bool = False) -> None:
    """Ground below a point, or to the left of it."""
    with canvas.turned(x, y, 90.0 if sideways else 0.0):
        canvas.path("M-9 0H9M-5.5 4H5.5M-2 8H2")


def draw_rail(canvas: Canvas, x: float, y: float) -> None:
    """The end of a supply: a bar across the line."""
    canvas.line((x, y - 9, x, y + 9), width=3.0)
