"""Every round as it was taken, void ones too: state, black lead, readings, what was corrected."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Final

from backprobe.job import Indication, Round
from backprobe.report.blocks import (
    Block,
    Column,
    Group,
    Paragraph,
    Section,
    Span,
    Words,
    paragraph,
    points,
    said,
    table,
    words,
)
from backprobe.report.input import ReportInput
from backprobe.services.telling import capital
from backprobe.services.words import measured, quantity_words, state_words
from backprobe.store.cells import PAIRS, QUANTITIES, ROUND_READINGS, SCAN, unit_of
from backprobe.store.record import REPAIRED, Entry, RoundRecord, SheetRecord
from backprobe.vocabulary import ROLE_MEANING

_WIDE: Final = frozenset((*ROUND_READINGS, PAIRS, SCAN))
_SYMBOLS: Final = {"volt": "V", "ohm": "ohm", "hertz": "Hz", "percent": "%", "celsius": "degC"}
_NOTED: Final = "Struck through: an earlier entry. It was replaced, not erased."


def value_words(indication: Indication, unit: str) -> str:
    """What was shown as it was written, in millivolts as well where it is below one volt."""
    if indication.over_range or math.isinf(indication.value):
        return "OL"
    written = indication.written.strip()
    symbol = _SYMBOLS.get(unit, unit)
    if not written:
        return measured(indication.value, unit)
    # "5.00" needs its unit; "12 mV", "40 %" and "4k7" have theirs.
    shown = written if re.search(r"[^\W\d_]|%", written) else f"{written} {symbol}"
    if unit == "volt" and 0.0 < abs(indication.value) < 1.0 and "m" not in written.lower():
        return f"{shown} ({measured(indication.value, unit)})"
    return shown


def readings_sections(source: ReportInput) -> Iterator[Section]:
    """One section a sheet: its terminals, then its rounds."""
    for sheet in source.record.sheets:
        when = "repeated after the repair" if sheet.phase == REPAIRED else "as found"
        # A sheet that was repeated has the same connector.
        blocks: list[Block] = [] if sheet.repeats else [*_terminals(sheet)]
        blocks += [Group(_heading(r.round), (*_round(source, sheet, r),)) for r in sheet.rounds]
        if not sheet.rounds:
            blocks += paragraph("Nothing was read here.")
        yield Section(f"Readings at {sheet.connector.name}, {when}", tuple(blocks))


def _terminals(sheet: SheetRecord) -> tuple[Block, ...]:
    """Pins, colours and roles of a diagram; nothing where the rounds below tell all of it too."""
    terminals = sheet.connector.terminals
    read = {e.place for each in sheet.rounds for e in each.entries if e.quantity not in _WIDE}
    if all(t.pin in read and not t.diagram for t in terminals):
        return ()
    columns = [Column("Terminal", 0.6), Column("Wire colour"), Column("Diagram says", 2.0)]
    rows = [[words(t.pin, "bold"), words(t.colour), words(_diagram(t.diagram))] for t in terminals]
    return table(columns, rows)


def _diagram(role: str) -> str:
    return f"{role}: {ROLE_MEANING[role]}" if role in ROLE_MEANING else role


def _heading(each: Round) -> str:
    state = state_words(plugged=each.plugged, key=each.key, rpm=each.rpm, action=each.action)
    return f"Round {each.name}: {state}{' (VOID)' if each.void else ''}"


def _round(source: ReportInput, sheet: SheetRecord, record: RoundRecord) -> Iterator[Block]:
    each, notes = record.round, _Notes(source)
    if each.void:
        yield from paragraph(f"Void, not used in any conclusion: {each.void}", "warning")
    fitted = "; ".join(
        f"{measured(f.ohms, 'ohm')} between {f.start} and {f.end}" for f in each.fitted
    )
    warmth = each.ambient_celsius
    about: list[tuple[str, str | Words]] = [
        ("Black lead on", each.black_lead),
        *((quantity_words(q), _cell(record, (q, ""), notes)) for q in ROUND_READINGS),
        ("load", measured(each.load_ohms, "ohm") if each.volts_loaded else ""),
        ("fitted", fitted),
        ("around it", "" if warmth is None else measured(warmth, "celsius")),
        ("begun", source.instant(record.begun_at)),
    ]
    known = [said(f"{name} ", what) for name, what in about if what]
    joined = [said("; " if k else "", each) for k, each in enumerate(known)]
    yield Paragraph(said(*joined, "."))
    yield from paragraph(f"Note: {each.note}" if each.note else "")
    yield from _at_terminals(sheet, record, notes)
    yield from _elsewhere(record, notes)
    if not record.entries:
        yield from paragraph("Begun, and nothing was read.", "small")
    yield from notes.blocks()


def _at_terminals(sheet: SheetRecord, record: RoundRecord, notes: _Notes) -> tuple[Block, ...]:
    present = {entry.quantity for entry in record.entries}
    quantities = [q for q in QUANTITIES if q in present and q not in _WIDE]
    if not quantities:
        return ()
    columns = [Column("Terminal", 0.9), Column("Wire", 0.9)]
    columns += [Column(capital(quantity_words(q)), 1.4, "right") for q in quantities]
    rows = [
        [
            words(terminal.pin, "bold"),
            words(terminal.colour),
            *(_cell(record, (q, terminal.pin), notes) for q in quantities),
        ]
        for terminal in sheet.connector.terminals
        if any(record.cell(q, terminal.pin) for q in quantities)
    ]
    return table(columns, rows)


def _elsewhere(record: RoundRecord, notes: _Notes) -> tuple[Block, ...]:
    cells = dict.fromkeys(
        (e.quantity, e.place) for e in record.entries if e.quantity in (PAIRS, SCAN)
    )
    rows = [
        [words(_place_words(*cell)), _cell(record, cell, notes)]
        for cell in sorted(cells, key=lambda cell: cell[0] == SCAN)
    ]
    return table([Column("Reading", 3.4), Column("Shown", 1.2, "right")], rows)


def _place_words(quantity: str, place: str) -> str:
    if quantity == SCAN:
        return f"Reported by the control unit: {place}"
    return f"{capital(quantity_words(quantity))}, {place.replace('-', ' to ')}"


class _Notes:
    """Collects who corrected what and when while a round's cells are written."""

    def __init__(self, source: ReportInput) -> None:
        self._source = source
        self._lines: list[str] = []
        self._struck = False

    def add(self, line: str) -> Span:
        """Keep a line; gives the number that stands in the cell."""
        self._lines.append(f"{len(self._lines) + 1}  {line}")
        return Span(f" {len(self._lines)}", "note")

    def corrected(self, quantity: str, place: str, entry: Entry, by: Entry) -> Span:
        """Note a replaced entry and what replaced it."""
        self._struck = True
        where = f"{quantity_words(quantity)}{f' at {place}' if place else ''}"
        became = "taken back" if by.indication is None else f"replaced by {_shown(by)}"
        return self.add(
            f"{capital(where)}: {_shown(entry)}, entered {self._who(entry)}; "
            f"{became} {self._who(by)}."
        )

    def conflict(self, quantity: str, place: str, standing: list[Entry]) -> Span:
        """Note entries that stand beside one another."""
        entries = "; ".join(f"{_shown(e)}, {self._who(e)}" for e in standing)
        where = f"{quantity_words(quantity)}{f' at {place}' if place else ''}"
        return self.add(f"{capital(where)}: entries that disagree, none was chosen: {entries}.")

    def photographed(self, record: RoundRecord, cell: tuple[str, str]) -> list[Span]:
        """Tell the photographs of a reading by their numbers in their own section."""
        numbers = [
            str(number)
            for number, each in enumerate(self._source.record.attachments, start=1)
            if (each.round_key, each.quantity, each.place) == (record.key, *cell)
        ]
        return [Span(f" (photo {', '.join(numbers)})")] if numbers else []

    def _who(self, entry: Entry) -> str:
        by = f" by {entry.device}" if entry.device else ""
        return f"{self._source.instant(entry.entered_at)}{by}"

    def blocks(self) -> Iterator[Block]:
        """What was collected."""
        if self._lines:
            yield from paragraph("\n".join([_NOTED] * self._struck + self._lines), "small")


def _shown(entry: Entry) -> str:
    if entry.indication is None:
        return "taken back"
    return value_words(entry.indication, unit_of(entry.quantity, entry.place))


def _cell(record: RoundRecord, cell: tuple[str, str], notes: _Notes) -> Words:
    """What stands in a cell; earlier entries struck through before it, with a note each."""
    entries = record.cell(*cell)
    if not entries:
        return said(tuple(notes.photographed(record, cell)))
    pieces: list[Span] = []
    for entry in entries:
        if entry.stands or entry.indication is None:
            continue
        by = next((e for e in entries if entry.id in e.replaces), None)
        if by is not None:
            pieces += [Span(_shown(entry), "struck"), notes.corrected(*cell, entry, by), Span(" ")]
    standing = [e for e in entries if e.stands]
    in_conflict = any(set(standing) == set(each) for each in record.conflicts)
    pieces.append(Span(" / ".join(_shown(e) for e in standing)))
    if in_conflict:
        pieces.append(notes.conflict(*cell, standing))
    pieces += notes.photographed(record, cell)
    return said(tuple(pieces))


def not_had(sheet: SheetRecord) -> tuple[Block, ...]:
    """Readings that were proposed and couldn't be had."""
    items = []
    for each in sheet.set_aside:
        what = quantity_words(each.quantity) if each.quantity else "all readings"
        place = f" at {each.place}" if each.place else ""
        state = f", {each.state}" if each.state else ""
        items.append(f"{capital(what)}{place}{state}: {each.reason or 'could not be had'}.")
    return points(items)
