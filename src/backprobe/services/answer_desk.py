"""Keeps the answers up to date while readings come in.

A sheet that changed is put on the list; one thread takes the sheets one after the other, has each
answered by the answering process, stores the answer with what it came from and tells who waits.
A sheet that changed again meanwhile is answered once, as it is then. Such an answer comes quickly:
it goes on from an earlier one, or leaves out the widest part of the search. After a while without
news all is searched from the start, and that answer stays.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy.orm import Session

from backprobe.errors import BackprobeError, NotFoundError, StoreError
from backprobe.job import Job, write_job
from backprobe.services.answer_archive import (
    StoredAnswer,
    find_answer,
    keep_answer,
    latest_answer,
    packed,
)
from backprobe.services.answer_process import Answering, AnswerProcess, Question, Reply, Step
from backprobe.services.costs import Costs
from backprobe.services.incident import record_incident
from backprobe.services.limits import Limits
from backprobe.services.settings import costs_in_force, limits_in_force
from backprobe.services.unavailable import Unavailable
from backprobe.store.engine import Store
from backprobe.store.loading import load_sheet
from backprobe.store.record import SheetRecord, job_of

QUIET: Final = 4.0  # s without news after which a sheet is searched from the start
REST: Final = 1.0  # s without news of any sheet before that: many at work are answered first
MOST_DELAY: Final = 300.0  # s that the others may put it off
PATIENCE: Final = 60.0  # s that a report waits for an answer
MOST_TRIES: Final = 2  # a process that dies over a sheet is not given it for ever

Tell = Callable[[str, str, Mapping[str, Any]], None]


@dataclass(frozen=True, slots=True)
class _Input:
    """All that an answer depends on."""

    job_key: str
    job: Job
    limits: Limits
    costs: Costs
    without: tuple[Unavailable, ...]

    def parameters(self, *, whole: bool) -> dict[str, Any]:
        """What beside the job file the answer came from, as it is stored."""
        return {
            "whole": whole,
            "limits": [list(each) for each in self.limits.own],
            "costs": [list(each) for each in self.costs.own],
            "currency": self.costs.currency,
            "without": [[each.quantity, each.place, each.state] for each in self.without],
        }


class AnswerDesk:
    """The list of sheets to be answered, and the thread that works it off.

    Parameters
    ----------
    store : Store
        Where sheets are read and answers kept.
    tell : callable
        Called with a job's key, "answer" | "answer step" | "answer failed", and details.
    """

    def __init__(self, store: Store, tell: Tell) -> None:
        self.store = store
        self.tell = tell
        self.trouble: dict[str, BackprobeError] = {}  # why a sheet has no answer
        self._wanted: dict[str, bool] = {}  # sheet and whether from the start, oldest first
        self._later: dict[str, float] = {}  # sheets to search from the start, and when
        self._busy = ""
        self._news_at = 0.0  # when the last sheet with news was answered
        self._news = threading.Condition()
        self._is_open = True
        self._process: AnswerProcess | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to work."""
        self._thread = threading.Thread(target=self._work, name="answers", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop; what is not answered yet is asked for again next time."""
        with self._news:
            self._is_open = False
            self._news.notify_all()
            process = self._process
        if process is not None:
            process.close()
        if self._thread is not None:
            self._thread.join(5.0)

    def ask(self, sheet_key: str) -> None:
        """Have a sheet answered as it stands now."""
        with self._news:
            self._wanted.setdefault(sheet_key, False)
            self._later.pop(sheet_key, None)
            self._news.notify_all()

    def is_awaited(self, sheet_key: str) -> bool:
        """Whether a newer answer of a sheet is on its way."""
        with self._news:
            return sheet_key in self._wanted or self._busy == sheet_key

    def latest(self, sheet_key: str) -> StoredAnswer | None:
        """The answer that was derived last; None where there is none yet."""
        with self.store.read() as session:
            return latest_answer(session, sheet_key)

    def current(self, sheet_key: str) -> StoredAnswer | None:
        """The answer to the sheet as it stands; None where it has to be derived first."""
        with self.store.read() as session:
            found = _input(session, sheet_key)
            return _known(session, sheet_key, found)

    def current_or_asked(self, sheet_key: str) -> StoredAnswer | None:
        """The answer to the sheet as it stands; where there is none yet it is asked for.

        One that came quickly is followed by the whole search, also if the program was ended before.
        """
        found = self.current(sheet_key)
        if found is None:
            self.ask(sheet_key)
        elif not found.is_whole:
            with self._news:
                if sheet_key not in self._wanted and self._busy != sheet_key:
                    self._later.setdefault(sheet_key, time.monotonic() + QUIET)
                    self._news.notify_all()
        return found

    def whole(self, sheet_key: str, patience: float = PATIENCE) -> StoredAnswer | None:
        """The answer to the sheet as it stands, searched from the start; waits until it is there.

        None where it takes longer than ``patience`` (s), or can't be had.
        """
        until = time.monotonic() + patience
        while True:
            found = self.current(sheet_key)
            if found is not None and found.is_whole:
                return found
            with self._news:
                left = until - time.monotonic()
                if left <= 0 or not self._is_open:
                    return None
                self._wanted[sheet_key] = True
                self.trouble.pop(sheet_key, None)
                self._news.notify_all()
                self._news.wait_for(
                    lambda: sheet_key not in self._wanted and self._busy != sheet_key, left
                )
                if sheet_key in self.trouble:
                    return None

    def _work(self) -> None:
        while True:
            taken = self._take()
            if taken is None:
                return
            sheet_key, whole = taken
            try:
                self._answer(sheet_key, whole=whole)
            except NotFoundError:
                pass  # gone since it was asked for
            except (BackprobeError, EOFError, OSError) as error:
                self._fail(sheet_key, error)
            except Exception as error:  # noqa: BLE001  # one sheet's surprise must not end all answers
                self._fail(sheet_key, BackprobeError(str(record_incident(error))))
            finally:
                with self._news:
                    self._busy = ""
                    self._news_at = self._news_at if whole else time.monotonic()
                    self._news.notify_all()

    def _take(self) -> tuple[str, bool] | None:
        """Wait for the next sheet to answer; None when the desk closes."""
        with self._news:
            while self._is_open:
                if self._wanted:
                    sheet_key = next(iter(self._wanted))
                    self._busy = sheet_key
                    return sheet_key, self._wanted.pop(sheet_key)
                due, wait = self._due()
                if wait is not None and wait <= 0:
                    del self._later[due]
                    return due, True
                self._news.wait(wait)
        return None

    def _due(self) -> tuple[str, float | None]:
        """Sheet that is next to be searched from the start, and in how many seconds; None: none."""
        if not self._later:
            return "", None
        due = min(self._later, key=lambda k: self._later[k])
        rested = max(self._later[due], self._news_at + REST)
        return due, min(rested, self._later[due] + MOST_DELAY) - time.monotonic()

    def _answer(self, sheet_key: str, *, whole: bool) -> None:
        with self.store.read() as session:
            found = _input(session, sheet_key)
            known = _known(session, sheet_key, found)
        if known is not None and (known.is_whole or not whole):
            self._told(sheet_key, found.job_key, known)
            return
        question = Question(
            sheet_key, found.job, found.limits, found.costs, found.without, whole=whole
        )
        reply = self._ask(question, found.job_key)
        if reply.answer is None:
            raise reply.error or BackprobeError("There is no answer.")
        content, job_file = packed(reply.answer), write_job(found.job)
        with self.store.write() as session:
            kept = keep_answer(
                session,
                sheet_key,
                reply.answer,
                content,
                job_file=job_file,
                parameters=found.parameters(whole=reply.whole),
                seconds=reply.seconds,
            )
        if not reply.whole:
            with self._news:
                self._later[sheet_key] = time.monotonic() + QUIET
        self._told(sheet_key, found.job_key, kept)

    def _ask(self, question: Question, job_key: str) -> Reply:
        def on_step(step: Step) -> None:
            details = {"sheet": question.sheet, "what": step.what, "share": step.share}
            self.tell(job_key, "answer step", details)

        for turn in range(MOST_TRIES):
            if self._process is None:
                self._process = AnswerProcess()
            try:
                return self._process.ask(question, on_step)
            except (EOFError, OSError):
                process, self._process = self._process, None
                process.close()
                if turn + 1 == MOST_TRIES or not self._is_open:
                    raise
        raise AssertionError  # the loop has returned or raised

    def _told(self, sheet_key: str, job_key: str, kept: StoredAnswer) -> None:
        self.trouble.pop(sheet_key, None)
        self.tell(job_key, "answer", {"sheet": sheet_key, "seconds": round(kept.seconds, 3)})

    def _fail(self, sheet_key: str, error: Exception) -> None:
        if not self._is_open:
            return
        told = (
            error
            if isinstance(error, BackprobeError)
            else BackprobeError(
                "Working out the answer was interrupted.",
                remedy="The readings are stored. The next reading starts it again.",
            )
        )
        self.trouble[sheet_key] = told
        with contextlib.suppress(StoreError, NotFoundError):
            with self.store.read() as session:
                job_key = load_sheet(session, sheet_key)[0]
            self.tell(job_key, "answer failed", {"sheet": sheet_key, "what": str(told)})


def derive(store: Store, sheet_key: str) -> StoredAnswer:
    """The answer to a sheet as it stands, worked out here and now where it isn't kept yet.

    Raises
    ------
    BackprobeError
        There is no such sheet, or no answer can be had.
    """
    with store.read() as session:
        found = _input(session, sheet_key)
        known = _known(session, sheet_key, found)
    if known is not None and known.is_whole:
        return known
    question = Question(sheet_key, found.job, found.limits, found.costs, found.without, whole=True)
    reply = Answering().reply(question, lambda _what, _share: None)
    if reply.answer is None:
        raise reply.error or BackprobeError("There is no answer.")
    content = packed(reply.answer)
    with store.write() as session:
        return keep_answer(
            session,
            sheet_key,
            reply.answer,
            content,
            job_file=write_job(found.job),
            parameters=found.parameters(whole=True),
            seconds=reply.seconds,
        )


def _input(session: Session, sheet_key: str) -> _Input:
    job_key, head, sheet = load_sheet(session, sheet_key)
    return _Input(
        job_key,
        job_of(head, sheet),
        limits_in_force(session),
        costs_in_force(session),
        _without(sheet),
    )


def _without(sheet: SheetRecord) -> tuple[Unavailable, ...]:
    return tuple(Unavailable(each.quantity, each.place, each.state) for each in sheet.set_aside)


def _known(session: Session, sheet_key: str, found: _Input) -> StoredAnswer | None:
    """The stored answer to an input; one searched from the start goes first."""
    text = write_job(found.job)
    for whole in (True, False):
        known = find_answer(session, sheet_key, text, found.parameters(whole=whole))
        if known is not None:
            return known
    return None
