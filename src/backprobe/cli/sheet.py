"""The sheet of readings: a row a terminal with its wire colour, a column a round with its state.

Marks, so that nothing rests on colour or type style alone: a void round has its values in brackets
and VOID in its head, a reading to blame carries an exclamation mark, the cell to measure next says
so. Volts below one are shown in millivolts as well.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.job import Indication, Job, Round
from backprobe.services.answer import NextReading
from backprobe.services.words import measured
from backprobe.vocabulary import BATTERY_NEGATIVE, SCAN_UNITS

NARROWEST_COLUMN: Final = 11
WIDEST_COLUMN: Final = 20
ONE_LINE_MILLIVOLTS: Final = 18
LEAD_CHECK: Final = "lead check"
NEXT_MARK: Final = "<< next"
BLAME_MARK: Final = " !"
SAME_SPEED_RPM: Final = 300.0

# Job-file key, words before the value, unit. The order is the order in a cell.
_CELL_QUANTITIES: Final = (
    ("volts", "", "V"),
    ("volts_high", "high ", "V"),
    ("volts_low", "low ", "V"),
    ("level_high", "high level ", "V"),
    ("level_low", "low level ", "V"),
    ("volts_ac", "AC ", "V"),
    ("volts_loaded", "load ", "V"),
    ("hertz", "", "Hz"),
    ("duty_percent", "duty ", "%"),
    ("harness_ohms", "wire ", "ohm"),
)


def sheet(
    job: Job,
    width: int,
    *,
    to_blame: Iterable[str] = (),
    wanted: NextReading | None = None,
) -> RenderableType:
    """Lay out the rounds side by side, in blocks where they do not fit, with notes below."""
    if not job.rounds:
        return Text("No readings yet.")
    blamed = frozenset(to_blame)
    parts: list[RenderableType] = []
    label_width = max(len(label) for label in _labels(job))
    per_block = max(1, (width - label_width - 4) // (NARROWEST_COLUMN + 3))
    for start in range(0, len(job.rounds), per_block):
        rounds = job.rounds[start : start + per_block]
        room = (width - label_width - 4) // len(rounds) - 3
        parts.append(_block(job, rounds, min(room, WIDEST_COLUMN), blamed, wanted))
    parts += [Text(line, overflow="fold") for line in _notes(job)]
    return Group(*parts)


def shown_indication(indication: Indication, unit: str) -> str:
    """Show what was written, the unit added where it was left out; over range as "OL"."""
    if indication.over_range or math.isinf(indication.value):
        return "OL"
    written = indication.written.strip()
    if not written:
        return f"{indication.value:g} {unit}"
    # "5.00" needs its unit; "12 mV", "40 %" and "4k7" have theirs.
    return written if re.search(r"[^\W\d_]|%", written) else f"{written} {unit}"


def in_millivolts(indication: Indication) -> str:
    """Give a voltage below one volt in millivolts, unless it was written so or is zero."""
    value = indication.value
    if not 0.0 < abs(value) < 1.0 or "m" in indication.written.lower():
        return ""
    return measured(value, "V")


def _labels(job: Job) -> list[str]:
    terminals = [f"{each.pin} {each.colour}".strip() for each in job.connector.terminals]
    pairs = [_pair_label(*pair) for each in job.rounds for pair in each.sensor_ohms]
    return [LEAD_CHECK, *terminals, *pairs]


def _pair_label(first: str, second: str) -> str:
    return f"sensor {first}-{second}"


def _block(
    job: Job,
    rounds: tuple[Round, ...],
    column_width: int,
    blamed: frozenset[str],
    wanted: NextReading | None,
) -> Table:
    rows = [
        (
            f"{terminal.pin} {terminal.colour}".strip(),
            [_terminal_cell(each, terminal.pin, column_width, blamed, wanted) for each in rounds],
        )
        for terminal in job.connector.terminals
    ]
    rows += _further_rows(rounds, column_width, blamed)
    heads = [_head(each) for each in rounds]
    tallest = max(len(head) for head in heads)
    table = Table(box=box.SQUARE)
    table.add_column("", no_wrap=True, style="bold")
    for each, head in zip(rounds, heads, strict=True):
        # The library sets short heads low; blank lines below keep all round names on one line.
        lines = head + [""] * (tallest - len(head))
        text = Text("\n".join(lines), style="strike" if each.void else "bold")
        table.add_column(text, max_width=column_width, overflow="fold")
    for number, (label, cells) in enumerate(rows):
        texts = [_cell(each, cell) for each, cell in zip(rounds, cells, strict=True)]
        table.add_row(label, *texts, end_section=_ends_section(rows, number, job))
    return table


def _ends_section(rows: list[tuple[str, list[list[str]]]], number: int, job: Job) -> bool:
    """Rule a line around rows of several lines and below the last terminal; rows of one need none.

    Every terminal between lines of its own would make the sheet too tall for a small screen.
    """
    if number == len(rows) - 1:
        return False
    neighbours = rows[number : number + 2]
    tall = any(len(cell) > 1 for _, cells in neighbours for cell in cells)
    return tall or number == len(job.connector.terminals) - 1


def _head(each: Round) -> list[str]:
    lines = textwrap.wrap(f"{each.name} VOID" if each.void else each.name, NARROWEST_COLUMN)
    lines.append("plugged in" if each.plugged else "unplugged")
    if each.key == "run":
        lines.append(f"{each.rpm:.0f} rpm" if each.rpm else "running")
    else:
        lines.append({"off": "key off", "on": "key on", "crank": "cranking"}[each.key])
    if each.action:
        lines += textwrap.wrap(each.action, NARROWEST_COLUMN)
    return lines


def _cell(each: Round, lines: list[str]) -> Text:
    if each.void:
        return Text("\n".join(f"({line})" for line in lines), style="strike")
    text = Text("\n".join(lines))
    text.highlight_words([NEXT_MARK], "reverse")
    text.highlight_words([BLAME_MARK], "bold")
    return text


def _terminal_cell(
    each: Round, pin: str, width: int, blamed: frozenset[str], wanted: NextReading | None
) -> list[str]:
    lines: list[str] = []
    for quantity, before, unit in _CELL_QUANTITIES:
        indication = getattr(each, quantity).get(pin)
        if indication is not None:
            name = f"{each.name} {quantity} {pin}"
            lines += _lines(indication, before, unit, width, name in blamed)
        elif wanted is not None and _is_wanted(each, quantity, pin, wanted):
            lines.append(f"{before}{NEXT_MARK}")
    return lines


def _lines(
    indication: Indication, before: str, unit: str, width: int, is_blamed: bool
) -> list[str]:
    mark = BLAME_MARK if is_blamed else ""
    first = f"{before}{shown_indication(indication, unit)}"
    second = in_millivolts(indication) if unit == "V" else ""
    if not second:
        return [first + mark]
    if width >= ONE_LINE_MILLIVOLTS and len(first) + len(second) + 3 + len(mark) <= width:
        return [f"{first} = {second}{mark}"]
    return [first + mark, f"= {second}"]


def _is_wanted(each: Round, quantity: str, pin: str, wanted: NextReading) -> bool:
    """Whether the reading to take next belongs into this cell of a round that still counts."""
    return (
        not each.void
        and (quantity, pin) == (wanted.quantity, wanted.terminal)
        and (each.plugged, each.key, each.action) == (wanted.plugged, wanted.key, wanted.action)
        and abs(each.rpm - wanted.rpm) <= SAME_SPEED_RPM
        and not each.fitted
    )


def _further_rows(
    rounds: tuple[Round, ...], width: int, blamed: frozenset[str]
) -> list[tuple[str, list[list[str]]]]:
    """Rows that belong to no single terminal: the free sensor's ohms, battery, black lead."""

    def row(
        label: str, unit: str, name: str, get: Callable[[Round], Indication | None]
    ) -> tuple[str, list[list[str]]]:
        found = [get(each) for each in rounds]
        cells = [
            [] if one is None else _lines(one, "", unit, width, f"{each.name} {name}" in blamed)
            for each, one in zip(rounds, found, strict=True)
        ]
        return label, cells

    pairs = list(dict.fromkeys(pair for each in rounds for pair in each.sensor_ohms))
    rows = [
        row(_pair_label(a, b), "ohm", f"sensor_ohms {a}-{b}", _pair_reader((a, b)))
        for a, b in pairs
    ]
    rows.append(row("battery", "V", "battery_volts", lambda each: each.battery_volts))
    rows.append(row(LEAD_CHECK, "V", "black_lead_check", lambda each: each.black_lead_check))
    return [(label, cells) for label, cells in rows if any(cells)]


def _pair_reader(pair: tuple[str, str]) -> Callable[[Round], Indication | None]:
    return lambda each: each.sensor_ohms.get(pair)


def _notes(job: Job) -> list[str]:
    """Tell what does not fit into the columns, a line a round."""
    lines: list[str] = []
    for each in job.rounds:
        about = [
            f"void: {each.void}" if each.void else "",
            f"black lead on {each.black_lead}" if each.black_lead != BATTERY_NEGATIVE else "",
            f"loaded with {measured(each.load_ohms, 'ohm')}" if each.volts_loaded else "",
            *(
                f"{measured(one.ohms, 'ohm')} fitted from {one.start} to {one.end}"
                for one in each.fitted
            ),
            ""
            if each.ambient_celsius is None
            else f"sensing element at {measured(each.ambient_celsius, 'celsius')}",
            _scan_words(each.scan),
            f"note: {each.note}" if each.note else "",
        ]
        told = [part for part in about if part]
        if told:
            lines.append(f"{each.name}: {'; '.join(told)}")
    return lines


def _scan_words(scan: Mapping[str, Indication]) -> str:
    values = [
        f"{name} {measured(indication.value, SCAN_UNITS.get(name, ''))}"
        for name, indication in scan.items()
    ]
    return f"control unit reports {', '.join(values)}" if values else ""
