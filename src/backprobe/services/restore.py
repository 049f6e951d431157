"""A backup put in the place of what is there: all of it, or nothing is changed."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, MetaData
from sqlalchemy.orm import Session

from backprobe.errors import StoreError
from backprobe.services.archive import Archive, damaged, opened_archive, refusing
from backprobe.services.attachments import seen_type
from backprobe.services.backup import Progress, make_backup
from backprobe.store import files
from backprobe.store.columns import now
from backprobe.store.engine import Store
from backprobe.store.recordings import kept_hashes
from backprobe.store.rows import TABLES, go_on_counting, insert_lines, tables_of
from backprobe.store.upgrade import revision_of, upgrade, upgrade_on

_OURS: Final = (*TABLES, "alembic_version")
PARQUET_SIGN: Final = b"PAR1"  # Apache Parquet: the first bytes of a file
_BESIDE: Final = ("-wal", "-shm")  # what SQLite keeps beside its file while in use


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put in, and where that is kept which was there before."""

    rows: dict[str, int]
    n_file: int
    made_at: datetime
    aside: Path | None


def restore(
    database: str,
    path: Path,
    *,
    replace: bool = False,
    folder: Path | None = None,
    progress: Progress | None = None,
) -> Restored:
    """Put a backup in the place of a data base.

    Parameters
    ----------
    database : str
        File or URL, as for Store.
    path : Path
        The backup.
    replace : bool
        Do so where jobs are already; these are kept aside under a name with the date.
    folder : Path or None
        Where pictures and documents go; beside the data base by default.

    Raises
    ------
    StoreError
        The backup can't be used, jobs are there already, or another program holds them.
    """
    report = progress or (lambda _what, _share: None)
    store = Store(database, folder)
    try:
        with opened_archive(path, report) as archive:
            if store.path is not None:
                aside = _into_file(store, store.path, archive, path, replace, report)
            else:
                aside = _into_server(store, archive, path, replace, report)
            return Restored(archive.rows, len(archive.hashes), archive.made_at, aside)
    finally:
        store.close()


def _into_file(
    store: Store, target: Path, archive: Archive, path: Path, replace: bool, report: Progress
) -> Path | None:
    """Fill a new file and give it the name; what had that name is kept beside it."""
    if not replace and target.exists():
        _require_empty(store)
    store.close()
    fresh = target.with_name(f".{target.name}.restoring")
    _remove(fresh)
    new = Store(str(fresh), store.files)
    try:
        with new.write() as session:
            _fill(session.connection(), new, archive, path, report)
        new.close()
        aside = _set_aside(target) if target.exists() else None
        fresh.replace(target)
        files.make_names_durable(target.parent)
    finally:
        new.close()
        _remove(fresh)
    return aside


def _into_server(
    store: Store, archive: Archive, path: Path, replace: bool, report: Progress
) -> Path | None:
    """Exchange all tables in one transaction, a backup of the old ones made before."""
    aside = None
    if not replace:
        _require_empty(store)
    elif revision_of(store) is not None:
        upgrade(store)
        store.files.parent.mkdir(parents=True, exist_ok=True)
        aside = store.files.parent / f"backprobe-{_stamp()}.backup"
        make_backup(store, aside, progress=report)
    with store.write() as session:
        connection = session.connection()
        # Ours alone: other programs may keep tables in the same data base.
        ours = [table for name, table in tables_of(connection).items() if name in _OURS]
        MetaData().drop_all(connection, tables=ours)
        _fill(connection, store, archive, path, report)
    return aside


def _fill(
    connection: Connection, store: Store, archive: Archive, path: Path, report: Progress
) -> None:
    """Make the tables of the backup's version, put its rows in, bring them up to date."""
    upgrade_on(connection, archive.revision)
    tables = tables_of(connection)
    if set(archive.rows) != tables.keys() - {"alembic_version"}:
        raise damaged(path, "The backup has other tables than its version.")
    for number, name in enumerate(archive.rows, start=1):
        with refusing(path):
            insert_lines(connection, tables[name], archive.lines(name))
        report("putting rows in", number / len(archive.rows))
    go_on_counting(connection, (tables[name] for name in archive.rows))
    upgrade_on(connection)
    _keep_files(connection, store, archive, path)


def _keep_files(connection: Connection, store: Store, archive: Archive, path: Path) -> None:
    """Keep pictures and documents, each being what its row tells, by the rules of any other."""
    table = tables_of(connection)["attachment"]
    told = {(row.sha256, row.media_type) for row in connection.execute(table.select())}
    with Session(connection) as session:
        recorded = set(kept_hashes(session))
    named = {sha256 for sha256, _ in told}
    if named | recorded != set(archive.hashes) or len(told) != len(named):
        raise damaged(path, "The backup's rows and its pictures or documents don't match.")
    with refusing(path):
        for sha256, media_type in sorted(told):
            if seen_type(archive.content(sha256)) != media_type:
                raise damaged(path, "The backup holds a file that isn't what it is said to be.")
        for sha256 in sorted(recorded):
            if next(archive.parts(sha256), b"")[:4] != PARQUET_SIGN:
                raise damaged(path, "The backup holds a file that isn't what it is said to be.")
    for sha256 in sorted(archive.hashes):
        files.put_parts(store.files, archive.parts(sha256))


def _require_empty(store: Store) -> None:
    try:
        is_empty = _is_empty(store)
    except StoreError as error:
        raise StoreError(
            f"{error.what} Nothing was changed.",
            where=store.where,
            remedy="Put the backup in its place with --force; what is there is kept aside then.",
        ) from error
    if not is_empty:
        raise StoreError(
            "Jobs, meters or settings are there already; nothing was changed.",
            where=store.where,
            remedy="Name an empty data base with --database, or put the backup in their place "
            "with --force; they are kept aside then.",
        )


def _is_empty(store: Store) -> bool:
    with store.read() as session:
        connection = session.connection()
        tables = [table for name, table in tables_of(connection).items() if name in TABLES]
        return all(connection.execute(table.select().limit(1)).first() is None for table in tables)


def _set_aside(target: Path) -> Path:
    """Rename a data base; one that another program has open is left alone."""
    _require_alone(target)
    aside = target.with_name(f"{target.stem}-{_stamp()}{target.suffix}")
    for end in _BESIDE:  # there only where the file is damaged, or its last user was cut off
        beside = Path(f"{target}{end}")
        if beside.exists():
            beside.replace(f"{aside}{end}")
    target.replace(aside)
    return aside


def _require_alone(target: Path) -> None:
    """Leaving the write-ahead log needs to be alone, and takes what is in it into the file."""
    connection = sqlite3.connect(target, timeout=1.0)
    try:
        connection.execute("pragma journal_mode = delete")
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise StoreError(
                "Another program has the data base open; nothing was changed.",
                where=str(target),
                remedy="End `backprobe serve`, then restore again.",
            ) from error
    except sqlite3.DatabaseError:
        pass  # a damaged file: the very reason to restore
    finally:
        connection.close()


def _stamp() -> str:
    return now().strftime("%Y-%m-%dT%H%M%S.%fZ")


def _remove(path: Path) -> None:
    for end in ("", *_BESIDE):
        Path(f"{path}{end}").unlink(missing_ok=True)
