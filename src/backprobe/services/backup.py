"""A backup: everything kept, in one file, while the program is in use.

A zip archive: a table of contents (`manifest.json`), the rows of each table as lines of JSON, and
each picture or document under its hash. The rows belong to one instant, and are the same whatever
data base they came from, so that a backup of one can be restored into another.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from backprobe import __version__
from backprobe.errors import StoreError
from backprobe.store import files
from backprobe.store.columns import now
from backprobe.store.engine import Store
from backprobe.store.recordings import kept_hashes
from backprobe.store.rows import TABLES, count_rows, lines_of
from backprobe.store.schema import AttachmentRow
from backprobe.store.upgrade import newest_revision

Progress = Callable[[str, float], None]

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
_EVERY: Final = 1000  # lines between two reports of progress


@dataclass(frozen=True, slots=True)
class BackupMade:
    """What a backup holds."""

    path: Path
    size_bytes: int
    rows: dict[str, int]
    n_file: int
    made_at: datetime


def table_member(name: str) -> str:
    """Where the rows of a table are in the archive."""
    return f"tables/{name}.jsonl"


def file_member(sha256: str) -> str:
    """Where a picture or document is in the archive."""
    return f"files/{sha256}"


def make_backup(
    store: Store, path: Path, *, replace: bool = False, progress: Progress | None = None
) -> BackupMade:
    """Write everything that is kept into one file; it appears when it is whole.

    Parameters
    ----------
    store : Store
        What to save; it may be in use.
    path : Path
        The file to write.
    replace : bool
        Write over a file that is there.

    Raises
    ------
    StoreError
        A file is there already or can't be written, or a picture or document is missing: a backup
        that lacks something says so now, not on the day when it is needed.
    """
    if path.is_dir() or (path.exists() and not replace):
        raise StoreError(
            "There is such a file or folder already; nothing was written.",
            where=str(path),
            remedy="Choose another name, or write over a file with --force.",
        )
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.absolute().parent, prefix=f".{path.name}.", suffix=".part", delete=False
        ) as file:
            part = Path(file.name)
            try:
                made = _write(store, file, progress or _quiet)
                files.make_durable(file)
                file.close()
                part.replace(path)
            except BaseException:
                file.close()
                part.unlink(missing_ok=True)
                raise
        files.make_names_durable(path.absolute().parent)
    except OSError as error:
        raise StoreError(
            f"The backup can't be written: {error.strerror or error}.",
            where=str(path),
            remedy="Make room, or choose another folder.",
        ) from error
    rows, n_file, instant = made
    return BackupMade(path, path.stat().st_size, rows, n_file, instant)


def _quiet(_what: str, _share: float) -> None:
    pass


def _write(
    store: Store, file: IO[bytes], progress: Progress
) -> tuple[dict[str, int], int, datetime]:
    members: dict[str, dict[str, Any]] = {}
    instant = now()
    with (
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive,
        store.read() as session,
    ):
        rows = count_rows(session)
        for name, lines in _tables(session, sum(rows.values()), progress):
            members[table_member(name)] = _add(archive, table_member(name), lines)
        hashes = {*session.scalars(select(AttachmentRow.sha256)), *kept_hashes(session)}
        for number, sha256 in enumerate(sorted(hashes), start=1):
            name, parts = file_member(sha256), files.sound_parts(store.files, sha256)
            members[name] = _add(archive, name, parts)
            progress("pictures, documents and recordings", number / len(hashes))
        manifest = {
            "format": FORMAT,
            "program": __version__,
            "revision": newest_revision(),
            "made_at": instant.isoformat(),
            "rows": rows,
            "members": members,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return rows, len(hashes), instant


def _tables(
    session: Session, total: int, progress: Progress
) -> Iterator[tuple[str, Iterator[bytes]]]:
    done = 0

    def reported(name: str) -> Iterator[bytes]:
        nonlocal done
        for line in lines_of(session, name):
            yield f"{line}\n".encode()
            done += 1
            if done % _EVERY == 0 or done == total:
                progress("jobs and readings", done / total)

    for name in TABLES:
        yield name, reported(name)


def _add(archive: zipfile.ZipFile, member: str, parts: Iterator[bytes]) -> dict[str, Any]:
    digest, size = hashlib.sha256(), 0
    with archive.open(member, "w", force_zip64=True) as file:
        for part in parts:
            digest.update(part)
            size += len(part)
            file.write(part)
    return {"sha256": digest.hexdigest(), "size": size}
