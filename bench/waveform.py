"""Pulses of a long capture, against one pass for its extremes and scipy on the same array.

All figures of a kind come from one run and one array, best of several, by the time that this
process had on the processor: other work on the machine then disturbs them least.
"""

from collections.abc import Callable
from time import process_time

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks, peak_widths

from backprobe.core.waveform.measure import PulseMeasurement, measure_pulses
from bench.report import Measured

Samples = NDArray[np.floating]

N_SAMPLE = 100_000_000
N_SCIPY = 10_000_000  # scipy gets the first of them only: it takes long enough
N_REPEAT = 5
INTERVAL = 1e-6  # s
PERIOD = 1000.3  # samples: no whole number, so that edges fall everywhere between samples
HIGH, EDGE = 400.0, 5.0  # samples: pulse duration at the middle, transition from end to end
LOW_VOLT, HIGH_VOLT, NOISE_VOLT = 0.5, 4.5, 0.02
MOST_PASSES = 6.0
SAME = 1e-3  # relative; the two must agree on the mean period and duty, or they did other things


def capture(kind: type[np.floating], n: int = N_SAMPLE) -> Samples:
    """A noisy switching signal, made in pieces so that no more than it needs room."""
    rng = np.random.default_rng(1)
    wave = np.empty(n, dtype=kind)
    for a in range(0, n, 1 << 20):
        phase = np.arange(a, min(a + (1 << 20), n)) % PERIOD
        part = np.clip(np.minimum(phase, HIGH + EDGE - phase) / EDGE, 0.0, 1.0)
        volts = LOW_VOLT + (HIGH_VOLT - LOW_VOLT) * part
        wave[a : a + phase.size] = volts + rng.normal(0.0, NOISE_VOLT, phase.size)
    return wave


def least_process_seconds(task: Callable[[], object], repeats: int = N_REPEAT) -> float:
    """Least time on the processor of a task done again and again, s."""
    durations = []
    for _ in range(repeats):
        start = process_time()
        task()
        durations.append(process_time() - start)
    return min(durations)


def by_scipy(x: Samples) -> tuple[float, float]:
    """Mean period (s) and duty by scipy: pulses as peaks of a prominence, widths at half of it."""
    swing = float(x.max() - x.min())
    peaks, properties = find_peaks(x, prominence=0.5 * swing, wlen=int(3 * PERIOD))
    of_peaks = (properties["prominences"], properties["left_bases"], properties["right_bases"])
    widths, _, left, _ = peak_widths(x, peaks, rel_height=0.5, prominence_data=of_peaks)
    period = float(np.diff(left[1:-1]).mean())
    return period * INTERVAL, float(widths[1:-1].mean()) / period


def measure() -> list[Measured]:
    """The rows of the report."""
    rows = []
    for kind, name in ((np.float64, "double"), (np.float32, "single")):
        x = capture(kind)
        found: list[PulseMeasurement] = []
        passes = least_process_seconds(lambda x=x: (np.min(x), np.max(x)))  # type: ignore[misc]
        ours = least_process_seconds(
            lambda x=x, found=found: found.append(measure_pulses(x, interval=INTERVAL))  # type: ignore[misc]
        )
        rows += [
            Measured(f"100 million samples, {name} precision", ours, "s"),
            Measured("times numpy's min and max of them", ours / passes, "x", most=MOST_PASSES),
        ]
        if kind is np.float64:
            rows += against_scipy(x[:N_SCIPY])
        del x
    return rows


def against_scipy(x: Samples) -> list[Measured]:
    """The same pulses by scipy, and whether they come out the same."""
    ours = least_process_seconds(lambda: measure_pulses(x, interval=INTERVAL))
    theirs = least_process_seconds(lambda: by_scipy(x), 2)
    period, duty = by_scipy(x)
    pulses = measure_pulses(x, interval=INTERVAL).pulses
    difference = max(abs(period / pulses.period.mean - 1.0), abs(duty / pulses.duty.mean - 1.0))
    return [
        Measured("times as fast as scipy's peaks and widths", theirs / ours, "x", least=1.0),
        Measured("difference of mean period and duty from scipy's", difference, "", most=SAME),
    ]
