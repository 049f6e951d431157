"""From file names to answers, in order, each file for itself; in two processes when there are many.

One unusable file does not keep the others from being answered: its outcome carries the error's
paragraph in place of an answer.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from backprobe.errors import BackprobeError
from backprobe.job import Job
from backprobe.services.answer import Answer
from backprobe.services.incident import record_incident

MANY_FILES: Final = 3
WORKERS: Final = 2

Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A file's job and answer, or the paragraph that says why there is none."""

    file: str
    job: Job | None = None
    answer: Answer | None = None
    error: str = ""


def outcomes(files: Sequence[str], progress: Progress | None = None) -> Iterator[Outcome]:
    """Answer every file, in the order given, each as soon as it and those before it are ready."""
    if len(files) <= MANY_FILES:
        for file in files:
            yield answer_file(file, progress)
        return
    # "spawn" everywhere, as Windows has no other way: behaves the same on every system.
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(WORKERS, mp_context=context, initializer=_leave_interrupts_alone)
    try:
        yield from pool.map(answer_file, files)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def answer_file(file: str, progress: Progress | None = None) -> Outcome:
    """Read and answer one file; whatever goes wrong becomes the outcome's error."""
    try:
        job = read(file)
        return Outcome(file, job, explain_job(job, file, progress))
    except BackprobeError as error:
        text = str(error)
        return Outcome(file, error=text if file in text else f"{file}: {text}")
    except Exception as error:  # noqa: BLE001  # one file's surprise must not cost the others theirs
        return Outcome(file, error=f"{file}: {record_incident(error)}")


def read(file: str) -> Job:
    """Read a job file."""
    from backprobe.job.job_file import read_job

    return read_job(Path(file))


def explain_job(job: Job, file: str, progress: Progress | None = None) -> Answer:
    """Ask the service; imported only now, since numpy and scipy take their time to load."""
    from backprobe.services.explain import explain

    return explain(job, file=file, progress=progress)


def _leave_interrupts_alone() -> None:
    """Let the parent alone answer Ctrl-C, so that no worker prints a trace of its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
