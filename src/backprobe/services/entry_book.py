"""The use cases of a reading: checked, appended under its key, taken back, undone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy.orm import Session

from backprobe.errors import ConflictError, ValueOutOfRange
from backprobe.job import Indication
from backprobe.services.checking import checked_place, checked_reading
from backprobe.store import entries
from backprobe.store.cells import Cell
from backprobe.store.engine import Store
from backprobe.store.events import round_row
from backprobe.store.loading import load_sheet
from backprobe.store.record import RoundRecord, SheetRecord
from backprobe.store.shared_writing import SharedWriting


@dataclass(frozen=True, slots=True)
class Entered:
    """What became of an entry."""

    entry: int
    indication: Indication | None
    is_new: bool
    sheet: str
    job: str


class EntryBook:
    """All readings of a store.

    Parameters
    ----------
    store : Store
        Where they are kept.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self._writing = SharedWriting(store)

    def enter(
        self,
        round_key: str,
        cell: Cell,
        written: str | Indication | None,
        *,
        entry_key: str = "",
        seen: Iterable[int] | None = None,
        device: str = "",
    ) -> Entered:
        """Write a reading into a cell, or (None) take back what stands there.

        Parameters
        ----------
        written : str, Indication or None
            As the meter showed it, with its unit; or one that was read before.
        entry_key : str
            Given by who enters it: sent twice, it is stored once.
        seen : iterable of int or None
            Entries that its author saw standing there, which it replaces; all that stand where
            left out. One that came in unseen stays beside it: a conflict that people decide.
        """
        wish = _Wish(
            round_key, cell, written, entry_key, None if seen is None else tuple(seen), device
        )
        return self._writing.write(lambda session: _entered(session, wish))

    def undo(self, round_key: str, entry: int, *, device: str = "", entry_key: str = "") -> Entered:
        """Put back what stood in a cell before an entry; nothing is erased by it."""
        with self.store.read() as session:
            _, record = round_of(session, round_key)
        found = next((e for e in record.entries if e.id == entry), None)
        if found is None:
            raise ValueOutOfRange("There is no such entry to undo.", remedy="Load the page again.")
        earlier = [e for e in record.entries if e.id in found.replaces]
        last = earlier[-1].indication if earlier else None
        cell = (found.quantity, found.place)
        return self.enter(round_key, cell, last, entry_key=entry_key, seen=[entry], device=device)


def round_of(session: Session, round_key: str) -> tuple[SheetRecord, RoundRecord]:
    """A round with its history, and its sheet."""
    _, row = round_row(session, round_key)
    _, _, sheet = load_sheet(session, row.key)
    return sheet, next(r for r in sheet.rounds if r.key == round_key)


@dataclass(frozen=True, slots=True)
class _Wish:
    """What somebody wants entered."""

    round_key: str
    cell: Cell
    written: str | Indication | None
    entry_key: str
    seen: tuple[int, ...] | None
    device: str


def _entered(session: Session, wish: _Wish) -> Entered:
    """Check a reading and append it; one that is kept under its key already is given back."""
    at = entries.load_round(session, wish.round_key)
    cell = checked_place(at.pins, wish.cell)
    kept = entries.kept_under(session, wish.entry_key) if wish.entry_key else None
    if kept is not None:
        if (kept.round_id, kept.cell) != (at.id, cell):
            raise ConflictError(
                "This entry's key was used for another cell.",
                remedy="Give every entry a key of its own.",
            )
        _require_same(kept.indication, wish.written)
        return Entered(kept.id, kept.indication, False, at.sheet, at.job)
    found = None if wish.written is None else checked_reading(at.pins, at.round, cell, wish.written)
    number = entries.append(
        session, at, cell, found, entry_key=wish.entry_key, seen=wish.seen, device=wish.device
    )
    return Entered(number, found, True, at.sheet, at.job)


def _require_same(known: Indication | None, sent: str | Indication | None) -> None:
    """Refuse a second reading under a used key: acknowledged, it would be lost."""
    if isinstance(sent, str):
        is_same = known is not None and known.written == sent.strip()
    else:
        is_same = known == sent
    if not is_same:
        raise ConflictError(
            "This entry's key was used for another reading.",
            remedy="Give every entry a key of its own.",
        )
