"""Readings before and after a repair, side by side, for the vehicle's owner."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from backprobe.job.model import Job, Round
from backprobe.services.answer import Answer
from backprobe.services.pictures.canvas import FAULT, Canvas
from backprobe.services.pictures.likeliest import DECIDED, Likeliest, likeliest_circuit
from backprobe.services.pictures.shown_readings import DOUBTED_BELOW, State, state_of
from backprobe.services.pictures.text_fit import wrap_text
from backprobe.services.pictures.usual_volts import Band, is_usual, usual_volts
from backprobe.services.pictures.wire_line import words_text
from backprobe.services.words import interval_words, measured, role_words, state_words

MOST_SHOWN: Final = 6
# What an owner would call a change: common practice, no source.
_LEAST_CHANGE_VOLT, _LEAST_CHANGE_SHARE = 0.1, 0.05
_WIDTH, _EDGE = 400.0, 10.0
_SCALE_START, _SCALE_END = 84.0, 300.0
_LARGE, _PLAIN, _SMALL = 17.0, 15.0, 13.0
_ROW, _BAR = 28.0, 18.0
_MARK_ROOM: Final = 48.0
_TOPS: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 6.0, 10.0, 16.0, 20.0, 30.0, 60.0, 100.0)


@dataclass(frozen=True, slots=True)
class Pair:
    """One terminal in one state, read before and after."""

    pin: str
    colour: str
    role: str
    state: str
    before: float
    after: float
    usual: Band | None
    usual_before: Band | None = None  # it moves with the battery

    @property
    def change(self) -> float:
        """How far it has moved, V."""
        return abs(self.after - self.before)

    @property
    def has_changed(self) -> bool:
        """Whether an owner would call it changed."""
        share = _LEAST_CHANGE_SHARE * max(abs(self.before), abs(self.after))
        return self.change > max(_LEAST_CHANGE_VOLT, share)

    @property
    def verdict(self) -> str:
        """What has become of it, in few words."""
        if self.usual is None:
            return "CHANGED" if self.has_changed else "as before"
        if not is_usual(self.after, self.usual):
            return "NOT AS USUAL"
        first = self.usual_before or self.usual
        return "as usual" if is_usual(self.before, first) else "NOW AS USUAL"

    @property
    def heading(self) -> str:
        """Which wire this is."""
        colour = words_text(self.colour)
        return f"Terminal {self.pin}{f', {colour} wire' if colour else ''}"

    @property
    def words(self) -> str:
        """The pair as one sentence."""
        usual = f"; usual is {interval_words(*self.usual, 'volt')}" if self.usual else ""
        return (
            f"{self.heading}, {self.state}: before {measured(self.before, 'volt')}, "
            f"after {measured(self.after, 'volt')}{usual}: {self.verdict.lower()}."
        )


def comparison_picture(
    before: Job,
    after: Job,
    answer_before: Answer | None = None,
    *,
    ink: str = "currentColor",
    paper: str = "none",
) -> str:
    """Draw the volts read in the same state before and after, the most changed first."""
    canvas = Canvas(ink, paper)
    pairs = most_changed(before, after, answer_before)
    title = f"{before.connector.name}: before and after"
    y = canvas.lines(
        _EDGE,
        26.0,
        wrap_text(title, _WIDTH - 2 * _EDGE, _LARGE, bold=True, most=3),
        size=_LARGE,
        bold=True,
    )
    for pair in pairs:
        y = _draw_pair(canvas, pair, y + 8.0)
    if not pairs:
        none = "Nothing was read in the same state before and after."
        lines = wrap_text(none, _WIDTH - 2 * _EDGE, _PLAIN)
        y = canvas.lines(_EDGE, y + 6.0, lines, size=_PLAIN)
        return canvas.finish(_WIDTH, y, title, none)
    return canvas.finish(_WIDTH, y + 4.0, title, " ".join(pair.words for pair in pairs))


def most_changed(before: Job, after: Job, answer_before: Answer | None) -> tuple[Pair, ...]:
    """The pairs that have moved most, at most six, the most moved first."""
    pairs = sorted(_pairs(before, after, answer_before), key=lambda pair: -pair.change)
    return tuple(pairs[:MOST_SHOWN])


def _pairs(before: Job, after: Job, answer: Answer | None) -> Iterator[Pair]:
    likeliest = likeliest_circuit(answer)
    trust = answer.measurement.rounds if answer is not None else {}
    sound = [r for r in before.rounds if trust.get(r.name, 1.0) >= DOUBTED_BELOW]
    roles = {
        t.pin: t.role for t in (answer.terminals if answer else ()) if t.probability >= DECIDED
    }
    for terminal in before.connector.terminals:
        first, second = (_latest(rounds, terminal.pin) for rounds in (sound, after.rounds))
        for state, taken in second.items():
            if state in first:
                role = roles.get(terminal.pin, "")
                yield _pair(likeliest, terminal.pin, terminal.colour, role, first[state], taken)


def _pair(
    likeliest: Likeliest, pin: str, colour: str, role: str, first: Round, second: Round
) -> Pair:
    state = state_words(
        plugged=second.plugged, key=second.key, rpm=second.rpm, action=second.action
    )
    return Pair(
        pin,
        colour,
        role_words(role) if role else "",
        f"sensor {state}",
        first.volts[pin].value,
        second.volts[pin].value,
        usual_volts(likeliest, pin, second) if role else None,
        usual_volts(likeliest, pin, first) if role else None,
    )


def _latest(rounds: tuple[Round, ...] | list[Round], pin: str) -> dict[State, Round]:
    """The latest round of each state in which volts were read at a pin; void ones don't count."""
    return {
        state_of(taken): taken
        for taken in rounds
        if not taken.void and pin in taken.volts and math.isfinite(taken.volts[pin].value)
    }


def _draw_pair(canvas: Canvas, pair: Pair, y: float) -> float:
    """One pair on a scale of its own; gives where the next one begins."""
    room = _WIDTH - 2 * _EDGE - 16.0
    start, x = y, _EDGE + 12.0
    heading = wrap_text(pair.heading, room, _LARGE, bold=True, most=2)
    about = f"{pair.role}; {pair.state}" if pair.role else pair.state
    y = canvas.lines(x, y + 16.0, heading, size=_LARGE, bold=True)
    y = canvas.lines(x, y, wrap_text(about, room, _PLAIN), size=_PLAIN)
    low, high = _scale(pair)
    span = (_SCALE_END - _SCALE_START) / (high - low)
    top = y - 6.0
    if pair.usual is not None:
        _draw_usual(canvas, pair.usual, top, (low, high), span)
    for number, (word, value) in enumerate((("before", pair.before), ("after", pair.after))):
        middle = top + _ROW * (number + 0.5)
        zero, end = (_SCALE_START + (v - low) * span for v in (0.0, value))
        bar = (min(zero, end), middle - _BAR / 2, max(abs(end - zero), 2.0), _BAR)
        canvas.rect(bar, width=2.0, fill=canvas.ink if number else "none")
        bold = bool(number) and pair.verdict.isupper()
        canvas.text(x, middle + 5.0, word, size=_PLAIN, bold=bold)
        said = measured(value, "volt")
        canvas.text(_WIDTH - _EDGE, middle + 6.0, said, size=_LARGE, bold=True, anchor="end")
    foot = top + 2 * _ROW + 4.0
    _draw_axis(canvas, foot, (low, high), span)
    y = foot + 40.0
    if pair.usual is not None:
        canvas.text(x, y, f"usual: {interval_words(*pair.usual, 'volt')}", size=_PLAIN)
    is_loud = pair.verdict.isupper()
    canvas.text(_WIDTH - _EDGE, y, pair.verdict, size=_PLAIN, bold=is_loud, anchor="end")
    canvas.line(
        (_EDGE, start + 2.0, _EDGE, y + 4.0),
        width=5.0 if is_loud else 1.0,
        stroke=FAULT if is_loud and pair.verdict.startswith("NOT") else "",
    )
    return y + 14.0


def _draw_axis(canvas: Canvas, y: float, ends: tuple[float, float], span: float) -> None:
    """The scale below a pair; an end that is too close to zero goes without its number."""
    canvas.line((_SCALE_START, y, _SCALE_END, y))
    for mark in sorted({ends[0], 0.0, ends[1]}):
        place = _SCALE_START + (mark - ends[0]) * span
        canvas.line((place, y, place, y + 5.0))
        if mark == 0.0 or abs(mark) * span > _MARK_ROOM:
            canvas.text(place, y + 19.0, f"{mark:g} V", size=_SMALL, anchor="middle")


def _draw_usual(
    canvas: Canvas, usual: Band, top: float, ends: tuple[float, float], span: float
) -> None:
    """The band in which a sound wire lies, behind the bars."""
    low, high = (min(max(each, ends[0]), ends[1]) for each in usual)
    box = (
        _SCALE_START + (low - ends[0]) * span,
        top - 2.0,
        max((high - low) * span, 3.0),
        2 * _ROW,
    )
    canvas.rect((box[0], box[1], box[2], box[3] + 4.0), fill=canvas.ink, width=1.0, opacity=0.22)
    canvas.rect((box[0], box[1], box[2], box[3] + 4.0), width=1.5, dash="4 3")


def _scale(pair: Pair) -> tuple[float, float]:
    """Lowest and highest volts of a pair's scale: zero is always on it."""
    values = [pair.before, pair.after, *(pair.usual or ())]
    high = next((top for top in _TOPS if top >= max(values)), math.ceil(max(values)))
    lowest = min(values)
    if lowest >= -0.02 * high:
        return 0.0, high
    return -next((top for top in _TOPS if top >= -lowest), math.ceil(-lowest)), high
