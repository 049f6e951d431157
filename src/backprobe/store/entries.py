"""Entries: what was read, appended cell by cell, once each, however often it is sent."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from sqlalchemy import bindparam, exists, select
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError
from backprobe.job import Indication
from backprobe.store.cells import Cell
from backprobe.store.columns import now
from backprobe.store.events import log, new_key, round_row
from backprobe.store.jobs import require_open
from backprobe.store.loading import indication_of
from backprobe.store.schema import CorrectionRow, IndicationRow, JobRow, RoundRow

# Made once: every reading asks these, and making a statement costs as much as running it.
_UNDER_KEY: Final = select(IndicationRow).where(IndicationRow.entry_key == bindparam("entry_key"))
_OF_CELL: Final = select(IndicationRow.id).where(
    IndicationRow.round_id == bindparam("round_id"),
    IndicationRow.quantity == bindparam("quantity"),
    IndicationRow.place == bindparam("place"),
)
_STANDING: Final = _OF_CELL.where(
    ~exists().where(CorrectionRow.old_id == IndicationRow.id)
).order_by(IndicationRow.id)


def enter(
    session: Session,
    round_key: str,
    cell: Cell,
    indication: Indication | None,
    *,
    entry_key: str = "",
    seen: Iterable[int] | None = (),
    device: str = "",
) -> tuple[int, bool]:
    """Append an entry to a cell.

    Parameters
    ----------
    round_key, cell : str, (str, str)
        Where it belongs.
    indication : Indication or None
        What the instrument showed; None takes back what stands.
    entry_key : str
        Given by who entered it; the same key is stored once.
    seen : iterable of int or None
        Entries that stood in the cell when this one was made, as its author saw it. They are
        replaced; all that stand where None. What came in meanwhile stays beside it, for people to
        decide.

    Returns
    -------
    (int, bool)
        The entry's number, and whether it is new.
    """
    row, sheet = round_row(session, round_key)
    found = session.scalar(_UNDER_KEY, {"entry_key": entry_key}) if entry_key else None
    if found is not None:
        if (found.round_id, found.quantity, found.place) != (row.id, *cell):
            raise ConflictError(
                "This entry's key was used for another cell.",
                remedy="Give every entry a key of its own.",
            )
        return found.id, False
    job = session.get_one(JobRow, sheet.job_id)
    require_open(job)
    if row.void:
        raise ConflictError(
            f"Round {row.name} is void and takes no more readings.",
            remedy="Begin another round, or let this one count again.",
        )
    old = (
        _standing(session, row.id, cell) if seen is None else _of_cell(session, row.id, cell, seen)
    )
    entry = _row(entry_key or new_key(), row.id, cell, indication, device)
    session.add(entry)
    session.flush()
    session.add_all(CorrectionRow(new_id=entry.id, old_id=each) for each in old)
    details = {"sheet": sheet.key, "round": row.key, "quantity": cell[0], "place": cell[1]}
    log(session, job.id, "entry", device, entry=entry.id, **details)
    return entry.id, True


def kept_under(
    session: Session, round_key: str, cell: Cell, entry_key: str
) -> tuple[int, Indication | None] | None:
    """The entry of a cell that is kept under a key, and what it showed."""
    if not entry_key:
        return None
    row = session.scalar(
        select(IndicationRow)
        .join(RoundRow, RoundRow.id == IndicationRow.round_id)
        .where(
            IndicationRow.entry_key == entry_key,
            RoundRow.key == round_key,
            IndicationRow.quantity == cell[0],
            IndicationRow.place == cell[1],
        )
    )
    return None if row is None else (row.id, indication_of(row))


def _standing(session: Session, round_id: int, cell: Cell) -> Sequence[int]:
    """Numbers of the entries of a cell that no later one replaces."""
    values = {"round_id": round_id, "quantity": cell[0], "place": cell[1]}
    return session.scalars(_STANDING, values).all()


def _of_cell(session: Session, round_id: int, cell: Cell, seen: Iterable[int]) -> Sequence[int]:
    """Those of some entries that belong to a cell: nobody replaces another cell's reading."""
    numbers = list(seen)
    if not numbers:
        return ()
    values = {"round_id": round_id, "quantity": cell[0], "place": cell[1]}
    return session.scalars(_OF_CELL.where(IndicationRow.id.in_(numbers)), values).all()


def _row(
    entry_key: str, round_id: int, cell: Cell, indication: Indication | None, device: str
) -> IndicationRow:
    is_over = indication is not None and indication.over_range
    return IndicationRow(
        entry_key=entry_key,
        round_id=round_id,
        quantity=cell[0],
        place=cell[1],
        is_taken_back=indication is None,
        value=None if indication is None or is_over else indication.value,
        is_over_range=is_over,
        written="" if indication is None else indication.written,
        entered_at=now(),
        device=device,
    )
