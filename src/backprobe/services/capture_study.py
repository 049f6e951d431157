"""A capture studied: what each channel is, what was measured on it, what a sheet would take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.levels import StateLevels, state_levels
from backprobe.services.findings.looking import Circumstances, edges_of, look_at, look_at_pair
from backprobe.services.findings.words import Finding
from backprobe.services.kept_samples import KeptSamples
from backprobe.services.measured_rows import MeasuredRow, measured_rows
from backprobe.store.recording import RecordedChannel

Array = NDArray[np.float64]
Looked = tuple[Array, float, float]  # samples, interval and first instant

TIME_BASE: Final = 1e-3  # limit of an oscilloscope's time base, relative (common practice: 100 ppm)
STEADY: Final = 0.05  # spread of the pace, as a share, up to which it is one frequency
HOLD: Final = 0.02  # s that a highest or lowest value must last to count as one


@dataclass(frozen=True, slots=True)
class ChannelStudy:
    """One channel.

    readings : key of a round to value and half-width of its limits.
    """

    channel: RecordedChannel
    findings: tuple[Finding, ...] = ()
    rows: tuple[MeasuredRow, ...] = ()
    readings: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Whether it holds no samples to speak of."""
        return not self.rows


@dataclass(frozen=True, slots=True)
class CaptureStudy:
    """All channels, and the first two voltages against each other."""

    channels: tuple[ChannelStudy, ...]
    pair: tuple[Finding, ...] = ()
    pair_names: tuple[str, str] = ("", "")


def study_capture(
    channels: Sequence[RecordedChannel],
    kept: KeptSamples,
    at: Circumstances,
    *,
    error_share: float,
    span: tuple[float, float] | None = None,
) -> CaptureStudy:
    """Look at every channel of a capture.

    Parameters
    ----------
    channels : sequence of RecordedChannel
        In the order of the samples.
    at : Circumstances
        The state of the vehicle.
    error_share : float
        Limits of the oscilloscope as a share of the highest value that was seen.
    span : (float, float), optional
        First and last instant, s; the whole recording where left out.
    """
    start, end = span or (kept.stored.start, kept.end)
    looked = [kept.looked_at(i, start, end) for i in range(len(channels))]
    studied = tuple(
        _studied(channel, each, at, error_share)
        for channel, each in zip(channels, looked, strict=True)
    )
    voltages = [i for i, channel in enumerate(channels) if channel.unit in ("V", "")]
    if len(voltages) < 2:
        return CaptureStudy(studied)
    first, second = voltages[:2]
    current = next((looked[i][0] for i, c in enumerate(channels) if c.unit == "A"), None)
    samples, interval, begin = looked[first]
    pair = look_at_pair(samples, looked[second][0], interval, begin, current=current)
    return CaptureStudy(studied, pair, (channels[first].name, channels[second].name))


def _studied(
    channel: RecordedChannel, looked: Looked, at: Circumstances, error_share: float
) -> ChannelStudy:
    samples, interval, start = looked
    if np.isfinite(samples).sum() < 2:
        return ChannelStudy(channel)
    levels = state_levels(samples)
    rows = measured_rows(samples, interval, start, unit=channel.unit, error_share=error_share)
    readings = readings_of(
        samples, interval, levels, error_share=error_share, is_moving=bool(at.action)
    )
    return ChannelStudy(channel, look_at(samples, interval, start, channel, at), rows, readings)


def readings_of(
    samples: Array,
    interval: float,
    levels: StateLevels,
    *,
    error_share: float,
    is_moving: bool,
) -> dict[str, tuple[float, float]]:
    """Quantities of a round with their limits, from the samples of a voltage.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        V, evenly spaced.
    error_share : float
        Limits of the oscilloscope as a share of the highest value that was seen.
    is_moving : bool
        Whether the quantity moved on purpose (a sweep, a snap), so that its extremes count.

    Returns
    -------
    dict
        Key of the round to value and half-width of its limits.
    """
    finite = samples[np.isfinite(samples)]
    limit = error_share * max(abs(levels.lowest), abs(levels.highest), 0.05)
    if is_moving and not levels.is_switching:
        width = max(1, min(round(HOLD / interval), finite.size // 4))
        held = np.convolve(finite, np.full(width, 1.0 / width), mode="valid")
        return {
            "volts_high": (float(held.max()), limit),
            "volts_low": (float(held.min()), limit),
        }
    found = {"volts": (float(finite.mean()), limit)}
    if levels.is_switching:
        found["level_high"] = (levels.state_level_high, limit + 2.0 * levels.high_uncertainty)
        found["level_low"] = (levels.state_level_low, limit + 2.0 * levels.low_uncertainty)
        found.update(_pace(samples, interval, levels))
    else:
        found["volts_ac"] = (float(finite.std()), 0.3 * limit + 0.03 * float(finite.std()))
    return found


def _pace(samples: Array, interval: float, levels: StateLevels) -> dict[str, tuple[float, float]]:
    """Frequency and share of time high, where there is one of them."""
    rising, falling = edges_of(samples, levels, interval, 0.0)
    if rising.size < 3 or falling.size < 2:
        return {}
    periods = np.diff(rising)
    mean = float(periods.mean())
    if float(periods.std()) > STEADY * mean:
        return {}
    value = 1.0 / mean
    wander = 2.0 * float(periods.std()) / mean / math.sqrt(periods.size)
    high = float(np.mean(samples[np.isfinite(samples)] > levels.reference_level(50.0)))
    duty_limit = 0.2 + 100.0 * interval / mean / math.sqrt(periods.size)
    return {
        "hertz": (value, value * (TIME_BASE + wander)),
        "duty_percent": (100.0 * high, duty_limit),
    }
