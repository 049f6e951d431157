"""How often a series of a log was asked, and where it paused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from backprobe.recordings.log import LogSeries

# A pause of so many usual intervals is a gap, not a late answer (common practice, no source).
GAP_FROM: Final = 5.0
MOST_GAPS: Final = 20


@dataclass(frozen=True, slots=True)
class Gap:
    """A pause in a series: from the last value before it to the first after it, s."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a series was sampled.

    Parameters
    ----------
    n_value : int
        Number of values.
    interval : float
        Median time from value to value, s; NaN where there is only one.
    interval_low, interval_high : float
        5th and 95th percentile of it, s.
    gaps : tuple of Gap
        The longest ones, in order of time.
    n_gap : int
        How many there are.
    """

    n_value: int
    interval: float
    interval_low: float
    interval_high: float
    gaps: tuple[Gap, ...]
    n_gap: int


def sampling_of(series: LogSeries) -> Sampling:
    """Measure how a series was sampled."""
    times = series.times
    if times.size < 2:
        nan = float("nan")
        return Sampling(int(times.size), nan, nan, nan, (), 0)
    steps = np.diff(times)
    usual = float(np.median(steps))
    if usual <= 0.0:  # several values share an instant that was written with few digits
        usual = float(times[-1] - times[0]) / (times.size - 1)
    low, high = (float(x) for x in np.percentile(steps, (5.0, 95.0)))
    at = np.flatnonzero(steps > GAP_FROM * usual) if usual > 0.0 else np.empty(0, dtype=np.intp)
    longest = np.sort(at[np.argsort(-steps[at], kind="stable")[:MOST_GAPS]])
    gaps = tuple(Gap(float(times[i]), float(times[i + 1])) for i in longest)
    return Sampling(int(times.size), usual, low, high, gaps, int(at.size))
