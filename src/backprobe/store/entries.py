"""Entries: what was read, appended cell by cell, once each, however often it is sent.

All of it in plain columns and in statements that are made once: every reading asks these, and fifty
people enter at the same time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import bindparam, exists, insert, select
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError
from backprobe.job import Indication, Round
from backprobe.store.cells import Cell, with_cells
from backprobe.store.columns import now
from backprobe.store.events import log, missing, new_key
from backprobe.store.loading import bare_round, indication_of, standing_cells
from backprobe.store.schema import (
    CorrectionRow,
    IndicationRow,
    JobRow,
    RoundRow,
    SheetRow,
    TerminalRow,
    table_of,
)

_JOB, _SHEET, _TERMINAL = table_of(JobRow), table_of(SheetRow), table_of(TerminalRow)
_ROUND, _ENTRY, _OLD = table_of(RoundRow), table_of(IndicationRow), table_of(CorrectionRow)

_AT: Final = (
    select(
        *_ROUND.c,
        _SHEET.c.key.label("sheet_key"),
        _JOB.c.id.label("job_id"),
        _JOB.c.key.label("job_key"),
        _JOB.c.closed_at,
    )
    .join_from(_ROUND, _SHEET, _SHEET.c.id == _ROUND.c.sheet_id)
    .join(_JOB, _JOB.c.id == _SHEET.c.job_id)
    .where(_ROUND.c.key == bindparam("key"))
)
_PINS: Final = (
    select(_TERMINAL.c.pin)
    .where(_TERMINAL.c.sheet_id == bindparam("sheet_id"))
    .order_by(_TERMINAL.c.position)
)
_SHOWN: Final = (
    *(_ENTRY.c.id, _ENTRY.c.quantity, _ENTRY.c.place),
    *(_ENTRY.c.is_taken_back, _ENTRY.c.value, _ENTRY.c.is_over_range, _ENTRY.c.written),
)
_STANDING: Final = (
    select(*_SHOWN)
    .where(
        _ENTRY.c.round_id == bindparam("round_id"), ~exists().where(_OLD.c.old_id == _ENTRY.c.id)
    )
    .order_by(_ENTRY.c.id)
)
_OF_CELL: Final = select(_ENTRY.c.id).where(
    _ENTRY.c.round_id == bindparam("round_id"),
    _ENTRY.c.quantity == bindparam("quantity"),
    _ENTRY.c.place == bindparam("place"),
    _ENTRY.c.id.in_(bindparam("seen", expanding=True)),
)
_UNDER_KEY: Final = select(*_SHOWN, _ENTRY.c.round_id).where(
    _ENTRY.c.entry_key == bindparam("entry_key")
)
_APPEND: Final = insert(_ENTRY)
_REPLACE: Final = insert(_OLD)


@dataclass(frozen=True, slots=True)
class RoundAtHand:
    """A round as it stands, without its history, and where it belongs."""

    id: int
    key: str
    sheet: str
    job: str
    job_id: int
    is_open: bool  # the job
    pins: tuple[str, ...]
    round: Round
    standing: Mapping[Cell, Sequence[int]]  # numbers of the entries that no later one replaces


@dataclass(frozen=True, slots=True)
class Kept:
    """An entry that is kept under a key."""

    id: int
    round_id: int
    cell: Cell
    indication: Indication | None


def load_round(session: Session, key: str) -> RoundAtHand:
    """One round as it stands: what a further reading of it is held against."""
    connection = session.connection()
    row = connection.execute(_AT, {"key": key}).first()
    if row is None:
        raise missing("round")
    pins = tuple(connection.execute(_PINS, {"sheet_id": row.sheet_id}).scalars())
    standing: defaultdict[Cell, list[int]] = defaultdict(list)
    shown: list[tuple[Cell, Indication | None]] = []
    for entry in connection.execute(_STANDING, {"round_id": row.id}):
        cell = (entry.quantity, entry.place)
        standing[cell].append(entry.id)
        shown.append((cell, indication_of(entry)))
    return RoundAtHand(
        id=row.id,
        key=row.key,
        sheet=row.sheet_key,
        job=row.job_key,
        job_id=row.job_id,
        is_open=row.closed_at is None,
        pins=pins,
        round=with_cells(bare_round(row), standing_cells(shown), pins),
        standing=standing,
    )


def kept_under(session: Session, entry_key: str) -> Kept | None:
    """The entry that is kept under a key."""
    row = session.connection().execute(_UNDER_KEY, {"entry_key": entry_key}).first()
    if row is None:
        return None
    return Kept(row.id, row.round_id, (row.quantity, row.place), indication_of(row))


def append(
    session: Session,
    at: RoundAtHand,
    cell: Cell,
    indication: Indication | None,
    *,
    entry_key: str = "",
    seen: Iterable[int] | None = (),
    device: str = "",
) -> int:
    """Append an entry to a cell; returns its number.

    Parameters
    ----------
    at, cell : RoundAtHand, (str, str)
        Where it belongs.
    indication : Indication or None
        What the instrument showed; None takes back what stands.
    entry_key : str
        Given by who entered it; one that is kept already is refused by the data base.
    seen : iterable of int or None
        Entries that stood in the cell when this one was made, as its author saw it. They are
        replaced; all that stand where None. What came in meanwhile stays beside it, for people to
        decide.

    Raises
    ------
    ConflictError
        The job is closed, or the round is void.
    """
    if not at.is_open:
        raise ConflictError("The job is closed.", remedy="Reopen it, then enter this again.")
    if at.round.void:
        raise ConflictError(
            f"Round {at.round.name} is void and takes no more readings.",
            remedy="Begin another round, or let this one count again.",
        )
    old = at.standing.get(cell, ()) if seen is None else _of_cell(session, at.id, cell, seen)
    values = _values(entry_key or new_key(), at.id, cell, indication, device)
    connection = session.connection()
    appended = connection.execute(_APPEND, values).inserted_primary_key
    number: int = appended[0]  # type: ignore[index]  # the data base numbers every row
    if old:
        connection.execute(_REPLACE, [{"new_id": number, "old_id": each} for each in old])
    details = {"sheet": at.sheet, "round": at.key, "quantity": cell[0], "place": cell[1]}
    log(session, at.job_id, "entry", device, entry=number, **details)
    return number


def _of_cell(session: Session, round_id: int, cell: Cell, seen: Iterable[int]) -> Sequence[int]:
    """Those of some entries that belong to a cell: nobody replaces another cell's reading."""
    numbers = list(seen)
    if not numbers:
        return ()
    values = {"round_id": round_id, "quantity": cell[0], "place": cell[1], "seen": numbers}
    return session.connection().execute(_OF_CELL, values).scalars().all()


def _values(
    entry_key: str, round_id: int, cell: Cell, indication: Indication | None, device: str
) -> dict[str, object]:
    is_over = indication is not None and indication.over_range
    return {
        "entry_key": entry_key,
        "round_id": round_id,
        "quantity": cell[0],
        "place": cell[1],
        "is_taken_back": indication is None,
        "value": None if indication is None or is_over else indication.value,
        "is_over_range": is_over,
        "written": "" if indication is None else indication.written,
        "entered_at": now(),
        "device": device,
    }
