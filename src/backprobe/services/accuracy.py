"""Standard uncertainty of a noted reading: the meter's statement, its digit, and its wandering."""

from __future__ import annotations

import math

from backprobe.job import Indication, Meter

WANDER_SHARE = 0.002  # how far a reading wanders while it is taken (common practice)


def standard_uncertainty(meter: Meter, key: str, indication: Indication) -> float:
    """Standard uncertainty in the reading's own unit; 1 for a reading that is no number."""
    if indication.over_range or not math.isfinite(indication.value):
        return 1.0
    value = abs(indication.value)
    share, digits = (0.005, 2) if "volts" in key or key == "black_lead_check" else (0.008, 3)
    step = 10 ** (math.floor(math.log10(max(value, 1e-3))) - 3) * 4000 / meter.counts
    half = share * value + digits * step
    return math.sqrt(half**2 / 3 + (WANDER_SHARE * value) ** 2)
