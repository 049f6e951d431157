"""Files on their way in, piece by piece, so that a lost connection costs one piece.

A file waits beside the data base until it is taken in or given up; it is told by a key of our own,
and nothing that anybody called it is ever part of a path.
"""

from __future__ import annotations

import json
import re
import secrets
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from backprobe.errors import ConflictError, NotFoundError, StoreError, ValueOutOfRange
from backprobe.services.attachments import shown_name
from backprobe.store.engine import Store
from backprobe.store.files import make_durable

LARGEST: Final = 4 << 30  # bytes of one file
LONGEST_WAIT: Final = 86_400.0  # s after which a file that was not taken in is given up
_KEY: Final = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Incoming:
    """A file on its way in.

    size : bytes that it will have; ``there`` : bytes that are there.
    """

    key: str
    job: str
    name: str
    size: int
    there: int
    path: Path

    @property
    def is_whole(self) -> bool:
        """Whether all of it is there."""
        return self.there == self.size


def begin(store: Store, job: str, name: str, size: int) -> Incoming:
    """Make room for a file of a job.

    Raises
    ------
    ValueOutOfRange
        It is empty or too large.
    """
    if not 0 < size <= LARGEST:
        told = f"The file has {size / 1e9:.2f} GB" if size > 0 else "The file is empty"
        raise ValueOutOfRange(
            f"{told}; up to {LARGEST / 1e9:.1f} GB are taken in.",
            remedy="Record a shorter stretch, or fewer channels.",
        )
    key = secrets.token_hex(16)
    path = _path(store, key)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
        told_path = path.with_suffix(".json")
        about = {"job": job, "name": shown_name(name), "size": size}
        told_path.write_text(json.dumps(about), encoding="utf-8")
    except OSError as error:
        raise _cannot(store, error) from error
    return found(store, key)


def found(store: Store, key: str) -> Incoming:
    """A file on its way in.

    Raises
    ------
    NotFoundError
        There is none of this key, or it was given up.
    """
    path = _path(store, key)
    try:
        about = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        there = path.stat().st_size
    except (OSError, ValueError) as error:
        raise NotFoundError(
            "This file is no longer on its way in.", remedy="Choose it again."
        ) from error
    return Incoming(key, about["job"], about["name"], about["size"], there, path)


def append(store: Store, key: str, offset: int, piece: bytes) -> Incoming:
    """Put a piece behind what is there; one that is there already is not put twice.

    Raises
    ------
    ConflictError
        It doesn't join on to what is there; the message says where to go on.
    ValueOutOfRange
        It is more than was said.
    """
    known = found(store, key)
    if offset + len(piece) > known.size:
        raise ValueOutOfRange(
            f"The file has more than the {known.size} bytes that were told.",
            remedy="Choose it again.",
        )
    if offset + len(piece) <= known.there:
        return known
    if offset != known.there:
        raise ConflictError(
            f"{known.there} bytes of the file are there.", remedy="Go on from there."
        )
    try:
        with known.path.open("ab") as file:
            file.write(piece)
            make_durable(file)
    except OSError as error:
        raise _cannot(store, error) from error
    return found(store, key)


def give_up(store: Store, key: str) -> None:
    """Forget a file that was on its way in."""
    path = _path(store, key)
    path.unlink(missing_ok=True)
    path.with_suffix(".json").unlink(missing_ok=True)


def give_up_old(store: Store) -> int:
    """Forget files that nobody took in; returns how many."""
    gone = 0
    for about in _folder(store).glob("*.json"):
        try:
            is_old = time.time() - about.with_suffix("").stat().st_mtime > LONGEST_WAIT
        except OSError:
            is_old = True
        if is_old and _KEY.fullmatch(about.stem):
            give_up(store, about.stem)
            gone += 1
    return gone


def _folder(store: Store) -> Path:
    return store.files / "incoming"


def _path(store: Store, key: str) -> Path:
    if not _KEY.fullmatch(key):
        raise NotFoundError("This file is no longer on its way in.", remedy="Choose it again.")
    return _folder(store) / key


def _cannot(store: Store, error: OSError) -> StoreError:
    return StoreError(
        f"The file can't be kept: {error.strerror or error}.",
        where=str(store.files),
        remedy="Make room, or give yourself the right to write there, then send it again.",
    )
