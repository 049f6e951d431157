"""Pictures and documents beside the data base, each under the hash of its content.

A file is whole or not there: it is written under another name, made durable, then renamed. No
name that anybody gave is ever part of a path.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Final

from backprobe.errors import StoreError

_HASH: Final = re.compile(r"[0-9a-f]{64}")
_PART: Final = ".part"
_BLOCK: Final = 1 << 20


def is_hash(text: str) -> bool:
    """Whether a text can name a file: a SHA-256 in small hexadecimal digits."""
    return _HASH.fullmatch(text) is not None


def path_of(folder: Path, sha256: str) -> Path:
    """Where a content is kept: in folders by its first digits, so that none gets too full."""
    if not is_hash(sha256):
        raise ValueError("not the hash of a content")
    return folder / sha256[:2] / sha256[2:4] / sha256


def put(folder: Path, content: bytes) -> str:
    """Keep a content durably and return its hash; the same content is kept once.

    Raises
    ------
    StoreError
        It can't be written: the disk is full, or the folder can't be written to.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    if hash_of(path_of(folder, sha256)) == sha256:
        return sha256
    return put_parts(folder, (content,))


def put_parts(folder: Path, parts: Iterable[bytes]) -> str:
    """Keep a content that comes in parts, of any length, durably; returns its hash.

    Raises
    ------
    StoreError
        It can't be written: the disk is full, or the folder can't be written to.
    """
    digest = hashlib.sha256()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=folder, suffix=_PART)
        try:
            with os.fdopen(handle, "wb") as file:
                for part in parts:
                    digest.update(part)
                    file.write(part)
                make_durable(file)
            path = path_of(folder, digest.hexdigest())
            path.parent.mkdir(parents=True, exist_ok=True)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        make_names_durable(path.parent)
    except OSError as error:
        raise StoreError(
            f"The file can't be kept: {error.strerror or error}.",
            where=str(folder),
            remedy="Make room, or give yourself the right to write there, then add it again.",
        ) from error
    return digest.hexdigest()


def parts_of(path: Path) -> Iterator[bytes]:
    """What a file holds, in parts that fit into the memory."""
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            yield block


def get(folder: Path, sha256: str) -> bytes:
    """Read a content back, as sound as it was written.

    Raises
    ------
    StoreError
        It is missing, can't be read, or isn't what was kept.
    """
    return b"".join(sound_parts(folder, sha256))


def _unreadable(path: Path, error: OSError) -> StoreError:
    return StoreError(
        f"The file can't be read: {error.strerror or error}.",
        where=str(path),
        remedy="Run `backprobe doctor`; a backup may still have it.",
    )


def _changed(path: Path) -> StoreError:
    return StoreError(
        "The file has changed since it was kept, so it isn't shown.",
        where=str(path),
        remedy="Run `backprobe doctor`; a backup may still have it.",
    )


def sound_parts(folder: Path, sha256: str) -> Iterator[bytes]:
    """A content in parts, as sound as it was written; a changed one is told at its end.

    Raises
    ------
    StoreError
        It is missing, can't be read, or isn't what was kept.
    """
    path, digest = path_of(folder, sha256), hashlib.sha256()
    try:
        for part in parts_of(path):
            digest.update(part)
            yield part
    except OSError as error:
        raise _unreadable(path, error) from error
    if digest.hexdigest() != sha256:
        raise _changed(path)


def hash_of(path: Path) -> str:
    """The hash of what a file holds now; empty where it can't be read."""
    digest = hashlib.sha256()
    try:
        for block in parts_of(path):
            digest.update(block)
    except OSError:
        return ""
    return digest.hexdigest()


def kept(folder: Path) -> Iterator[str]:
    """Hashes of all contents of a folder, in their order."""
    for path in sorted(folder.glob("??/??/*")):
        if is_hash(path.name):
            yield path.name


def make_durable(file: IO[bytes]) -> None:
    """Wait until what was written to a file is on the disk."""
    file.flush()
    os.fsync(file.fileno())


def make_names_durable(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, where the system offers that."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return  # Windows opens no folders; its renames are in the file system's own journal
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
