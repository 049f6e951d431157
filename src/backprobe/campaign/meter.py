"""A simulated hand-held meter: its errors, its ranges, what it shows and how it's written down."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from backprobe.campaign.spreads import Random, chance, even, log_even, pick
from backprobe.job.model import Indication, Meter

COUNTS = (2000, 4000, 6000)
DC_STATEMENTS = ("0.5 % + 2 digits", "0.3 % + 2 digits", "0.8 % + 3 digits", "1 % + 2 digits")
# Size of one count on the lowest range of each function, with 4000 counts: 400.0 mV, 400.0 ohm ...
FINEST = {"volts": 1e-4, "volts_ac": 1e-3, "ohms": 0.1, "hertz": 1e-2}
N_RANGE = {"volts": 4, "volts_ac": 3, "ohms": 6, "hertz": 5}
UNITS: Mapping[str, tuple[str, str, str]] = {
    "volts": (" mV", " V", ""),
    "volts_ac": (" mV", " V", ""),
    "ohms": (" ohm", " kohm", " Mohm"),
    "hertz": (" Hz", " kHz", ""),
}


@dataclass(frozen=True, slots=True)
class TrueMeter:
    """A meter with its own fixed errors, each within its data sheet's statement.

    `gains` (share) and `offsets` (digits) are keyed by function and number of range.
    """

    sheet: Meter
    gains: Mapping[tuple[str, int], float]
    offsets: Mapping[tuple[str, int], float]
    millivolts: bool  # does its DC range switching go down to millivolts by itself?
    decimals: int  # decimals that the technician writes of a voltage above one volt
    lead_ohm: float
    test_volt: float
    trigger: float  # V of swing that its counter needs
    bandwidth: float  # Hz of its AC function


def draw_meter(rng: Random) -> TrueMeter:
    """Draw a meter: rectangular errors, as JCGM 100 4.3.7 reads a statement of limits."""
    counts = int(rng.choice(COUNTS))
    statement = str(rng.choice(DC_STATEMENTS, p=[0.55, 0.15, 0.15, 0.15]))
    usual = chance(rng, 0.6)
    sheet = Meter(counts=4000) if usual else Meter(counts=counts, dc_volts=statement)
    gains, offsets = {}, {}
    statements = {
        "volts": sheet.dc_volts,
        "volts_ac": sheet.ac_volts,
        "ohms": sheet.ohms,
        "hertz": sheet.hertz,
    }
    for function, text in statements.items():
        percent, digits = read_statement(text)
        shared = even(rng, -1.0, 1.0)
        for number in range(N_RANGE[function]):
            # One reference for all ranges, one divider each.
            own = even(rng, -1.0, 1.0)
            gains[function, number] = 0.01 * percent * (0.5 * shared + 0.5 * own)
            offsets[function, number] = digits * even(rng, -1.0, 1.0)
    return TrueMeter(
        sheet=sheet,
        gains=gains,
        offsets=offsets,
        millivolts=chance(rng, 0.6),
        decimals=pick(rng, (0.55, 3), (0.45, 2)),
        lead_ohm=pick(rng, (0.6, even(rng, 0.1, 0.5)), (0.4, even(rng, 0.0, 0.05))),
        test_volt=even(rng, 0.4, 2.8),
        trigger=even(rng, 0.4, 1.6),
        bandwidth=log_even(rng, 600.0, 20e3),
    )


def read_statement(text: str) -> tuple[float, float]:
    """Percent and digits of a statement like "0.5 % + 2 digits"."""
    percent = re.search(r"([\d.]+)\s*%", text)
    digits = re.search(r"([\d.]+)\s*digit", text)
    return float(percent.group(1)) if percent else 0.0, float(digits.group(1)) if digits else 0.0


def range_of(meter: TrueMeter, function: str, value: float) -> tuple[int, float]:
    """Number of the range that autoranging ends in, and the size of its digit; -1 = over range."""
    first = 1 if function == "volts" and not meter.millivolts else 0
    for number in range(first, N_RANGE[function]):
        digit = FINEST[function] * 10.0**number
        if abs(value) < (meter.sheet.counts - 1) * digit:
            return number, digit
    return -1, math.inf


def show(meter: TrueMeter, function: str, value: float) -> Indication:
    """What the meter shows of a true value, as the technician writes it."""
    number, digit = range_of(meter, function, value)
    if number < 0 or not math.isfinite(value):
        return Indication(math.inf, over_range=True, written="OL")
    shown = value * (1.0 + meter.gains[function, number]) + meter.offsets[function, number] * digit
    if function in {"ohms", "hertz", "volts_ac"}:
        shown = max(shown, 0.0)
    if function == "ohms":
        shown += meter.lead_ohm if number == 0 else 0.0
    count = round(shown / digit)
    if abs(count) >= meter.sheet.counts and number + 1 < N_RANGE[function]:
        digit *= 10.0
        count = round(shown / digit)
    return _written(meter, function, count * digit, digit)


def _written(meter: TrueMeter, function: str, value: float, digit: float) -> Indication:
    small, large, huge = UNITS[function]
    if function.startswith("volts"):
        if digit < 0.9e-3:
            return _text(value, 1e-3, digit, small)
        if digit < 0.9e-2 and meter.decimals == 2 and abs(value) > 0.5:
            digit = 1e-2
            value = round(value / digit) * digit
        return _text(value, 1.0, digit, "")
    if function == "hertz":
        return _text(value, 1.0, digit, small) if digit < 0.9 else _text(value, 1e3, digit, large)
    if digit < 0.9:
        return _text(value, 1.0, digit, small)
    return _text(value, 1e3, digit, large) if digit < 900.0 else _text(value, 1e6, digit, huge)


def _text(value: float, scale: float, digit: float, unit: str) -> Indication:
    decimals = max(0, -math.floor(math.log10(digit / scale) + 1e-9))
    text = f"{value / scale:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return Indication(float(text) * scale, written=text + unit)


def plain(value: float, decimals: int, unit: str = "") -> Indication:
    """An indication of something that isn't the meter: percent, degrees, a reported value."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return Indication(float(text), written=f"{text} {unit}".strip())


def standard_uncertainty(meter: Meter, function: str, value: float) -> float:
    """Standard uncertainty of a reading by the data sheet: limits and one digit, rectangular."""
    statement = {
        "volts": meter.dc_volts,
        "volts_ac": meter.ac_volts,
        "ohms": meter.ohms,
        "hertz": meter.hertz,
    }[function]
    percent, digits = read_statement(statement)
    digit = FINEST[function]
    for _ in range(N_RANGE[function] - 1):
        if abs(value) < (meter.counts - 1) * digit:
            break
        digit *= 10.0
    limit = 0.01 * percent * abs(value) + digits * digit
    return float(np.hypot(limit, 0.5 * digit)) / math.sqrt(3.0)
