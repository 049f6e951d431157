"""Keeps the answers up to date while readings come in.

A sheet that changed is glanced at at once: what was known of it is weighed against what is new.
Then it is gone into, which may take longer where many are at work; after a while without news all
is searched from the start, and that answer stays. Threads do so, each with an answering process,
store every answer with what it came from, and tell who waits. The second one that glances begins
when the first is busy, so that two people don't wait for each other.
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
from backprobe.services.answer_agenda import Agenda
from backprobe.services.answer_archive import (
    StoredAnswer,
    find_answer,
    keep_answer,
    latest_answer,
)
from backprobe.services.answer_process import Answering, AnswerProcess, Question, Reply, Step
from backprobe.services.costs import Costs
from backprobe.services.depth import Depth
from backprobe.services.incident import record_incident
from backprobe.services.limits import Limits
from backprobe.services.recent import Recent
from backprobe.services.settings import costs_in_force, limits_in_force
from backprobe.services.unavailable import Unavailable
from backprobe.store.engine import Store
from backprobe.store.loading import load_sheet
from backprobe.store.record import SheetRecord, job_of

PATIENCE: Final = 60.0  # s that a report waits for an answer
MOST_TRIES: Final = 2  # a process that dies over a sheet is not given it for ever
MOST_HANDED: Final = 100  # sheets, 0.5 MB each
SEARCHING: Final = -1  # number of the process that goes into sheets; others glance
N_GLANCING: Final = 2

Tell = Callable[[str, str, Mapping[str, Any]], None]


@dataclass(frozen=True, slots=True)
class _Input:
    """All that an answer depends on."""

    job_key: str
    job: Job
    text: str  # the job file
    limits: Limits
    costs: Costs
    without: tuple[Unavailable, ...]

    def parameters(self, depth: Depth) -> dict[str, Any]:
        """What beside the job file the answer came from, as it is stored."""
        glance = {"glance": True} if depth is Depth.GLANCE else {}
        return glance | {
            "whole": depth is Depth.WHOLE,
            "limits": [list(each) for each in self.limits.own],
            "costs": [list(each) for each in self.costs.own],
            "currency": self.costs.currency,
            "without": [[each.quantity, each.place, each.state] for each in self.without],
        }

    def question(self, sheet_key: str, depth: Depth, handed: bytes | None = None) -> Question:
        """As an answering process is asked."""
        own = (self.limits, self.costs, self.without)
        return Question(sheet_key, self.job, *own, depth, handed=handed)


class AnswerDesk:
    """The sheets to be answered, and the threads that work them off.

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
        self._agenda = Agenda()
        self._handed: Recent[bytes] = Recent(MOST_HANDED)  # to those who glance
        self._processes: dict[int, AnswerProcess] = {}
        self._threads = [
            threading.Thread(target=self._glance, args=(number,), daemon=True)
            for number in range(N_GLANCING)
        ]
        self._threads.append(threading.Thread(target=self._go_into, daemon=True))

    def start(self) -> None:
        """Begin to work."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Stop; what is not answered yet is asked for again next time."""
        self._agenda.close()
        for process in list(self._processes.values()):
            process.close()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(5.0)

    def ask(self, sheet_key: str) -> None:
        """Have a sheet answered as it stands now."""
        self._agenda.put_news(sheet_key)

    def is_awaited(self, sheet_key: str) -> bool:
        """Whether a newer answer of a sheet is on its way."""
        return self._agenda.is_awaited(sheet_key)

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

        What came quickly is followed by the whole search, also if the program was ended before.
        """
        found = self.current(sheet_key)
        if found is None:
            self.ask(sheet_key)
        elif found.is_glance:
            if not self.is_awaited(sheet_key):
                self._agenda.put_closer(sheet_key, Depth.QUICK)
        elif not found.is_whole:
            self._agenda.put_later(sheet_key)
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
            left = until - time.monotonic()
            if left <= 0 or not self._agenda.is_open:
                return None
            self.trouble.pop(sheet_key, None)
            self._agenda.put_closer(sheet_key, Depth.WHOLE)
            self._agenda.wait_for(sheet_key, left)
            if sheet_key in self.trouble:
                return None

    def _glance(self, number: int) -> None:
        """Glance at what is new; what goes wrong is told when the sheet is gone into."""
        if number > 0:
            self._warm_up(number)
        while (sheet_key := self._agenda.take_news(least_busy=number)) is not None:
            try:
                self._answer(sheet_key, Depth.GLANCE, number)
            except (BackprobeError, EOFError, OSError):
                pass
            except Exception as error:  # noqa: BLE001  # as below
                record_incident(error)
            finally:
                self._agenda.glanced_at(sheet_key)

    def _warm_up(self, number: int) -> None:
        """Have a process begin as soon as it is wanted, on a sheet that others answer meanwhile."""
        sheet_key = self._agenda.see_news(least_busy=number)
        if sheet_key is not None:
            with contextlib.suppress(BackprobeError, EOFError, OSError):
                with self.store.read() as session:
                    found = _input(session, sheet_key)
                self._ask(found.question(sheet_key, Depth.GLANCE), "", number)

    def _go_into(self) -> None:
        while (taken := self._agenda.take_closer()) is not None:
            sheet_key, depth = taken
            answered = False
            try:
                self._answer(sheet_key, depth, SEARCHING)
                answered = True
            except NotFoundError:
                pass  # gone since it was asked for
            except (BackprobeError, EOFError, OSError) as error:
                self._fail(sheet_key, error)
            except Exception as error:  # noqa: BLE001  # one sheet's surprise must not end all answers
                self._fail(sheet_key, BackprobeError(str(record_incident(error))))
            finally:
                self._agenda.gone_into(sheet_key, depth, answered=answered)

    def _answer(self, sheet_key: str, depth: Depth, who: int) -> None:
        """Answer a sheet as it stands, unless it was before; a glance may find nothing to say."""
        with self.store.read() as session:
            found = _input(session, sheet_key)
            known = _known(session, sheet_key, found, depth)
        if known is not None:
            self._told(sheet_key, found.job_key, known.seconds)
            return
        handed = self._handed.get(sheet_key) if depth is Depth.GLANCE else None
        reply = self._ask(found.question(sheet_key, depth, handed), found.job_key, who)
        if reply.content is None and depth is Depth.GLANCE:
            return
        if reply.handed is not None:
            self._handed.put(sheet_key, reply.handed)
        _keep(self.store, sheet_key, found, reply)
        self._told(sheet_key, found.job_key, reply.seconds)

    def _ask(self, question: Question, job_key: str, who: int) -> Reply:
        def on_step(step: Step) -> None:
            details = {"sheet": question.sheet, "what": step.what, "share": step.share}
            self.tell(job_key, "answer step", details)

        for turn in range(MOST_TRIES):
            if who not in self._processes:
                self._processes[who] = AnswerProcess(question.depth)
            try:
                return self._processes[who].ask(question, on_step)
            except (EOFError, OSError):
                self._processes.pop(who).close()
                if turn + 1 == MOST_TRIES or not self._agenda.is_open:
                    raise
        raise AssertionError  # the loop has returned or raised

    def _told(self, sheet_key: str, job_key: str, seconds: float) -> None:
        self.trouble.pop(sheet_key, None)
        self.tell(job_key, "answer", {"sheet": sheet_key, "seconds": round(seconds, 3)})

    def _fail(self, sheet_key: str, error: Exception) -> None:
        if not self._agenda.is_open:
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
        known = _known(session, sheet_key, found, Depth.WHOLE)
    if known is not None:
        return known
    question = found.question(sheet_key, Depth.WHOLE)
    _keep(store, sheet_key, found, Answering().reply(question, lambda _what, _share: None))
    with store.read() as session:
        kept = _known(session, sheet_key, found, Depth.WHOLE)
    if kept is None:
        raise NotFoundError("The sheet was deleted while its answer was worked out.")
    return kept


def _input(session: Session, sheet_key: str) -> _Input:
    job_key, head, sheet = load_sheet(session, sheet_key)
    job = job_of(head, sheet)
    return _Input(
        job_key,
        job,
        write_job(job),
        limits_in_force(session),
        costs_in_force(session),
        _without(sheet),
    )


def _without(sheet: SheetRecord) -> tuple[Unavailable, ...]:
    return tuple(Unavailable(each.quantity, each.place, each.state) for each in sheet.set_aside)


def _known(
    session: Session, sheet_key: str, found: _Input, least: Depth = Depth.GLANCE
) -> StoredAnswer | None:
    """The stored answer to an input that goes deepest, none that goes less deep than ``least``."""
    deep_enough = list(Depth)[list(Depth).index(least) :]
    kinds = [found.parameters(depth) for depth in reversed(deep_enough)]
    return find_answer(session, sheet_key, found.text, *kinds)


def _keep(store: Store, sheet_key: str, found: _Input, reply: Reply) -> None:
    """Store an answer with what it came from.

    Raises
    ------
    BackprobeError
        There is none.
    """
    if reply.content is None:
        raise reply.error or BackprobeError("There is no answer.")
    with store.write() as session:
        keep_answer(
            session,
            sheet_key,
            reply.content,
            job_file=found.text,
            parameters=found.parameters(reply.depth),
            seconds=reply.seconds,
        )
