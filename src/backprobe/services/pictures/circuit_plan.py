"""Where everything of a circuit's picture goes: a wire a row, in the connector's own order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from backprobe.job.model import Job, Terminal
from backprobe.services.answer import Answer, TerminalAnswer
from backprobe.services.pictures.behind import UNKNOWN, Behind, behind_role, behind_wires
from backprobe.services.pictures.canvas import LINE, SIZE
from backprobe.services.pictures.fault_mark import (
    FaultMark,
    estimate_of,
    estimate_words,
    fault_marks,
)
from backprobe.services.pictures.likeliest import DECIDED, Likeliest, likeliest_circuit
from backprobe.services.pictures.sensor_plan import SensorPlan, plan_sensor
from backprobe.services.pictures.shown_readings import ShownReading, readings_beside
from backprobe.services.pictures.text_fit import text_width, wrap_text
from backprobe.services.pictures.wire_line import letters_text
from backprobe.services.words import percent, role_words

NARROWEST: Final = 640
MARGIN: Final = 8.0
UNIT_WIDTH: Final = 184.0
ROLE_SIZE: Final = 13.0
PADDING: Final = 8.0
UNIT_NAME: Final = 48.0
SHORT_DROP: Final = 46.0  # from a wire to the foot of what it touches


@dataclass(slots=True)
class Row:
    """One wire. ``above`` and ``below`` are what it needs on either side of its height ``y``."""

    terminal: Terminal
    role: str  # empty where it isn't decided
    role_lines: tuple[str, ...]
    behind: Behind
    mark: FaultMark | None
    readings: tuple[ShownReading, ...]
    behind_lines: tuple[str, ...] = ()
    mark_lines: tuple[str, ...] = ()
    reading_lines: tuple[tuple[tuple[str, ...], str], ...] = ()
    above: float = 0.0
    below: float = 0.0
    y: float = 0.0

    @property
    def pin(self) -> str:
        """The terminal's number or letter."""
        return self.terminal.pin

    def is_marked(self, place: str) -> bool:
        """Whether the fault is marked at this place of the wire."""
        return self.mark is not None and self.mark.place == place


@dataclass(slots=True)
class CircuitPlan:
    """The whole picture: levels across, rows down, the sensor's parts."""

    width: float
    likeliest: Likeliest
    rows: list[Row]
    sensor: SensorPlan
    wire_start: float = MARGIN + UNIT_WIDTH
    connector_width: float = 28.0
    top: float = 0.0
    bottom: float = 0.0

    @property
    def connector_start(self) -> float:
        """Left edge of the connector."""
        return self.sensor_start - PADDING - self.connector_width

    @property
    def sensor_start(self) -> float:
        """Left edge of the sensor."""
        return self.width - MARGIN - self.sensor.width

    @property
    def harness_width(self) -> float:
        """What wires and readings have between the control unit and the connector."""
        return self.connector_start - self.wire_start


def plan_circuit(job: Job, answer: Answer | None, width: float, top: float) -> CircuitPlan:
    """Lay out a job's circuit."""
    likeliest = likeliest_circuit(answer)
    marks = fault_marks(answer)
    rows = [_row(job, answer, likeliest, marks, each) for each in job.connector.terminals]
    sensor = plan_sensor(likeliest, answer, [(row.pin, row.role) for row in rows], marks)
    plan = CircuitPlan(max(width, NARROWEST), likeliest, rows, sensor)
    widest = max((text_width(row.pin, SIZE, bold=True) for row in rows), default=0.0)
    plan.connector_width = max(28.0, widest + 12.0)
    for row in rows:
        _measure(plan, row)
    for before, row in zip((None, *rows), rows, strict=False):
        if row.behind.inside and (before is None or not before.behind.inside):
            row.above = max(row.above, UNIT_NAME)  # the control unit begins here, with its name
    _stack(plan, top)
    for part in sensor.parts:
        lacking = part.height_needed - (rows[part.last].y - rows[part.first].y)
        rows[part.first].below += max(0.0, lacking)
        _stack(plan, top)
    return plan


def _row(
    job: Job,
    answer: Answer | None,
    likeliest: Likeliest,
    marks: dict[str, FaultMark],
    terminal: Terminal,
) -> Row:
    found = next((t for t in answer.terminals if t.pin == terminal.pin), None) if answer else None
    decided = found is not None and found.probability >= DECIDED
    role = found.role if found is not None and decided else ""
    behind = _behind(likeliest, terminal.pin, role) if role else UNKNOWN
    return Row(
        terminal,
        role,
        _role_texts(found, decided=decided),
        behind,
        marks.get(terminal.pin),
        readings_beside(job, answer, terminal.pin),
        behind_lines=_behind_texts(behind, answer, terminal.pin),
    )


def _behind(likeliest: Likeliest, pin: str, role: str) -> Behind:
    """By the family where it is decided, else by the role alone."""
    wires = likeliest.wires_at(pin)
    if likeliest.family is None or not likeliest.is_decided or not wires:
        return behind_role(role)
    return behind_wires(likeliest.family, wires)


def _behind_texts(behind: Behind, answer: Answer | None, pin: str) -> tuple[str, ...]:
    texts = [behind.words]
    pull_up = estimate_of(answer, "pull-up resistance", pin)
    if pull_up is not None and "pull-up" in behind.words:
        begin = "" if behind.end == "rail" else "if pull-up: "
        texts.append(begin + estimate_words(pull_up))
    return tuple(texts)


def _role_texts(found: TerminalAnswer | None, *, decided: bool) -> tuple[str, ...]:
    """The role, or the two likeliest ones with their shares."""
    if found is None:
        return ("?",)
    if decided:
        return (role_words(found.role),)
    falling = sorted(found.roles.items(), key=lambda item: (-item[1], item[0]))[:2]
    return tuple(
        f"{'?' if number == 0 else 'or'} {role_words(role)} {percent(share)}"
        for number, (role, share) in enumerate(falling)
    )


def _measure(plan: CircuitPlan, row: Row) -> None:
    """Break the row's texts into lines, and reckon how much room they need."""
    letters = text_width(letters_text(row.terminal.colour) or "colour not noted", SIZE)
    room = plan.harness_width - letters - 3 * PADDING
    row.role_lines = tuple(
        line for text in row.role_lines for line in wrap_text(text, room, ROLE_SIZE, bold=True)
    )
    room = UNIT_WIDTH - 2 * PADDING
    row.behind_lines = tuple(
        line for text in row.behind_lines for line in wrap_text(text, room, SIZE)
    )
    if row.mark is not None:
        row.mark_lines = _mark_lines(plan, row.mark)
    row.reading_lines = tuple(_reading_lines(plan, reading) for reading in row.readings)
    row.above = max(32.0, len(row.role_lines) * LINE * ROLE_SIZE / SIZE + 17.0)
    row.below = max(_unit_height(row), _harness_height(row), plan.sensor.below(row.pin), 30.0)


def _mark_lines(plan: CircuitPlan, mark: FaultMark) -> tuple[str, ...]:
    if mark.place == "behind":
        return wrap_text(mark.words, UNIT_WIDTH - 2 * PADDING, SIZE, bold=True)
    if mark.place == "sensor":
        return ()  # written beside the part
    room = plan.harness_width - (72.0 if mark.kind.startswith("short") else 2 * PADDING)
    return wrap_text(mark.words, room, SIZE, bold=True)


def _reading_lines(plan: CircuitPlan, reading: ShownReading) -> tuple[tuple[str, ...], str]:
    room = plan.harness_width - text_width(reading.value, ROLE_SIZE, bold=True) - 3 * PADDING
    return wrap_text(reading.source, room, SIZE, most=3), reading.value


def _unit_height(row: Row) -> float:
    lines = len(row.behind_lines) + (len(row.mark_lines) if row.is_marked("behind") else 0)
    return 16.0 + LINE * lines + PADDING


def _harness_height(row: Row) -> float:
    return (
        10.0 + mark_height(row) + LINE * sum(len(lines) for lines, _ in row.reading_lines) + PADDING
    )


def mark_height(row: Row) -> float:
    """Room that a fault in the wire needs between the wire and its readings."""
    if row.mark is None or row.mark.place != "wire":
        return 0.0
    words = LINE * len(row.mark_lines) + 6.0
    return max(words, SHORT_DROP) if row.mark.kind.startswith("short") else words


def _stack(plan: CircuitPlan, top: float) -> None:
    plan.top, y = top, top
    for row in plan.rows:
        row.y = y + row.above
        y = row.y + row.below
    plan.bottom = y
