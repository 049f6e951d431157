"""A process that answers: it keeps what it knew of a sheet, and goes on from there.

Explaining takes a good part of a second of one core. In a process of its own it never holds up
whoever is storing readings, and a crash in it costs nothing that was stored.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, Final

from backprobe.errors import BackprobeError
from backprobe.job import Job
from backprobe.services.answer import Answer
from backprobe.services.carry import Known
from backprobe.services.costs import DEFAULT_COSTS, Costs
from backprobe.services.explain import answer_of, posterior_of
from backprobe.services.incident import record_incident
from backprobe.services.limits import DEFAULT_LIMITS, Limits
from backprobe.services.unavailable import Unavailable

MOST_KNOWN: Final = 100  # sheets of which something is kept to go on from, about 1 MB each
NICER: Final = 5  # storing readings and serving pages goes first


@dataclass(frozen=True, slots=True)
class Question:
    """One sheet to be answered."""

    sheet: str
    job: Job
    limits: Limits = DEFAULT_LIMITS
    costs: Costs = DEFAULT_COSTS
    without: tuple[Unavailable, ...] = ()
    whole: bool = False  # search all of it from the start, whatever was known before


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, or the error that came instead; ``whole`` tells how it was searched."""

    sheet: str
    answer: Answer | None
    seconds: float
    whole: bool
    error: BackprobeError | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """How far a long preparation has come."""

    what: str
    share: float


class AnswerProcess:
    """The other end of the process; used by one thread at a time."""

    def __init__(self) -> None:
        # "spawn" everywhere, as Windows has no other way.
        context = multiprocessing.get_context("spawn")
        self._here, there = context.Pipe()
        self._process = context.Process(target=_serve, args=(there,), daemon=True)
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


def _serve(there: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent alone answers Ctrl-C
    nice = getattr(os, "nice", None)  # not on Windows
    if nice is not None:
        with contextlib.suppress(OSError):
            nice(NICER)
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
        self._known: OrderedDict[str, Known] = OrderedDict()

    def reply(self, question: Question, progress: Callable[[str, float], None]) -> Reply:
        """Answer one question; what goes wrong becomes the reply's error."""
        begun = time.perf_counter()
        try:
            answer = self._answer(question, progress)
        except BackprobeError as error:
            return Reply(question.sheet, None, time.perf_counter() - begun, True, error)
        except Exception as error:  # noqa: BLE001  # one sheet's surprise must not cost the others theirs
            told = BackprobeError(str(record_incident(error)))
            return Reply(question.sheet, None, time.perf_counter() - begun, True, told)
        return Reply(question.sheet, answer, time.perf_counter() - begun, question.whole)

    def _answer(self, question: Question, progress: Callable[[str, float], None]) -> Answer:
        earlier = None if question.whole else self._known.pop(question.sheet, None)
        posterior = posterior_of(
            question.job, progress=progress, earlier=earlier, quick=not question.whole
        )
        self._known[question.sheet] = posterior.known
        self._known.move_to_end(question.sheet)
        while len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)
        return answer_of(posterior, "", question.limits, question.costs, question.without)
