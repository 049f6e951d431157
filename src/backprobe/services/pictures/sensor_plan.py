"""Where the sensor's parts stand beside the wires: symbols in lanes, a box behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.services.answer import Answer
from backprobe.services.pictures.canvas import LINE, SIZE
from backprobe.services.pictures.fault_mark import FaultMark, estimate_of, estimate_words
from backprobe.services.pictures.hanging import BOX, TRACK, Part, joined_boxes, parts_of
from backprobe.services.pictures.likeliest import Likeliest
from backprobe.services.pictures.text_fit import wrap_text

LANE: Final = 112.0
NARROW_LANE: Final = 88.0  # where three lanes and more stand side by side
SYMBOL_X: Final = 20.0  # from a lane's left edge to a symbol's line
WIPER_X: Final = 16.0  # from a symbol's line back to its wiper's lead
LABEL_X: Final = 18.0  # from a symbol's line on to its label
TAGS: Final = 26.0  # room for "out" inside a box
BOX_ROOM: Final = TAGS + 12.0  # what a box has beside its label
UPRIGHT: Final = 62.0  # below a wire: lead, symbol, lead
TO_BODY: Final = 92.0  # the same with a ground below it
EDGE: Final = 10.0
_TOTAL_LEAST: Final = 184.0
UNKNOWN_WORDS: Final = "sensor: its inside is not known"


@dataclass(frozen=True, slots=True)
class Placed:
    """A part in its lane; ``rows`` are the wires that it hangs on, ``wiper`` -1 for none."""

    symbol: str
    lines: tuple[str, ...]
    mark_lines: tuple[str, ...]
    lane: int
    rows: tuple[int, ...]
    wiper: int = -1
    to_body: bool = False

    @property
    def first(self) -> int:
        """Uppermost wire that it hangs on."""
        return min(self.rows)

    @property
    def last(self) -> int:
        """Lowest wire that it hangs on."""
        return max(self.rows)

    @property
    def touched(self) -> tuple[int, ...]:
        """All wires that it hangs on, the wiper's as well."""
        return self.rows if self.wiper < 0 else (*self.rows, self.wiper)

    @property
    def text_height(self) -> float:
        """Height of its label."""
        return LINE * (len(self.lines) + len(self.mark_lines))

    @property
    def height_needed(self) -> float:
        """How far apart a box needs its first and last wire, for its label."""
        return self.text_height - 20.0 if self.symbol == BOX else 0.0


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """The sensor's parts, and how wide it is."""

    parts: tuple[Placed, ...]
    lane_width: float
    lanes: int
    pins: tuple[str, ...]

    @property
    def width(self) -> float:
        """Width of the sensor."""
        return max(_TOTAL_LEAST, self.lanes * self.lane_width + 2 * EDGE)

    def below(self, pin: str) -> float:
        """Room that the parts which begin at a wire need below it."""
        row = self.pins.index(pin)
        starting = [part for part in self.parts if part.symbol != BOX and part.first == row]
        alone = [part for part in self.parts if part.symbol == BOX and part.last == row]
        needed = [max(TO_BODY if p.to_body else UPRIGHT, p.text_height + 18.0) for p in starting]
        return max([*needed, *(28.0 for _ in alone)], default=0.0)


def plan_sensor(
    likeliest: Likeliest,
    answer: Answer | None,
    rows: Sequence[tuple[str, str]],
    marks: Mapping[str, FaultMark],
) -> SensorPlan:
    """Place the parts of the likeliest circuit; a plain box where none is known.

    ``rows`` are pin and role of each wire, ``marks`` the faults to be marked by pin.
    """
    pins = tuple(pin for pin, _ in rows)
    family = likeliest.family
    # An answer may be older than the connector's terminals.
    if family is None or not set(likeliest.pins.values()) <= set(pins):
        return _plan_unknown(rows, marks)
    row_of = {wire: pins.index(pin) for wire, pin in likeliest.pins.items()}

    def overlap(one: Part, other: Part) -> bool:
        first, second = ([row_of[w] for w in part.wires] for part in (one, other))
        return min(first) <= max(second) and min(second) <= max(first)

    parts = joined_boxes(family, parts_of(likeliest), overlap)
    lanes, count = _lanes(parts, row_of)
    lane_width = max(LANE if count < 3 else NARROW_LANE, (_TOTAL_LEAST - 2 * EDGE) / count)
    placed = []
    for part, lane in zip(parts, lanes, strict=True):
        room = lane_width - (BOX_ROOM if part.symbol == BOX else SYMBOL_X + LABEL_X + 2.0)
        at = [pins[row_of[name]] for name in part.touched]
        lines = tuple(
            line for text in _texts(part, answer, at) for line in wrap_text(text, room, SIZE)
        )
        said = _mark_lines([marks[pin] for pin in at if pin in marks], room)
        ends = tuple(row_of[name] for name in part.wires)
        wiper = row_of[part.wiper] if part.wiper else -1
        placed.append(Placed(part.symbol, lines, said, lane, ends, wiper, part.to_body))
    return SensorPlan(tuple(placed), lane_width, count, pins)


def _plan_unknown(rows: Sequence[tuple[str, str]], marks: Mapping[str, FaultMark]) -> SensorPlan:
    """One box on every wire that may lead into it."""
    used = tuple(i for i, (_, role) in enumerate(rows) if role not in {"not-used", "shield"})
    room = _TOTAL_LEAST - 2 * EDGE - BOX_ROOM
    lines = wrap_text(UNKNOWN_WORDS, room, SIZE)
    box = Placed(BOX, lines, _mark_lines(list(marks.values()), room), 0, used)
    pins = tuple(pin for pin, _ in rows)
    return SensorPlan((box,) if used else (), _TOTAL_LEAST - 2 * EDGE, 1, pins)


def _texts(part: Part, answer: Answer | None, pins: Sequence[str]) -> list[str]:
    texts = [part.words]
    if part.symbol == "thermistor":
        for name in ("thermistor resistance", "thermistor temperature"):
            found = [estimate_of(answer, name, pin) for pin in pins]
            texts += [estimate_words(each) for each in found if each is not None]
    return texts


def _mark_lines(marks: Sequence[FaultMark], room: float) -> tuple[str, ...]:
    """The words of the first mark that sits in the sensor."""
    inside = [mark for mark in marks if mark.place == "sensor"][:1]
    return tuple(line for m in inside for line in wrap_text(m.words, room, SIZE, bold=True))


def _lanes(parts: Sequence[Part], row_of: Mapping[str, int]) -> tuple[list[int], int]:
    """A lane for each part: symbols in the first that is free there, boxes behind all of them."""
    taken: list[list[tuple[int, int]]] = []
    lane_of: dict[int, int] = {}
    spans = [_span(part, row_of) for part in parts]
    order = sorted(range(len(parts)), key=lambda i: (spans[i][1] - spans[i][0], spans[i]))
    for i in [i for i in order if parts[i].symbol != BOX]:
        lane = next((n for n, there in enumerate(taken) if _is_free(there, spans[i])), len(taken))
        if lane == len(taken):
            taken.append([])
        taken[lane].append(spans[i])
        lane_of[i] = lane
    boxes = [i for i in order if parts[i].symbol == BOX]
    lane_of.update({i: _box_lane(spans[i], taken) for i in boxes})
    lanes = [lane_of[i] for i in range(len(parts))]
    return lanes, max(lanes, default=0) + 1


def _box_lane(span: tuple[int, int], taken: list[list[tuple[int, int]]]) -> int:
    """Behind the last lane in which a symbol stands beside the box."""
    beside = [
        n for n, there in enumerate(taken) if any(a <= span[1] and span[0] <= b for a, b in there)
    ]
    return max(beside, default=-1) + 1


def _is_free(there: Sequence[tuple[int, int]], span: tuple[int, int]) -> bool:
    return all(b < span[0] or span[1] < a for a, b in there)


def _span(part: Part, row_of: Mapping[str, int]) -> tuple[int, int]:
    rows = [row_of[name] for name in part.touched]
    return min(rows), max(rows)


def wiper_turn(part: Placed, x: float) -> float:
    """Where a wiper's lead stands, beside the line of its track."""
    return x - WIPER_X if part.symbol == TRACK else x
