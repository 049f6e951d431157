"""Recordings of an oscilloscope: bringing in, first picture, pan and zoom; text against polars."""

import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path
from time import perf_counter, process_time

import numpy as np
import polars as pl

from backprobe.recordings.reading import read_capture
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import store_capture
from bench.report import Measured, least_seconds, percentile

N_SAMPLE = 125_000_000  # of each of two channels: 1 GB as float32
N_PART = 2_500_000
N_ROW = 3_000_000
N_ASKED = 200
N_BIN = 1500
MOST_FIRST_S = 2.0
MOST_ASKED_MS = 50.0
MOST_MIB = 1024.0

_STORE = """
import sys
from pathlib import Path
from backprobe.recordings.stored_writer import store_capture
store_capture(Path(sys.argv[1]), Path(sys.argv[2]))
# Not ru_maxrss: it keeps the peak of the process that this one was started from.
(peak,) = [line for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(int(peak.split()[1]) / 1024)
"""
_FIRST = """
import sys
from pathlib import Path
from time import perf_counter
from backprobe.recordings.stored import StoredCapture
start = perf_counter()
opened = StoredCapture.open(Path(sys.argv[1]))
for channel in (0, 1):
    opened.extremes(channel, 0, None, 1500)
print(perf_counter() - start)
"""


def write_long_wav(path: Path) -> None:
    """A square signal with noise on two channels, 16 bits a sample."""
    rng = np.random.default_rng(1)
    square = 8000 * np.sign(np.sin(np.arange(N_PART) / 5000.0))
    frames = (square[:, None] + rng.normal(0.0, 300.0, (N_PART, 2))).astype("<i2").tobytes()
    size = 4 * N_SAMPLE
    head = b"fmt " + (16).to_bytes(4, "little") + (1).to_bytes(2, "little")
    head += (2).to_bytes(2, "little") + (1_000_000).to_bytes(4, "little")
    head += (4_000_000).to_bytes(4, "little") + (4).to_bytes(2, "little")
    head += (16).to_bytes(2, "little") + b"data" + size.to_bytes(4, "little")
    with path.open("wb") as file:
        file.write(b"RIFF" + (size + 36).to_bytes(4, "little") + b"WAVE" + head)
        for _ in range(N_SAMPLE // N_PART):
            file.write(frames)


def child(code: str, *arguments: Path) -> float:
    """The number that a fresh interpreter prints."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def asked_ms(opened: StoredCapture) -> list[float]:
    """Durations of views of all widths anywhere in the capture, ms."""
    rng = np.random.default_rng(2)
    durations = []
    for number in range(N_ASKED):
        width = int(10 ** rng.uniform(1.0, np.log10(opened.n_sample)))
        first = int(rng.integers(0, opened.n_sample - width + 1))
        view = partial(opened.extremes, number % 2, first, first + width, N_BIN)
        durations.append(1e3 * least_seconds(view, 2))
    return durations


def measure_stored(folder: Path) -> list[Measured]:
    """A capture of one gigabyte, from bringing it in to panning over it."""
    write_long_wav(folder / "long.wav")
    start = perf_counter()
    most = child(_STORE, folder / "long.wav", folder / "long")
    duration = perf_counter() - start
    first = min(child(_FIRST, folder / "long") for _ in range(3))
    opened = StoredCapture.open(folder / "long")
    durations = asked_ms(opened)
    return [
        Measured(f"{N_SAMPLE:,} samples of 2 channels brought in", duration, "s"),
        Measured("memory for that", most, "MiB", most=MOST_MIB),
        Measured("first picture of it, files just opened", first, "s", most=MOST_FIRST_S),
        Measured("pan and zoom, median", percentile(durations, 50.0), "ms", most=MOST_ASKED_MS),
        Measured(
            "pan and zoom, slowest of 200 (each the better of two)",
            max(durations),
            "ms",
            most=MOST_ASKED_MS,
        ),
        Measured(
            "line of 2000 points through 1,000,000 samples",
            1e3 * least_seconds(partial(opened.line, 0, 7_000_000, 8_000_000, 2000), 5),
            "ms",
            most=MOST_ASKED_MS,
        ),
    ]


def measure_text(folder: Path) -> list[Measured]:
    """A table with a time column and two channels, against the same table in polars alone."""
    rng = np.random.default_rng(3)
    table = pl.DataFrame(
        {
            "Time (us)": np.arange(N_ROW),
            "CH1 (V)": np.round(rng.normal(0.0, 1.0, N_ROW), 4),
            "CH2 (V)": np.round(rng.normal(0.0, 1.0, N_ROW), 3),
        }
    )
    path = folder / "table.csv"
    table.write_csv(path)
    ours = least_seconds(partial(read_capture, path), 3)
    alone = least_seconds(partial(pl.read_csv, path), 3)
    start = process_time()
    store_capture(path, folder / "table")
    stored = process_time() - start
    n_megabyte = path.stat().st_size / 1e6
    return [
        Measured(f"table of {N_ROW:,} rows, {n_megabyte:.0f} MB, read", ours, "s"),
        Measured("the same in polars alone", alone, "s"),
        Measured("times polars alone", ours / alone, "x"),
        Measured("the same brought in, processor time", stored, "s"),
    ]


def measure() -> list[Measured]:
    """The rows of the report."""
    with tempfile.TemporaryDirectory() as folder:
        return [*measure_stored(Path(folder)), *measure_text(Path(folder))]
