"""Processes that answer: one goes into sheets and keeps what it knew of them, others glance.

Explaining takes a good part of a second of one core. In a process of its own it never holds up
whoever is storing readings, and a crash in it costs nothing that was stored. What was found when a
sheet was gone into is handed over with the answer; who glances at it later goes on from there.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import pickle
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any, Final

from backprobe.errors import BackprobeError
from backprobe.job import Job
from backprobe.services.answer import Answer
from backprobe.services.answer_archive import packed
from backprobe.services.carry import Known
from backprobe.services.costs import DEFAULT_COSTS, Costs
from backprobe.services.depth import Depth
from backprobe.services.explain import answer_of, glance_in_words, glanced_at, posterior_of
from backprobe.services.incident import record_incident
from backprobe.services.limits import DEFAULT_LIMITS, Limits
from backprobe.services.recent import Recent
from backprobe.services.unavailable import Unavailable, not_taken

YOUNG: Final = 1  # generation: what long-lived arrays hang on need not be looked through
MOST_KNOWN: Final = 100  # sheets of which something is kept to go on from, about 1 MB each
NICER: Final = 5  # storing readings and serving pages goes first
# Searches stand further back, once they have begun: glances go before them. Yet not so far that
# other programs of a busy computer could keep an answer away for good.
NICER_STILL: Final = 10


@dataclass(frozen=True, slots=True)
class Question:
    """One sheet to be answered; ``handed`` was handed over by who last went into it."""

    sheet: str
    job: Job
    limits: Limits = DEFAULT_LIMITS
    costs: Costs = DEFAULT_COSTS
    without: tuple[Unavailable, ...] = ()
    depth: Depth = Depth.QUICK
    handed: bytes | None = None


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, or the error that came instead; neither where a glance can't tell.

    The answer comes packed as it is stored, so that nobody else spends time on it. ``handed`` is
    for those who glance at the sheet later.
    """

    sheet: str
    content: bytes | None
    seconds: float
    depth: Depth
    error: BackprobeError | None = None
    handed: bytes | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """How far a long preparation has come."""

    what: str
    share: float


class AnswerProcess:
    """The other end of the process; used by one thread at a time."""

    def __init__(self, deepest: Depth) -> None:
        # "spawn" everywhere, as Windows has no other way.
        context = multiprocessing.get_context("spawn")
        self._here, there = context.Pipe()
        self._process = context.Process(target=_serve, args=(there, deepest), daemon=True)
        self._process.start()
        there.close()

    def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
        """Have one sheet answered; raises EOFError or OSError where the process has died."""
        self._here.send(question)
        while True:
            message: Any = self._here.recv()
            if isinstance(message, Reply):
                return message
            on_step(message)

    def close(self) -> None:
        """End the process."""
        with contextlib.suppress(OSError):
            self._here.close()
        self._process.terminate()
        self._process.join(2.0)


def _serve(there: Connection, deepest: Depth) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent alone answers Ctrl-C
    _stand_back(NICER)
    answering, still = Answering(), 0 if deepest is Depth.GLANCE else NICER_STILL
    gc.disable()
    while True:
        try:
            question = there.recv()
        except (EOFError, OSError):
            return
        reply = answering.reply(question, lambda what, share: there.send(Step(what, share)))
        with contextlib.suppress(OSError):
            there.send(reply)
        gc.collect(YOUNG)  # while nobody waits
        _stand_back(still)
        still = 0


def _stand_back(steps: int) -> None:
    nice = getattr(os, "nice", None)  # not on Windows
    if nice is not None and steps:
        with contextlib.suppress(OSError):
            nice(steps)


class Answering:
    """Answers, and keeps what is known of the sheets that it went into last."""

    def __init__(self) -> None:
        self._known: Recent[Known] = Recent(MOST_KNOWN)

    def reply(self, question: Question, progress: Callable[[str, float], None]) -> Reply:
        """Answer one question; what goes wrong becomes the reply's error."""
        begun = time.perf_counter()
        content, error, handed = None, None, None
        try:
            content, handed = self._answer(question, progress)
        except BackprobeError as known_error:
            error = known_error
        except Exception as surprise:  # noqa: BLE001  # one sheet's surprise must not cost the others theirs
            error = BackprobeError(str(record_incident(surprise)))
        seconds = time.perf_counter() - begun
        return Reply(question.sheet, content, seconds, question.depth, error, handed)

    def _answer(
        self, question: Question, progress: Callable[[str, float], None]
    ) -> tuple[bytes | None, bytes | None]:
        """The answer, and what to hand over."""
        if question.depth is Depth.GLANCE:
            return _glance(question, progress), None
        earlier = self._known.get(question.sheet) if question.depth is Depth.QUICK else None
        posterior = posterior_of(
            question.job, progress=progress, earlier=earlier, depth=question.depth
        )
        answer = answer_of(posterior, "", question.limits, question.costs, question.without)
        known = posterior.known
        self._known.put(question.sheet, known)
        return packed(answer), pickle.dumps((known, answer))


def _glance(question: Question, progress: Callable[[str, float], None]) -> bytes | None:
    """What a glance tells, with estimates and readings still open as they were said before."""
    known: Known | None = None
    said: Answer | None = None
    if question.handed is not None:
        known, said = pickle.loads(question.handed)  # noqa: S301  # our own process's
    seen = glanced_at(question.job, progress=progress, earlier=known)
    if seen is None:
        return None
    answer = glance_in_words(seen, question.limits)
    if said is not None:
        still = not_taken(said.next, question.job)
        answer = replace(answer, estimates=said.estimates, next=still)
    return packed(answer)
