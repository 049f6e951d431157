"""Standard uncertainty of a noted reading: the meter's statement, its digit, and its wandering.

A meter's error within its statement is mostly one gain error, and one offset a range, that all its
readings share: `common_share` and `common_offset`. What is left belongs to each reading alone.
Averaging ten readings of one meter does not make it three times better.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from backprobe.core.instrument.ranges import Measured, digit_size, reading_digit
from backprobe.core.instrument.uncertainty import standard_uncertainty as of_statement
from backprobe.job import Indication, Meter
from backprobe.quantities import parse_quantity
from backprobe.quantities.accuracy import AccuracyStatement, parse_accuracy
from backprobe.quantities.reading import states_limits

WANDER_SHARE = 0.0015  # how far a reading wanders while it is taken (common practice)
WANDER_VOLT = 0.001
# Battery voltage sinks with each compression while the starter turns: two readings in a row differ
# by tenths of a volt. What a regulator feeds stays (common practice).
CRANKING_SHARE = 0.015
CRANKING_FROM_VOLT = 6.0
OWN_PART = 0.4  # part of the statement that differs from reading to reading (common practice)
COMMON_PART = 1.0  # its common part may reach the statement's limit by itself

_STATEMENT = {
    "volts_ac": ("ac_volts", Measured.VOLTS, "volt"),
    "hertz": ("hertz", Measured.HERTZ, "hertz"),
    "sensor_ohms": ("ohms", Measured.OHMS, "ohm"),
    "harness_ohms": ("ohms", Measured.OHMS, "ohm"),
}
_VOLTS = ("dc_volts", Measured.VOLTS, "volt")
DUTY_PERCENT = 0.5  # limit of a meter's duty reading, points of per cent (common practice)


def common_share(meter: Meter) -> float:
    """Standard uncertainty of the gain that all DC readings share, as a share of the reading."""
    share = _parsed(meter.dc_volts, "volt").share
    return share * COMMON_PART / math.sqrt(3.0)


def common_offset(meter: Meter, indication: Indication) -> tuple[int, float]:
    """Range of a DC reading (0: tenths of a volt, 1: volts, 2: more) and its offset's uncertainty.

    The digits of the statement and its fixed amount are offsets of the range, so readings in one
    range share them.
    """
    if indication.over_range or not math.isfinite(indication.value):
        return 0, 0.0
    if states_limits(indication.written):
        return 0, 0.0  # another instrument's reading, or a mean over more than one
    statement = _parsed(meter.dc_volts, "volt")
    value = np.array(abs(indication.value))
    digit = float(digit_size(value, meter.counts, Measured.VOLTS))
    decade = math.floor(math.log10(digit * meter.counts) + 1e-9)  # 0.4 V: -1, 4 V: 0, 40 V: 1
    number = int(np.clip(decade + 1, 0, 2))
    limit = statement.digits * digit + statement.absolute
    return number, limit * COMMON_PART / math.sqrt(3.0)


def standard_uncertainty(meter: Meter, key: str, indication: Indication) -> float:
    """Standard uncertainty in the reading's own unit; 1 for a reading that is no number.

    Parameters
    ----------
    meter : Meter
        Its data sheet.
    key : str
        The round's key that the reading stands under, such as "volts" or "sensor_ohms".
    indication : Indication
        What the meter showed.
    """
    if indication.over_range or not math.isfinite(indication.value):
        return 1.0
    limits = limits_written(indication, key)
    if limits is not None:
        return limits / math.sqrt(3.0)  # JCGM 100:2008, 4.3.7: anywhere within, equally likely
    if key == "duty_percent":
        return DUTY_PERCENT
    field, measured, unit = _STATEMENT.get(key, _VOLTS)
    statement = _parsed(getattr(meter, field), unit)
    value = np.array(abs(indication.value))
    written = np.array(_written_digit(indication, unit))
    digit = reading_digit(value, meter.counts, written, measured)
    own = statement
    wander = WANDER_SHARE * float(value)
    if field == "dc_volts":
        # The rest is `common_share` and `common_offset`; half a digit of rounding stays.
        own = AccuracyStatement(
            share=statement.share * OWN_PART,
            digits=max(statement.digits * OWN_PART, 0.5),
            absolute=statement.absolute * OWN_PART,
            share_of_range=statement.share_of_range,
        )
        wander = math.hypot(wander, WANDER_VOLT)
    full_scale = digit * meter.counts
    return float(of_statement(own, value, digit, full_scale=full_scale, wander=wander))


def while_cranking(deviation: float, indication: Indication) -> float:
    """Standard uncertainty of DC volts that were read while the starter turned the engine."""
    if indication.value < CRANKING_FROM_VOLT or states_limits(indication.written):
        return deviation
    return math.hypot(deviation, CRANKING_SHARE * indication.value)


def limits_written(indication: Indication, key: str) -> float | None:
    """How far the reading may be off by its own writing ("2.41 V ± 70 mV"); None: it says nothing.

    Such a reading comes from another instrument than the meter, or was seen to wander.
    """
    if not states_limits(indication.written):
        return None
    _, _, unit = _STATEMENT.get(key, _VOLTS)
    return parse_quantity(indication.written, "percent" if key == "duty_percent" else unit).limits


@lru_cache(maxsize=64)
def _parsed(written: str, unit: str) -> AccuracyStatement:
    return parse_accuracy(written, unit)


def _written_digit(indication: Indication, unit: str) -> float:
    """Size of the last digit as it was written, NaN where the writing says nothing of it."""
    if not indication.written:
        return math.nan
    size = parse_quantity(indication.written, unit).digit_size
    return math.nan if size is None else size
