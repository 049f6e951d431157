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
from backprobe.store.events import newest_event, round_row
from backprobe.store.loading import RoundAtHand, load_round, load_sheet
from backprobe.store.record import RoundRecord, SheetRecord


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
        # The check takes longer than the writing: it is made before the one writer's turn, and
        # once more within it only where the job has changed in between.
        with self.store.read() as session:
            first = _checked_entry(session, round_key, cell, written, entry_key)
        if isinstance(first, Entered):
            return first
        with self.store.write() as session:
            again = first
            if newest_event(session, first.at.job_id) != first.newest:
                found = _checked_entry(session, round_key, cell, written, entry_key)
                if isinstance(found, Entered):
                    return found
                again = found
            at, place, indication = again.at, again.place, again.indication
            number, is_new = entries.enter(
                session,
                round_key,
                place,
                indication,
                entry_key=entry_key,
                seen=seen,
                device=device,
            )
            return Entered(number, indication, is_new, at.sheet, at.job)

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
class _Checked:
    """A reading that could be kept, as its job stood at one change."""

    at: RoundAtHand
    place: Cell
    indication: Indication | None
    newest: int


def _checked_entry(
    session: Session,
    round_key: str,
    cell: Cell,
    written: str | Indication | None,
    entry_key: str,
) -> _Checked | Entered:
    """Check a reading against its round; one that is kept under this key already is given back."""
    at = load_round(session, round_key)
    place = checked_place(at.connector, cell)
    known = entries.kept_under(session, round_key, place, entry_key)
    if known is not None:
        number, kept = known
        _require_same(kept, written)
        return Entered(number, kept, False, at.sheet, at.job)
    indication = (
        None if written is None else checked_reading(at.connector, at.round, place, written)
    )
    return _Checked(at, place, indication, newest_event(session, at.job_id))


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
