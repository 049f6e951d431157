"""A process that answers: it keeps what it knew of a sheet, and goes on from there.

Explaining takes a good part of a second of one core. In a process of its own it never holds up
whoever is storing readings, and a crash in it costs nothing that was stored. There are two: one
glances at what is new, the other goes into it and hands over what it found, to glance from.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, Final

from backprobe.errors import BackprobeError
from backprobe.job import Job
from backprobe.services.answer import Answer
from backprobe.services.carry import Known
from backprobe.services.costs import DEFAULT_COSTS, Costs
from backprobe.services.depth import Depth
from backprobe.services.explain import answer_of, glance_in_words, glanced_at, posterior_of
from backprobe.services.incident import record_incident
from backprobe.services.limits import DEFAULT_LIMITS, Limits
from backprobe.services.recent import Recent
from backprobe.services.unavailable import Unavailable

MOST_KNOWN: Final = 100  # sheets of which something is kept to go on from, about 1 MB each
NICER: Final = {Depth.GLANCE: 5, Depth.WHOLE: 15}  # storing and serving goes first, then glances


@dataclass(frozen=True, slots=True)
class Question:
    """One sheet to be answered; ``known`` is what another process handed over about it."""

    sheet: str
    job: Job
    limits: Limits = DEFAULT_LIMITS
    costs: Costs = DEFAULT_COSTS
    without: tuple[Unavailable, ...] = ()
    depth: Depth = Depth.QUICK
    known: bytes | None = None


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, or the error that came instead; neither where a glance can't tell.

    ``known`` is what to hand over to a process that glances at the sheet.
    """

    sheet: str
    answer: Answer | None
    seconds: float
    depth: Depth
    error: BackprobeError | None = None
    known: bytes | None = None


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
        self._process = context.Process(target=_serve, args=(there, NICER[deepest]), daemon=True)
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


def _serve(there: Connection, nicer: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent alone answers Ctrl-C
    nice = getattr(os, "nice", None)  # not on Windows
    if nice is not None:
        with contextlib.suppress(OSError):
            nice(nicer)
    answering = Answering()
    while True:
        try:
            question = there.recv()
        except (EOFError, OSError):
            return
        reply = answering.reply(question, lambda what, share: there.send(Step(what, share)))
        with contextlib.suppress(OSError):
            there.send(reply)


class Answering:
    """What is known of the sheets that were asked about last."""

    def __init__(self) -> None:
        self._known: Recent[Known] = Recent(MOST_KNOWN)

    def reply(self, question: Question, progress: Callable[[str, float], None]) -> Reply:
        """Answer one question; what goes wrong becomes the reply's error."""
        begun = time.perf_counter()
        answer, error, known = None, None, None
        try:
            answer, known = self._answer(question, progress)
        except BackprobeError as known_error:
            error = known_error
        except Exception as surprise:  # noqa: BLE001  # one sheet's surprise must not cost the others theirs
            error = BackprobeError(str(record_incident(surprise)))
        seconds = time.perf_counter() - begun
        return Reply(question.sheet, answer, seconds, question.depth, error, known)

    def _answer(
        self, question: Question, progress: Callable[[str, float], None]
    ) -> tuple[Answer | None, bytes | None]:
        """The answer, and what to hand over."""
        if question.known is not None:
            self._known.put(question.sheet, pickle.loads(question.known))  # noqa: S301  # our own process's
        earlier, job = self._known.get(question.sheet), question.job
        if question.depth is Depth.GLANCE:
            seen = glanced_at(job, progress=progress, earlier=earlier)
            if seen is None:
                return None, None
            self._known.put(question.sheet, seen.known)
            return glance_in_words(seen, question.limits), None
        if question.depth is Depth.WHOLE:
            earlier = None
        posterior = posterior_of(job, progress=progress, earlier=earlier, depth=question.depth)
        answer = answer_of(posterior, "", question.limits, question.costs, question.without)
        known = posterior.known
        self._known.put(question.sheet, known)
        return answer, pickle.dumps(known)
