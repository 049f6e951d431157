"""How long a technician waits: for the first answer, for the next reading, for a hundred files."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter, process_time

from backprobe.job.job_file import parse_job
from backprobe.services.carry import Known
from backprobe.services.depth import Depth
from backprobe.services.explain import (
    answer_of,
    explain,
    glance_in_words,
    glanced_at,
    posterior_of,
)
from bench.jobs import STEPS, job_text
from bench.report import Measured, median, percentile

MOST_MS = {2: 50.0, 3: 50.0, 4: 50.0, 6: 50.0, 8: 250.0}  # design: once the bank is there
N_FILE = 100


def milliseconds_per_reading(n_terminal: int) -> tuple[list[float], list[float]]:
    """Processor time after each new reading of a job, ms, twice through it: to a glance, an answer.

    What a glance can't tell is told by the answer, which it waits for. Processor time, since the
    target is for one core and other programs may run beside this one.
    """
    jobs = [
        parse_job(job_text(n_terminal, n_reading), "bench.toml")
        for n_reading in range(1, len(STEPS[n_terminal]) + 1)
    ]
    explain(jobs[-1])  # the bank is made or loaded
    glances, answers = [], []
    for _ in range(2):
        earlier: Known | None = None
        for job in jobs:
            start = process_time()
            seen = glanced_at(job, earlier=earlier)
            if seen is not None:
                glance_in_words(seen)
            glanced = process_time()
            posterior = posterior_of(job, earlier=earlier, depth=Depth.QUICK)
            answer_of(posterior)
            earlier = posterior.known
            answers.append(1000.0 * (process_time() - glanced))
            waited = 0.0 if seen is not None else answers[-1]
            glances.append(1000.0 * (glanced - start) + waited)
    return glances, answers


def command(folder: Path, *arguments: str) -> tuple[float, float]:
    """Run backprobe in a folder that is home and cache to it: seconds, and peak megabytes."""
    home = str(folder)
    environment = os.environ | {"HOME": home, "LOCALAPPDATA": home, "BACKPROBE_CACHE": home}
    start = perf_counter()
    subprocess.run(
        [Path(sys.executable).with_name("backprobe"), *arguments],
        cwd=folder,
        env=environment,
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return perf_counter() - start, children_megabytes()


def children_megabytes() -> float:
    """Most memory that any child process so far has held, MB; NaN where that is not told."""
    if sys.platform == "win32":
        return float("nan")
    import resource  # noqa: PLC0415 - there is none on Windows

    held = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return held / (1024.0**2 if sys.platform == "darwin" else 1024.0)


def measure_readings() -> list[Measured]:
    """Rows for the time per new reading."""
    rows = []
    for n_terminal, most in MOST_MS.items():
        glances, answers = milliseconds_per_reading(n_terminal)
        what = f"{n_terminal} terminals"
        rows += [
            Measured(f"{what}, roles and faults, median", median(glances), "ms", most=most),
            Measured(f"{what}, roles and faults, 95th percentile", percentile(glances, 95.0), "ms"),
            Measured(
                f"{what}, with estimates and next readings, median",
                median(answers),
                "ms",
                most=most,
            ),
            Measured(
                f"{what}, with estimates and next readings, 95th percentile",
                percentile(answers, 95.0),
                "ms",
            ),
        ]
    return rows


def measure_commands() -> list[Measured]:
    """Rows for whole commands, each in a process of its own."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        numbers = sorted(STEPS)
        files = []
        for i in range(N_FILE):
            n_terminal = numbers[i % len(numbers)]
            path = folder / f"job-{i:03}.toml"
            path.write_text(job_text(n_terminal, len(STEPS[n_terminal])), encoding="utf-8")
            files.append(path.name)
        cold, _ = command(folder, "explain", files[0])
        warm, _ = command(folder, "explain", files[0])
        _, one = command(folder, "explain", files[2])
        many, most = command(folder, "explain", "--json", *files)
    return [
        Measured("first answer ever, 2 terminals", cold, "s", most=60.0),
        Measured("the same again", warm, "s", most=2.0),
        Measured(f"explain --json, {N_FILE} files", many, "s"),
        Measured("peak memory, one file of 4 terminals", one, "MB"),
        Measured(f"peak memory, {N_FILE} files", most, "MB"),
    ]
