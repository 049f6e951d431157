"""The face of a connector: its cavities by number, with the wires' colours and jobs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from backprobe.job.model import Connector, Terminal
from backprobe.services.pictures.canvas import FAULT, LINE, SIZE, Canvas
from backprobe.services.pictures.text_fit import fit_text, text_width, wrap_text
from backprobe.services.pictures.wire_line import draw_wire, letters_text, words_text
from backprobe.services.words import role_words

WIDEST: Final = 340.0
_ONE_ROW: Final = 4  # cavities; more stand in two rows
_CELL: Final = 81.0
_EDGE: Final = 8.0
_PIN: Final = 18.0
_ARROW: Final = 30.0  # room above a row for the arrow to a wanted terminal
_HEAD: Final = 66.0  # of a cavity: pin, wire, letters
_WORD: Final = "here"


def connector_face(
    connector: Connector,
    roles: Mapping[str, str] | None = None,
    wanted: str = "",
    *,
    ink: str = "currentColor",
    paper: str = "none",
) -> str:
    """Draw a connector's cavities in the order in which they were entered.

    ``roles`` takes a pin to its wire's role; ``wanted`` is the pin to go to, ringed and pointed at.
    """
    canvas = Canvas(ink, paper)
    rows = _rows(connector.terminals)
    cell = min(_CELL, (WIDEST - 2 * _EDGE) / max(1, *(len(row) for row in rows)))
    jobs = {pin: _job_lines(role, cell) for pin, role in (roles or {}).items()}
    width = max(cell * max(1, *(len(row) for row in rows)) + 2 * _EDGE, 200.0)
    name = wrap_text(connector.name, width - 2 * _EDGE, SIZE + 1, bold=True, most=2)
    y = canvas.lines(_EDGE, 18.0, name, size=SIZE + 1, bold=True)
    canvas.text(_EDGE, y, "order as entered")
    top = y + 10.0
    y = top + _EDGE
    for row in rows:
        y += _ARROW if any(each.pin == wanted for each in row) else 0.0
        high = _HEAD + LINE * max([len(jobs.get(each.pin, ())) for each in row], default=0)
        x = (width - cell * len(row)) / 2
        for terminal in row:
            box = (x + 3.0, y, cell - 6.0, high)
            _cavity(canvas, terminal, box, jobs.get(terminal.pin, ()), terminal.pin == wanted)
            x += cell
        y += high + _EDGE
    canvas.rect((_EDGE / 2, top, width - _EDGE, y - top), radius=12.0, width=2.0)
    title = f"Connector {connector.name}, order as entered"
    return canvas.finish(width, y + 4.0, title, _description(connector, roles or {}, wanted))


def _rows(terminals: tuple[Terminal, ...]) -> list[tuple[Terminal, ...]]:
    if len(terminals) <= _ONE_ROW:
        return [terminals]
    upper = (len(terminals) + 1) // 2
    return [terminals[:upper], terminals[upper:]]


def _job_lines(role: str, cell: float) -> tuple[str, ...]:
    return wrap_text(role_words(role), cell - 10.0, SIZE, most=4)


def _cavity(
    canvas: Canvas,
    terminal: Terminal,
    box: tuple[float, float, float, float],
    lines: tuple[str, ...],
    is_wanted: bool,
) -> None:
    x, y, wide, _ = box
    middle = x + wide / 2
    canvas.rect(box, radius=6.0)
    if is_wanted:
        canvas.rect(box, radius=6.0, stroke=FAULT, width=5.0)
        _arrow(canvas, middle, y)
    pin = fit_text(terminal.pin, wide - 4.0, _PIN, bold=True)
    canvas.text(middle, y + 22.0, pin, size=_PIN, bold=True, anchor="middle")
    draw_wire(canvas, x + 14.0, x + wide - 14.0, y + 36.0, terminal.colour)
    letters = fit_text(letters_text(terminal.colour), wide - 4.0, SIZE)
    canvas.text(middle, y + 56.0, letters, anchor="middle")
    canvas.lines(middle, y + 59.0 + LINE, lines, anchor="middle")


def _arrow(canvas: Canvas, x: float, y: float) -> None:
    """An arrow down to a cavity, with a word beside it."""
    reach = (text_width(_WORD, SIZE + 1, bold=True) + 14.0) / 2
    canvas.text(x - reach, y - 11.0, _WORD, size=SIZE + 1, bold=True)
    tip = x + reach
    canvas.line((tip, y - 25.0, tip, y - 7.0), width=3.0)
    canvas.line((tip - 6.0, y - 13.0, tip, y - 7.0, tip + 6.0, y - 13.0), width=3.0)


def _description(connector: Connector, roles: Mapping[str, str], wanted: str) -> str:
    said = []
    for terminal in connector.terminals:
        colour = words_text(terminal.colour) or "colour not noted"
        job = f", {role_words(roles[terminal.pin])}" if terminal.pin in roles else ""
        here = "; go to this one" if terminal.pin == wanted else ""
        said.append(f"Terminal {terminal.pin}: {colour}{job}{here}.")
    return " ".join(said)
