"""A sheet as found against the same sheet after the repair, cell by cell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from backprobe.job import Indication
from backprobe.quantities.unit import unit_named
from backprobe.services.words import measured, quantity_words, state_words
from backprobe.store.cells import SCAN, Cell, unit_of
from backprobe.store.record import Entry, RoundRecord, SheetRecord

# What an owner would call a change: common practice, no source. In volts also a tenth, since five
# per cent of millivolts are nothing.
LEAST_SHARE: Final = 0.05
LEAST_VOLTS: Final = 0.1


@dataclass(frozen=True, slots=True)
class Compared:
    """One cell, read before and after.

    before, after : as they were written; empty where nothing stands there.
    change : "changed", "as before", or what is missing.
    """

    round: str
    state: str
    cell: str
    before: str
    after: str
    change: str

    @property
    def has_changed(self) -> bool:
        """Whether the two differ by more than readings of one state do."""
        return self.change == "changed"


def indication_words(indication: Indication, cell: Cell) -> str:
    """An indication as it was written, or with its unit where only a number was."""
    unit = unit_of(*cell)
    if not indication.written:
        return measured(indication.value, unit)
    is_bare = not any(sign.isalpha() or sign == "%" for sign in indication.written)
    return f"{indication.written} {unit_named(unit).symbol}" if is_bare else indication.written


def cell_words(cell: Cell) -> str:
    """A cell in words: "volts at 2"."""
    quantity, place = cell
    if not place:
        return quantity_words(quantity)
    return f"{quantity_words(quantity)}{' ' if quantity == SCAN else ' at '}{place}"


def compare_sheets(found: SheetRecord, repaired: SheetRecord) -> tuple[Compared, ...]:
    """Every cell that was read as found, with what was read there after the repair."""
    return tuple(_cells(found, repaired))


def _cells(found: SheetRecord, repaired: SheetRecord) -> Iterator[Compared]:
    again = {each.repeats: each for each in repaired.rounds if each.repeats and not each.round.void}
    for before in found.rounds:
        after = again.get(before.key)
        if after is None or before.round.void:
            continue
        state = state_words(
            plugged=before.round.plugged,
            key=before.round.key,
            rpm=before.round.rpm,
            action=before.round.action,
        )
        second = _standing(after)
        for cell, first in _standing(before).items():
            yield _compared(before.round.name, state, cell, first, second.get(cell))


def _standing(each: RoundRecord) -> dict[Cell, Indication]:
    """What stands in each cell; the last of entries that stand side by side."""
    kept: dict[Cell, Entry] = {(e.quantity, e.place): e for e in each.entries if e.stands}
    return {cell: e.indication for cell, e in kept.items() if e.indication is not None}


def _compared(
    name: str, state: str, cell: Cell, first: Indication, second: Indication | None
) -> Compared:
    words = cell_words(cell)
    before = indication_words(first, cell)
    if second is None:
        return Compared(name, state, words, before, "", "not read yet")
    change = "changed" if _differs(first, second, unit_of(*cell)) else "as before"
    return Compared(name, state, words, before, indication_words(second, cell), change)


def _differs(first: Indication, second: Indication, unit: str) -> bool:
    if first.over_range or second.over_range:
        return first.over_range != second.over_range
    least = LEAST_SHARE * max(abs(first.value), abs(second.value))
    return abs(first.value - second.value) > max(least, LEAST_VOLTS if unit == "volt" else 0.0)
