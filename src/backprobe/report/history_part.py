"""The history of a job, shortly: runs of the same kind of change are told as one line."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import Any, Final

from backprobe.report.blocks import Column, Section, table
from backprobe.report.input import ReportInput
from backprobe.services.words import fault_words
from backprobe.store.record import Event

_MANY: Final = {
    "entry": "{n} entries of readings",
    "job changed": "vehicle, complaint, codes or meter changed, {n} times",
    "connector changed": "connector changed, {n} times",
    "round changed": "rounds changed, {n} times",
}


def history_section(source: ReportInput) -> Section | None:
    """Who did what when."""
    rows = [
        [source.instant(run[0].at), _told(run), run[0].device]
        for run in _runs(source.record.events)
    ]
    columns = (Column("When", 1.3), Column("What", 4.0), Column("By", 1.2))
    blocks = table(columns, rows)
    return Section("History", blocks) if blocks else None


def _runs(events: tuple[Event, ...]) -> Iterator[list[Event]]:
    def alike(event: Event) -> tuple[Any, ...]:
        own = () if event.kind in _MANY else (event.id,)
        return (event.kind, event.device, *own)

    for _, run in groupby(events, key=alike):
        yield list(run)


def _told(run: list[Event]) -> str:
    kind, details = run[0].kind, run[0].details
    if kind in _MANY and len(run) > 1:
        return _MANY[kind].format(n=len(run))
    name = str(details.get("name") or "")
    reason = str(details.get("reason") or "")
    told = {
        "entry": "one reading entered",
        "job begun": "job begun",
        "sheet begun": f"sheet begun: {name}{_phase(details)}",
        "round begun": f"round {name} begun",
        "round voided": f"round {name} made void: {reason}",
        "round changed": f"round {name} changed",
        "capture": f"capture {name} added",
        "log": f"log {name} added",
        "recording placed": "a capture or log placed at its terminals",
        "recording void": "a capture or log taken out, or let count again",
        "recording mark": "a mark put on a capture or log",
        "recording mark taken back": "a mark taken back",
        "set aside": f"a proposed reading set aside{f': {reason}' if reason else ''}",
        "outcome": f"outcome written: {fault_words(str(details.get('fault') or ''))}",
        "closed": "job closed",
        "reopened": "job opened again",
    }
    return told.get(kind, kind)


def _phase(details: Any) -> str:
    return ", after the repair" if details.get("phase") == "repaired" else ""
