"""Whether everything that is kept can be used: what is wrong is named, and how to mend it.

Looks and never mends: nothing is written to the data base or to the files beside it.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from backprobe.errors import StoreError
from backprobe.services.bank_cache import CACHE_VARIABLE, cache_directory
from backprobe.services.words import counted
from backprobe.store import files
from backprobe.store.engine import Store
from backprobe.store.recordings import kept_hashes
from backprobe.store.schema import AttachmentRow, JobRow
from backprobe.store.upgrade import known_revisions, newest_revision, revision_of

State = Literal["sound", "note", "wrong", "unusable"]  # from best to worst
STATES: Final[tuple[State, ...]] = ("sound", "note", "wrong", "unusable")
LEAST_FREE: Final = 200_000_000  # bytes; a backup and a day's pictures
_SHOWN: Final = 5
_RESTORE: Final = "Put the last backup in its place: `backprobe restore FILE --force`."


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at."""

    check: str
    state: State
    text: str
    remedy: str = ""


def examine(store: Store) -> tuple[Finding, ...]:
    """Look everything over; a data base that can't be used ends with the finding that says so."""
    return tuple(_examine(store))


def worst(findings: tuple[Finding, ...]) -> State:
    """The state of all together."""
    return max((each.state for each in findings), key=STATES.index, default="sound")


def _examine(store: Store) -> Iterator[Finding]:
    if store.path is not None and not store.path.exists():
        yield Finding("data base", "note", f"{store.where}: not there yet; the first job makes it.")
    else:
        try:
            yield from _data_base(store)
        except StoreError as error:
            yield Finding("data base", "unusable", f"{store.where}: {error.what}", error.remedy)
    yield _disk(store)
    yield _cache()


def _data_base(store: Store) -> Iterator[Finding]:
    revision = revision_of(store)
    if revision is None:
        yield Finding("data base", "note", f"{store.where}: empty; the first job makes its tables.")
        return
    if revision not in known_revisions():
        yield Finding(
            *("data base", "unusable", f"{store.where}: made by a newer version of backprobe."),
            "Install that version, or name another data base with --database.",
        )
        return
    if revision != newest_revision():
        yield Finding(
            *("data base", "note", f"{store.where}: made by an older version of backprobe."),
            "The next command that works with jobs brings it up to date; make a backup first.",
        )
    with store.read() as session:
        count = len(session.scalars(select(JobRow.id)).all())
        yield Finding("data base", "sound", f"{store.where}: {counted(count, 'job')}.")
        if store.is_sqlite:
            yield from _inside(session)
        yield from _files(session, store, is_newest=revision == newest_revision())


def _inside(session: Session) -> Iterator[Finding]:
    """What SQLite's own checks say."""
    told = session.scalars(text("pragma integrity_check")).all()
    if list(told) == ["ok"]:
        yield Finding("contents", "sound", "The file is whole.")
    else:
        yield Finding(
            "contents", "wrong", f"The file is damaged: {'; '.join(told)[:300]}.", _RESTORE
        )
    lost = session.execute(text("pragma foreign_key_check")).all()
    if lost:
        tables = ", ".join(sorted({str(row[0]) for row in lost}))
        yield Finding(
            *("links", "wrong", f"{counted(len(lost), 'row')} point nowhere, in: {tables}."),
            _RESTORE,
        )
    else:
        yield Finding("links", "sound", "Every row belongs to a job.")


def _files(session: Session, store: Store, *, is_newest: bool) -> Iterator[Finding]:
    """Pictures and documents: each there and unaltered; what no job knows of."""
    told = dict(session.execute(select(AttachmentRow.sha256, AttachmentRow.name)).all())
    if is_newest:  # older ones have no recordings
        told |= kept_hashes(session)
    bad = []
    for sha256, name in sorted(told.items()):
        found = files.hash_of(files.path_of(store.files, sha256))
        if found != sha256:
            bad.append(f'"{name}" {"has changed" if found else "is missing"}')
    if bad:
        more = f" and {len(bad) - _SHOWN} more" if len(bad) > _SHOWN else ""
        yield Finding(
            *("files", "wrong", f"{store.files}: {', '.join(bad[:_SHOWN])}{more}."),
            "Add the same picture or document again, or take it from a backup.",
        )
    else:
        count = counted(len(told), "picture or document", "pictures and documents")
        yield Finding("files", "sound", f"{count}, all as they were kept.")
    strange = [each for each in files.kept(store.files) if each not in told]
    if strange:
        yield Finding(
            *("files", "note", f"{counted(len(strange), 'file')} of no job in {store.files}."),
            "Harmless: left by something that was broken off, or by a restored backup.",
        )


def _disk(store: Store) -> Finding:
    folder = store.path.parent if store.path is not None else store.files
    there = _nearest(folder)
    free = shutil.disk_usage(there).free
    room = f"{folder}: {free / 1e6:,.0f} MB free."
    if free < LEAST_FREE:
        return Finding("disk", "wrong", room, "Make room before the next job.")
    if not os.access(there, os.W_OK):
        return Finding(
            *("disk", "wrong", f"{folder}: can't be written to."),
            "Give yourself the right to, or name another data base with --database.",
        )
    return Finding("disk", "sound", room)


def _cache() -> Finding:
    folder = cache_directory()
    kept = [path.stat().st_size for path in folder.glob("*.npz")]
    if not os.access(_nearest(folder), os.W_OK):
        return Finding(
            *(
                "solved circuits",
                "wrong",
                f"{folder}: can't be written to; answers take longer.",
            ),
            f"Give yourself the right to, or set {CACHE_VARIABLE} to another folder.",
        )
    size = f"{counted(len(kept), 'file')}, {sum(kept) / 1e6:,.0f} MB"
    return Finding("solved circuits", "sound", f"{folder}: {size}; made anew when deleted.")


def _nearest(folder: Path) -> Path:
    """A folder, or the nearest one above it that is there."""
    return next(each for each in (folder, *folder.parents) if each.exists())
