"""What was measured on a channel, as rows of a table: name, value, standard uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.levels import Instrument
from backprobe.core.waveform.record import RecordMeasurement, measure
from backprobe.core.waveform.ripple import Ripple
from backprobe.quantities import format_quantity
from backprobe.services.findings.words import seconds, significant

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """One line of the table.

    key : name for programs; number, deviation : in the plain unit (V, s, Hz, share).
    """

    key: str
    name: str
    value: str
    uncertainty: str
    number: float
    deviation: float


def row(key: str, name: str, number: float, deviation: float, unit: str) -> MeasuredRow:
    """A line with its value in words."""
    return MeasuredRow(key, name, said(number, unit), said(deviation, unit), number, deviation)


def said(number: float, unit: str) -> str:
    """A value with its unit; nothing where it isn't defined."""
    if not math.isfinite(number):
        return ""
    if unit == "V":
        return format_quantity(number, "volt")
    if unit == "Hz":
        return (
            format_quantity(number, "hertz") if number >= 0.01 else f"{significant(number, 2)} Hz"
        )
    if unit == "s":
        return seconds(number)
    return f"{significant(number, 4)} {unit}".strip()


def measured_rows(
    samples: Array,
    interval: float,
    start: float,
    *,
    unit: str,
    error_share: float,
) -> tuple[MeasuredRow, ...]:
    """Everything that was measured on a channel, in the terms of IEEE 181.

    The limits of the instrument are taken as a rectangle of gain about the highest value
    (JCGM 100:2008, 4.3.7); its time base as one of 100 ppm (common practice).
    """
    instrument = Instrument(gain=error_share / math.sqrt(3.0), time_base=1e-4 / math.sqrt(3.0))
    found = measure(samples, interval=interval, start=start, instrument=instrument)
    rows = [*_levels(found, unit)]
    if found.is_switching:
        rows += [*_pulses(found), *_transitions(found)]
    else:
        rows += [*_ripple(found.ripple, unit)]
    return tuple(each for each in rows if math.isfinite(each.number))


def _levels(found: RecordMeasurement, unit: str) -> Iterator[MeasuredRow]:
    levels, ripple = found.levels, found.ripple
    yield row("mean", "Mean", ripple.mean, ripple.mean_uncertainty, unit)
    yield row("highest", "Highest", ripple.highest, math.nan, unit)
    yield row("lowest", "Lowest", ripple.lowest, math.nan, unit)
    if not found.is_switching:
        return
    high, low = levels.state_level_high, levels.state_level_low
    yield row("state_level_high", "High level", high, levels.high_uncertainty, unit)
    yield row("state_level_low", "Low level", low, levels.low_uncertainty, unit)
    yield row("amplitude", "Amplitude", levels.amplitude, levels.amplitude_uncertainty, unit)
    yield row("noise", "Noise about the levels, standard deviation", levels.noise, math.nan, unit)


def _pulses(found: RecordMeasurement) -> Iterator[MeasuredRow]:
    pulses, whole = found.pulses.pulses, found.pulses
    yield row("frequency", "Frequency", pulses.mean_frequency, whole.frequency_uncertainty, "Hz")
    for key, name, summary in (
        ("period", "Period, mean", pulses.period),
        ("pulse_duration", "Pulse duration, mean", pulses.pulse_duration),
        ("pulse_separation", "Pulse separation, mean", pulses.pulse_separation),
    ):
        wide = whole.period_uncertainty if key == "period" else summary.mean_uncertainty
        yield row(key, name, summary.mean, wide, "s")
    share = pulses.duty
    yield row(
        "duty",
        "Share of time high, mean",
        100.0 * share.mean,
        100.0 * share.mean_uncertainty,
        "%",
    )
    yield row("period_jitter", "Jitter of the period", pulses.period_jitter, math.nan, "s")
    yield row(
        "cycle_jitter", "Jitter from cycle to cycle", pulses.cycle_to_cycle_jitter, math.nan, "s"
    )
    yield row("dropouts", "Pulses missing", float(pulses.dropouts.count), math.nan, "")
    yield row("glitches", "Glitches", float(pulses.glitches.count), math.nan, "")


def _transitions(found: RecordMeasurement) -> Iterator[MeasuredRow]:
    whole = found.transitions
    sides = (("rising", "Rising"), ("falling", "Falling"))
    for (key, name), durations, wide, over in zip(
        sides,
        whole.transition_duration,
        whole.duration_uncertainty,
        whole.overshoot,
        strict=True,
    ):
        if not durations.count:
            continue
        yield row(
            f"transition_duration_{key}",
            f"{name} transition, 10 to 90 %, mean",
            durations.mean,
            wide.mean / math.sqrt(durations.count),
            "s",
        )
        # In per cent of the amplitude, noise included.
        yield row(f"overshoot_{key}", f"{name}: overshoot, mean", over.mean, math.nan, "%")
    yield row("runts", "Pulses that don't reach the level", float(whole.runts.count), math.nan, "")


def _ripple(ripple: Ripple, unit: str) -> Iterator[MeasuredRow]:
    yield row("ac_rms", "AC on it", ripple.rms, ripple.rms_uncertainty, unit)
    yield row("peak_to_peak", "From peak to peak", ripple.peak_to_peak, math.nan, unit)
    if ripple.sine is not None:
        sine = ripple.sine
        yield row(
            "ac_frequency", "Strongest frequency", sine.frequency, sine.frequency_uncertainty, "Hz"
        )
