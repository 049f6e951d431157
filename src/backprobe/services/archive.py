"""A backup as it is read: whole, unaltered, and holding nothing but what a backup holds.

An archive may come from anywhere. Its names are never used as paths, nothing is unpacked before
each member was held against the table of contents, and no member is read beyond its stated size.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy.exc import SQLAlchemyError

from backprobe.errors import BackprobeError, StoreError
from backprobe.services.backup import FORMAT, MANIFEST, Progress, file_member, table_member
from backprobe.store.files import is_hash
from backprobe.store.upgrade import known_revisions

_BLOCK: Final = 1 << 20
_MAX_MANIFEST: Final = 64 << 20
MAX_RECORDING_BYTES: Final = 8 << 30  # the largest file that a job keeps
_TABLES: Final = "tables/"
_FILES: Final = "files/"
_STUMBLES: Final = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError),
    *(ValueError, KeyError, TypeError, AttributeError, RuntimeError),
    *(BackprobeError, SQLAlchemyError),
)


@dataclass(frozen=True, slots=True)
class Archive:
    """A backup whose members were all found as its table of contents tells."""

    zip: zipfile.ZipFile
    revision: str
    made_at: datetime
    rows: dict[str, int]
    hashes: tuple[str, ...]  # of the pictures and documents

    def lines(self, table: str) -> Iterator[str]:
        """The rows of a table."""
        with (
            self.zip.open(table_member(table)) as member,
            io.TextIOWrapper(member, encoding="utf-8", newline="\n") as text,
        ):
            yield from text

    def content(self, sha256: str) -> bytes:
        """A picture or document."""
        return self.zip.read(file_member(sha256))

    def parts(self, sha256: str) -> Iterator[bytes]:
        """A file of any size, in parts."""
        with self.zip.open(file_member(sha256)) as member:
            while block := member.read(_BLOCK):
                yield block


@contextmanager
def opened_archive(path: Path, progress: Progress) -> Iterator[Archive]:
    """Open a backup and hold every member against its hash.

    Raises
    ------
    StoreError
        It can't be read, isn't a backup, is damaged, or a newer version made it.
    """
    with ExitStack() as stack:
        with refusing(path):
            found = stack.enter_context(zipfile.ZipFile(path))
            archive = _checked(found, path, progress)
        yield archive


@contextmanager
def refusing(path: Path) -> Iterator[None]:
    """Tell what no backup has written, however it was stumbled over."""
    try:
        yield
    except StoreError:
        raise
    except _STUMBLES as error:
        raise damaged(path) from error
    except OSError as error:
        raise StoreError(
            f"The backup can't be read: {error.strerror or error}. Nothing was changed.",
            where=str(path),
            remedy="Look at its name and your right to read it.",
        ) from error


def damaged(path: Path, what: str = "The file is damaged, or is no backup.") -> StoreError:
    """An archive that is not used."""
    return StoreError(
        f"{what} Nothing was changed.", where=str(path), remedy="Take another backup."
    )


def _checked(found: zipfile.ZipFile, path: Path, progress: Progress) -> Archive:
    names = found.namelist()
    if len(set(names)) != len(names) or MANIFEST not in names:
        raise damaged(path)
    manifest = _manifest(found, path)
    members: dict[str, Any] = manifest["members"]
    if {*members, MANIFEST} != set(names):
        raise damaged(path, "The backup lacks something, or holds what isn't its own.")
    tables = {name for name in members if name.startswith(_TABLES)}
    hashes = [name.removeprefix(_FILES) for name in members if name not in tables]
    if tables != {table_member(name) for name in manifest["rows"]} or not all(
        is_hash(each) and file_member(each) in members for each in hashes
    ):
        raise damaged(path, "The backup holds names that no backup has.")
    total, done = sum(each["size"] for each in members.values()), 0
    for name, told in members.items():
        limit = MAX_RECORDING_BYTES if name not in tables else told["size"]
        if told["size"] > limit or _hash(found, name, told["size"]) != told["sha256"]:
            raise damaged(path, f"The backup is damaged at {name[:80]}.")
        if name not in tables and name != file_member(told["sha256"]):
            raise damaged(path, f"The backup is damaged at {name[:80]}.")
        done += told["size"]
        progress("checking the backup", done / total if total else 1.0)
    made_at = datetime.fromisoformat(manifest["made_at"])
    return Archive(found, manifest["revision"], made_at, manifest["rows"], tuple(hashes))


def _manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    with archive.open(MANIFEST) as file:
        text = file.read(_MAX_MANIFEST)
    manifest: dict[str, Any] = json.loads(text)
    if manifest["format"] != FORMAT or manifest["revision"] not in known_revisions():
        raise StoreError(
            "The backup was made by a newer version of backprobe. Nothing was changed.",
            where=str(path),
            remedy=f"Install version {str(manifest['program'])[:40]} or later.",
        )
    return manifest


def _hash(archive: zipfile.ZipFile, name: str, size: int) -> str:
    """The hash of a member; empty where it is longer than it should be."""
    digest, left = hashlib.sha256(), size
    with archive.open(name) as member:
        while block := member.read(_BLOCK):
            left -= len(block)
            if left < 0:
                return ""
            digest.update(block)
    return digest.hexdigest() if left == 0 else ""
