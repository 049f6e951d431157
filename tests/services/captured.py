"""Captures of known truth, kept with a job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.job import Connector, Round, Terminal
from backprobe.services.job_book import JobBook
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_intake import Placing, keep_file
from backprobe.store.engine import Store
from backprobe.store.record import JobHead

Array = NDArray[np.float64]

HALL_HERTZ, HALL_DUTY, HALL_LOW, HALL_HIGH = 500.0, 0.4, 0.21, 4.98
INTERVAL = 20e-6


@dataclass(frozen=True)
class Kept:
    """A job with one sensor of three wires, and a round of it at idle."""

    jobs: JobBook
    recordings: RecordingBook
    job: str
    sheet: str
    round: str

    def keep(self, file: Path, *, places: tuple[str, ...] = ("3",), kind: str = "capture") -> str:
        """Keep a file; returns the key of the recording."""
        placing = Placing(kind, round_key=self.round if kind == "capture" else "", places=places)
        return keep_file(self.recordings, file, self.job, placing)


def begun(store: Store, *, action: str = "", kind: str = "speed") -> Kept:
    """Begin the job."""
    jobs = JobBook(store)
    job = jobs.begin(JobHead(title="Engine speed drops out"))
    wires = tuple(Terminal(pin) for pin in ("1", "2", "3"))
    sheet = jobs.add_sheet(job, Connector("crankshaft sensor", kind, wires))
    state = Round(name="A", plugged=True, key="run", rpm=800.0, action=action)
    return Kept(jobs, RecordingBook(store), job, sheet, jobs.add_round(sheet, state))


def hall(n: int = 50_000, noise: float = 0.01) -> Array:
    """A switching signal of known levels, frequency and share of time high."""
    rng = np.random.default_rng(3)
    phase = (np.arange(n) * INTERVAL * HALL_HERTZ) % 1.0
    return np.where(phase < HALL_DUTY, HALL_HIGH, HALL_LOW) + rng.normal(0, noise, n)


def write_csv(file: Path, columns: dict[str, Array], interval: float = INTERVAL) -> Path:
    """Columns under a heading, the time in front."""
    n = len(next(iter(columns.values())))
    rows = np.column_stack([np.arange(n) * interval, *columns.values()])
    head = ",".join(["time (s)", *columns])
    np.savetxt(file, rows, delimiter=",", header=head, comments="", fmt="%.9g")
    return file
