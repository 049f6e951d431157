"""Logs of control-unit values: ten million rows read, beside the table reader alone."""

import tempfile
from pathlib import Path

import numpy as np
import polars as pl

from backprobe.recordings.log_reading import read_log
from backprobe.services.log_review import review_log
from bench.report import Measured, least_seconds

N_ROW = 10_000_000
N_REPEAT = 3
MOST_TIMES = 2.0


def write_log(path: Path, n_row: int = N_ROW) -> None:
    """A made-up log: time, engine speed, air mass flow."""
    rng = np.random.default_rng(1)
    times = np.arange(n_row) / 100.0
    speed = np.round(2000.0 + 1200.0 * np.sin(times / 30.0) + rng.normal(0.0, 5.0, n_row))
    flow = np.round(speed / 250.0 + rng.normal(0.0, 0.05, n_row), 2)
    frame = pl.DataFrame({"Time (s)": times, "RPM (rpm)": speed, "MAF (g/s)": flow})
    frame.write_csv(path)


def measure() -> list[Measured]:
    """The rows of the report."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        write_log(path)
        megabytes = path.stat().st_size / 1e6
        plain = least_seconds(lambda: pl.read_csv(path), N_REPEAT)
        ours = least_seconds(lambda: read_log(path), N_REPEAT)
        log = read_log(path)
        review = least_seconds(lambda: review_log(log), 1)
    return [
        Measured(f"{N_ROW:,} rows of three columns, size", megabytes, "MB"),
        Measured("polars alone", plain, "s"),
        Measured("read as a log, quantities named", ours, "s"),
        Measured("times polars alone", ours / plain, "x", most=MOST_TIMES),
        Measured("looked over: intervals, gaps, states, suspicions", review, "s"),
    ]
