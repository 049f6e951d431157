"""A log that is kept with a job: from its series to samples on one clock, and back."""

from __future__ import annotations

from typing import Final

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.log import Log, LogSeries
from backprobe.services.kept_samples import KeptSamples
from backprobe.store.recording import Recording

MOST_INSTANTS: Final = 5_000_000  # of one log: hours at many values a second


def capture_of(log: Log) -> Capture:
    """All series on one clock; nothing (NaN) where a series has no value of its own.

    Raises
    ------
    RecordingError
        It has no two instants, or more than are kept.
    """
    clock = np.unique(np.concatenate([one.times for one in log.series]))
    if not 2 <= clock.size <= MOST_INSTANTS:
        raise RecordingError(
            f"The log has {clock.size} instants.",
            where=log.source,
            remedy=f"From 2 to {MOST_INSTANTS} are kept; take a part of it.",
        )
    channels = []
    for one in log.series:
        samples = np.full(clock.size, np.nan)
        samples[np.searchsorted(clock, one.times)] = one.values
        channels.append(CaptureChannel(one.name, one.unit, samples))
    mean = float(clock[-1] - clock[0]) / (clock.size - 1)
    steps = np.diff(clock)
    is_even = bool(np.allclose(steps, mean, rtol=1e-6, atol=1e-9))
    return Capture(
        tuple(channels),
        mean,
        float(clock[0]),
        None if is_even else clock,
        log.source,
        log.remarks,
    )


def log_of(found: Recording, kept: KeptSamples) -> Log:
    """The series of a kept log, as they were read."""
    times = kept.stored.times(0, kept.n_sample)
    series = []
    for number, channel in enumerate(found.told.channels):
        values = np.asarray(kept.stored.samples(number), dtype=np.float64)
        there = np.isfinite(values)
        if there.any():
            series.append(
                LogSeries(channel.name, channel.quantity, channel.unit, times[there], values[there])
            )
    return Log(tuple(series), found.told.name, found.told.remarks)
