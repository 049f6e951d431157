"""Answers as they are kept: with the job file, parameters and versions that they came from."""

from __future__ import annotations

import hashlib
import json
import platform
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from importlib.metadata import version
from typing import Any, Final

from pydantic import TypeAdapter
from sqlalchemy import select
from sqlalchemy.orm import Session

from backprobe import __version__
from backprobe.services.answer import Answer
from backprobe.store.columns import now
from backprobe.store.events import sheet_row
from backprobe.store.schema import AnswerRow

_LIBRARIES: Final = ("numpy", "scipy")
_MOST_UNPACKED: Final = 64  # answers; several pages show the same one


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """A derived answer and what it was derived from."""

    answer: Answer
    job_file: str
    parameters: Mapping[str, Any]
    versions: Mapping[str, str]
    computed_at: datetime
    seconds: float
    input_hash: str

    @property
    def is_glance(self) -> bool:
        """Whether what was known before was but weighed against the latest readings."""
        return bool(self.parameters.get("glance", False))

    @property
    def is_whole(self) -> bool:
        """Whether all was searched from the start: not quickly, nor from the answer before."""
        return bool(self.parameters.get("whole", True))


@cache
def _adapter() -> TypeAdapter[Answer]:
    return TypeAdapter(Answer)


def answer_as_text(answer: Answer) -> str:
    """All of an answer as JSON, also what serves the words only."""
    # Not the library's own JSON: it has no infinity, which a sample size may be.
    return json.dumps(_adapter().dump_python(answer), ensure_ascii=False)


def answer_from_text(text: str) -> Answer:
    """The answer back from its JSON."""
    return _adapter().validate_python(json.loads(text))


@cache
def versions() -> dict[str, str]:
    """What an answer depends on beside its input: this program and what computes in it."""
    found = {"backprobe": __version__, "python": platform.python_version()}
    return found | {name: version(name) for name in _LIBRARIES}


def input_hash(job_file: str, parameters: Mapping[str, Any]) -> str:
    """SHA-256 over everything that an answer depends on."""
    whole = json.dumps([job_file, parameters, versions()], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(whole.encode("utf-8")).hexdigest()


def packed(answer: Answer) -> bytes:
    """An answer as it is stored; made before the writer's turn, which others wait for."""
    return zlib.compress(answer_as_text(answer).encode("utf-8"))


@lru_cache(maxsize=_MOST_UNPACKED)
def unpacked(content: bytes) -> Answer:
    """The answer that was packed."""
    return answer_from_text(zlib.decompress(content).decode("utf-8"))


def keep_answer(
    session: Session,
    sheet_key: str,
    content: bytes,
    *,
    job_file: str,
    parameters: Mapping[str, Any],
    seconds: float,
) -> None:
    """Store a packed answer; the same input keeps the one it had first."""
    digest = input_hash(job_file, parameters)
    sheet = sheet_row(session, sheet_key)
    if _found(session, sheet.id, [digest]):
        return
    session.add(
        AnswerRow(
            sheet_id=sheet.id,
            input_hash=digest,
            job_file=zlib.compress(job_file.encode("utf-8")),
            parameters=dict(parameters),
            versions=versions(),
            answer=content,
            computed_at=now(),
            seconds=seconds,
        )
    )
    session.flush()


def find_answer(
    session: Session, sheet_key: str, job_file: str, *parameters: Mapping[str, Any]
) -> StoredAnswer | None:
    """The answer to exactly this input, where it is kept; of several kinds, the first there is."""
    sheet = sheet_row(session, sheet_key)
    digests = [input_hash(job_file, each) for each in parameters]
    rows = {row.input_hash: row for row in _found(session, sheet.id, digests)}
    return next((_stored(rows[digest]) for digest in digests if digest in rows), None)


def latest_answer(session: Session, sheet_key: str) -> StoredAnswer | None:
    """The answer that was derived last, whatever has been read since."""
    sheet = sheet_row(session, sheet_key)
    row = session.scalars(
        select(AnswerRow).where(AnswerRow.sheet_id == sheet.id).order_by(AnswerRow.id.desc())
    ).first()
    return None if row is None else _stored(row)


def _found(session: Session, sheet_id: int, digests: Sequence[str]) -> Sequence[AnswerRow]:
    return session.scalars(
        select(AnswerRow).where(AnswerRow.sheet_id == sheet_id, AnswerRow.input_hash.in_(digests))
    ).all()


def _stored(row: AnswerRow) -> StoredAnswer:
    return StoredAnswer(
        answer=unpacked(row.answer),
        job_file=zlib.decompress(row.job_file).decode("utf-8"),
        parameters=row.parameters,
        versions=row.versions,
        computed_at=row.computed_at,
        seconds=row.seconds,
        input_hash=row.input_hash,
    )
