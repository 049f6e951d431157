"""What was measured on a channel, as rows of a table: name, value, standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.levels import state_levels
from backprobe.quantities import format_quantity
from backprobe.services.findings.words import significant

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
        return format_quantity(number, "hertz")
    return f"{significant(number, 4)} {unit}".strip()


def measured_rows(
    samples: Array,
    interval: float,
    start: float,
    *,
    unit: str,
    error_share: float,
) -> tuple[MeasuredRow, ...]:
    """Everything that was measured on a channel."""
    del interval, start, error_share
    levels = state_levels(samples)
    finite = samples[np.isfinite(samples)]
    mean = float(finite.mean())
    return (
        row("mean", "Mean", mean, math.nan, unit),
        row(
            "state_level_high", "High level", levels.state_level_high, levels.high_uncertainty, unit
        ),
        row("state_level_low", "Low level", levels.state_level_low, levels.low_uncertainty, unit),
        row("highest", "Highest", levels.highest, math.nan, unit),
        row("lowest", "Lowest", levels.lowest, math.nan, unit),
    )
