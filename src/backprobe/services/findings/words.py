"""Findings as sentences, and values as they are said."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backprobe.quantities import format_quantity


@dataclass(frozen=True, slots=True)
class Finding:
    """What one look at a signal says.

    kind : the signal that it was looked at as: "toothed wheel", "snap throttle".
    told : sentences; the first says what it is.
    doubts : sentences that keep it from being certain, or that tell of a fault.
    is_it : whether the signal is of that kind at all.
    """

    kind: str
    told: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    is_it: bool = True


def seconds(value: float) -> str:
    """A duration: "310 µs", "1.25 ms", "2.4 s"."""
    if not math.isfinite(value):
        return "not measured"
    size = abs(value)
    if size == 0.0:
        return "0 s"
    for factor, unit in ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns")):
        if size >= 0.9995 * factor or unit == "ns":
            return f"{significant(value / factor)} {unit}"
    return "0 s"


def instant(value: float) -> str:
    """Where on the time axis: "at 1.250 s"."""
    return f"at {value:.4g} s" if abs(value) < 1000 else f"at {value:.1f} s"


def volts(value: float) -> str:
    """A voltage in the trade's words."""
    return format_quantity(value, "volt")


def hertz(value: float) -> str:
    """A frequency in the trade's words."""
    return format_quantity(value, "hertz")


def per_cent(share: float) -> str:
    """A share in per cent, one decimal below ten."""
    value = 100.0 * share
    return f"{value:.1f} %" if abs(value) < 9.95 else f"{value:.0f} %"


def significant(value: float, digits: int = 3) -> str:
    """A number with so many significant digits, never with an exponent."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def listed(parts: list[str]) -> str:
    """Parts of a sentence joined: "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
