"""Sheets: a connector's terminals, and rounds as they are begun, changed, voided."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from backprobe.errors import ConflictError
from backprobe.job import Connector, Round
from backprobe.store.cells import PAIRS
from backprobe.store.columns import now
from backprobe.store.events import (
    job_row,
    log,
    new_key,
    refresh_search_text,
    round_row,
    sheet_row,
)
from backprobe.store.jobs import require_open
from backprobe.store.record import FOUND
from backprobe.store.schema import (
    IndicationRow,
    JobRow,
    RoundRow,
    SetAsideRow,
    SheetRow,
    TerminalRow,
)


def add_sheet(
    session: Session,
    job_key: str,
    connector: Connector,
    *,
    device: str = "",
    phase: str = FOUND,
    repeats: str = "",
    key: str = "",
) -> str:
    """Begin the sheet of a connector and return its key; one that is there is begun only once."""
    if key and session.scalar(select(SheetRow.id).where(SheetRow.key == key)) is not None:
        return key
    job = job_row(session, job_key)
    require_open(job)
    count = session.scalar(select(func.count(SheetRow.id)).where(SheetRow.job_id == job.id))
    row = SheetRow(
        key=key or new_key(),
        job_id=job.id,
        position=count or 0,
        phase=phase,
        repeats_id=sheet_row(session, repeats).id if repeats else None,
        name=connector.name,
        kind=connector.kind,
    )
    session.add(row)
    session.flush()
    for position, terminal in enumerate(connector.terminals):
        session.add(
            TerminalRow(
                sheet_id=row.id,
                position=position,
                pin=terminal.pin,
                colour=terminal.colour,
                diagram=terminal.diagram,
            )
        )
    log(session, job.id, "sheet begun", device, sheet=row.key, name=connector.name, phase=phase)
    refresh_search_text(session, job)
    return row.key


def change_connector(
    session: Session, sheet_key: str, connector: Connector, *, device: str = ""
) -> None:
    """Write name, kind and terminals anew; a terminal with readings can't go.

    Nor can two change places that were measured against each other: such a reading is named by
    its pins in the connector's order.
    """
    row = sheet_row(session, sheet_key)
    job = session.get_one(JobRow, row.job_id)
    require_open(job)
    there = {
        each.pin: each
        for each in session.scalars(select(TerminalRow).where(TerminalRow.sheet_id == row.id))
    }
    before = [[each.pin, each.colour, each.diagram] for each in there.values()]
    used = _used_pins(session, row.id)
    _require_order(session, row.id, connector.pins)
    for pin in sorted(there.keys() - set(connector.pins)):
        if pin in used:
            raise ConflictError(
                f"Terminal {pin} has readings, or a resistor at it, and can't be taken away.",
                remedy="Keep it, or void the rounds and begin another sheet.",
            )
        session.delete(there.pop(pin))
    for position, terminal in enumerate(connector.terminals):
        found = there.get(terminal.pin)
        if found is None:
            found = TerminalRow(sheet_id=row.id, pin=terminal.pin)
            session.add(found)
        found.position, found.colour = position, terminal.colour
        found.diagram = terminal.diagram
    details = {"name": row.name, "kind": row.kind, "terminals": before}
    row.name, row.kind = connector.name, connector.kind
    log(session, job.id, "connector changed", device, sheet=row.key, before=details)
    refresh_search_text(session, job)


def _used_pins(session: Session, sheet_id: int) -> set[str]:
    """Pins that readings or fitted resistors of a sheet name."""
    rounds = session.scalars(select(RoundRow.fitted).where(RoundRow.sheet_id == sheet_id))
    fitted = {end for each in rounds for start, stop, _ in each for end in (start, stop)}
    return fitted | {pin for place in _places(session, sheet_id) for pin in place.split("-")}


def _places(session: Session, sheet_id: int, *quantities: str) -> list[str]:
    query = (
        select(IndicationRow.place)
        .join(RoundRow, RoundRow.id == IndicationRow.round_id)
        .where(RoundRow.sheet_id == sheet_id)
        .distinct()
    )
    if quantities:
        query = query.where(IndicationRow.quantity.in_(quantities))
    return list(session.scalars(query))


def _require_order(session: Session, sheet_id: int, pins: tuple[str, ...]) -> None:
    for place in _places(session, sheet_id, PAIRS):
        first, second = place.split("-")
        if {first, second} <= set(pins) and pins.index(first) > pins.index(second):
            raise ConflictError(
                f"Terminals {first} and {second} were measured against each other and can't "
                "change places.",
                remedy=f"Leave {first} before {second}.",
            )


def add_round(
    session: Session,
    sheet_key: str,
    each: Round,
    *,
    device: str = "",
    key: str = "",
    repeats: str = "",
) -> str:
    """Begin a round (its state only) and return its key; one that is there is begun only once.

    Where two phones gave one name to two rounds, the later one gets the next free name.
    """
    if key and session.scalar(select(RoundRow.id).where(RoundRow.key == key)) is not None:
        return key
    sheet = sheet_row(session, sheet_key)
    require_open(session.get_one(JobRow, sheet.job_id))
    names = session.scalars(select(RoundRow.name).where(RoundRow.sheet_id == sheet.id)).all()
    row = RoundRow(
        key=key or new_key(),
        sheet_id=sheet.id,
        position=len(names),
        repeats_id=round_row(session, repeats)[0].id if repeats else None,
        begun_at=now(),
    )
    _put(row, each)
    row.name = each.name if each.name not in names else next_name(names)
    session.add(row)
    session.flush()
    log(session, sheet.job_id, "round begun", device, sheet=sheet.key, round=row.key, name=row.name)
    return row.key


def next_name(taken: list[str] | tuple[str, ...] | Any) -> str:
    """The next free name of a round: A to Z, then A2 to Z2, and so on."""
    used, turn = set(taken), 1
    while True:
        for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ":
            name = letter if turn == 1 else f"{letter}{turn}"
            if name not in used:
                return name
        turn += 1


def change_round(session: Session, round_key: str, each: Round, *, device: str = "") -> None:
    """Write a round's state, note or reason for being void anew; the log keeps what it was."""
    row, sheet = round_row(session, round_key)
    require_open(session.get_one(JobRow, sheet.job_id))
    before = _state(row)
    _put(row, each)
    after = _state(row)
    changed = {name: before[name] for name in after if before[name] != after[name]}
    if not changed:
        return
    if row.name != before["name"]:
        taken = select(RoundRow.id).where(
            RoundRow.sheet_id == sheet.id, RoundRow.name == row.name, RoundRow.id != row.id
        )
        with session.no_autoflush:
            is_taken = session.scalar(taken) is not None
        if is_taken:
            raise ConflictError(
                f'There is a round "{row.name}" already.', remedy="Give it another name."
            )
    kind = "round voided" if row.void and not before["void"] else "round changed"
    log(
        session,
        sheet.job_id,
        kind,
        device,
        sheet=sheet.key,
        round=row.key,
        name=row.name,
        before=changed,
        reason=row.void,
    )


def set_aside(
    session: Session,
    sheet_key: str,
    *,
    quantity: str,
    place: str,
    state: str,
    reason: str,
    device: str = "",
) -> int:
    """Note that a proposed reading can't be had; returns the note's number."""
    sheet = sheet_row(session, sheet_key)
    require_open(session.get_one(JobRow, sheet.job_id))
    row = SetAsideRow(
        sheet_id=sheet.id, quantity=quantity, place=place, state=state, reason=reason, at=now()
    )
    session.add(row)
    session.flush()
    details = {"quantity": quantity, "place": place, "state": state, "reason": reason}
    log(session, sheet.job_id, "set aside", device, sheet=sheet.key, **details)
    return row.id


def take_up_again(session: Session, sheet_key: str, number: int, *, device: str = "") -> None:
    """Let a reading that was set aside be proposed again."""
    sheet = sheet_row(session, sheet_key)
    require_open(session.get_one(JobRow, sheet.job_id))
    row = session.get(SetAsideRow, number)
    if row is not None and row.sheet_id == sheet.id and not row.is_taken_back:
        row.is_taken_back = True
        details = {"quantity": row.quantity, "place": row.place, "state": row.state}
        log(session, sheet.job_id, "taken up again", device, sheet=sheet.key, **details)


def _put(row: RoundRow, each: Round) -> None:
    row.name, row.plugged, row.ignition = each.name, each.plugged, each.key
    row.speed_rpm, row.action, row.black_lead = each.rpm, each.action, each.black_lead
    row.ambient_celsius, row.load_ohm = each.ambient_celsius, each.load_ohms
    row.fitted = [[one.start, one.end, one.ohms] for one in each.fitted]
    row.void, row.note = each.void, each.note


_STATE = (
    *("name", "plugged", "ignition", "speed_rpm", "action", "black_lead", "ambient_celsius"),
    *("load_ohm", "fitted", "void", "note"),
)


def _state(row: RoundRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in _STATE}
