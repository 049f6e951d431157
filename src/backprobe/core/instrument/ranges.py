"""Ranges of a digital meter, and with them the size of the last digit.

A meter "of 4000 counts" shows up to 3999 without the point: 399.9 mV, 3.999 V, 39.99 V. Left to
itself it takes the smallest range that can show the value. What it showed can also be seen from
how the reading was written down, and the coarser of the two sizes counts: "12 mV" from a meter
that could show 12.3 mV was rounded by the writer or shown in a larger range.
"""

from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

FEWEST_COUNTS = 100
MOST_COUNTS = 100_000_000
"""Counts of displays: 199 (two and a half digits) up to 8 1/2 digits of a bench meter."""


@dataclass(frozen=True, slots=True)
class _Span:
    """Decades in which the smallest and the largest full scale lie; each up to ten times that."""

    smallest: float
    largest: float


class Measured(Enum):
    """What is measured; the value names the quantity, see `full_scale_limits`."""

    VOLTS = "volt"
    OHMS = "ohm"
    HERTZ = "hertz"
    PERCENT = "percent"


# Hand-held meters (common practice, no source): 400.0 mV to 1000 V, 400.0 ohm to 40.00 Mohm,
# 40.00 Hz to some megahertz, one range for a duty of 100.0 %.
_SPANS = {
    Measured.VOLTS: _Span(0.1, 1e3),
    Measured.OHMS: _Span(1e2, 1e7),
    Measured.HERTZ: _Span(1e1, 1e6),
    Measured.PERCENT: _Span(1e2, 1e2),
}


def full_scale_limits(counts: int, measured: Measured = Measured.VOLTS) -> tuple[float, float]:
    """Full scales of the smallest and the largest range of an autoranging hand-held meter.

    Parameters
    ----------
    counts : int
        Counts of the display: 2000, 4000, 6000, 50000 ...
    measured : Measured
        Quantity.

    Returns
    -------
    smallest, largest : float
        Full scales, V, ohm, Hz or %: 0.4 V and 4000 V, 400 ohm and 40 Mohm for 4000 counts.

    Raises
    ------
    ValueOutOfRange
        The counts are those of no display.
    """
    lead = _require_counts(counts) / 10.0 ** np.floor(np.log10(counts))  # 4 of 4000
    span = _SPANS[measured]
    if measured is Measured.PERCENT:  # 100.0 % whatever the counts, if they allow for it
        return 100.0, 100.0
    return float(lead * span.smallest), float(lead * span.largest)


def digit_size(value: Array, counts: int, measured: Measured = Measured.VOLTS) -> Array:
    """Size of the last digit when an autoranging meter shows a value.

    Parameters
    ----------
    value : ndarray, any shape
        Values, V, ohm, Hz or %; NaN passes through, infinite values get the largest range.
    counts : int
        Counts of the display.
    measured : Measured
        Quantity, which decides the smallest and the largest range.

    Returns
    -------
    ndarray, same shape
        Size of the last digit, in the unit of the value.

    Raises
    ------
    ValueOutOfRange
        The counts are those of no display.

    Notes
    -----
    With 4000 counts 3.9994 V is shown as 3.999 V, 3.9996 V would need 4000 and is shown as 4.00 V.
    """
    smallest, largest = full_scale_limits(counts, measured)
    size = np.abs(np.asarray(value, dtype=np.float64))
    # The largest value that still rounds to a number of the display: counts - 1/2 digits.
    with np.errstate(divide="ignore"):
        exponent = np.ceil(np.log10(size / (counts - 0.5)) - 1e-12)
    lowest = np.ceil(np.log10(smallest / counts) - 1e-9)
    highest = np.ceil(np.log10(largest / counts) - 1e-9)
    return np.asarray(10.0 ** np.clip(exponent, lowest, highest), dtype=np.float64)


def full_scale(value: Array, counts: int, measured: Measured = Measured.VOLTS) -> Array:
    """Full scale of the range that an autoranging meter takes for a value.

    Parameters
    ----------
    value : ndarray, any shape
        As for `digit_size`.
    counts : int
        Counts of the display.
    measured : Measured
        Quantity.

    Returns
    -------
    ndarray, same shape
        Full scale of the range, in the unit of the value: 0.4, 4, 40 ... V for 4000 counts.

    Raises
    ------
    ValueOutOfRange
        The counts are those of no display.
    """
    if measured is Measured.PERCENT:
        full_scale_limits(counts, measured)
        return np.where(np.isnan(value), np.nan, 100.0)
    return digit_size(value, counts, measured) * counts


def reading_digit(
    value: Array, counts: int, written: Array, measured: Measured = Measured.VOLTS
) -> Array:
    """Size of the last digit of a reading: of the display or as written, whichever is coarser.

    Parameters
    ----------
    value : ndarray, any shape
        Readings.
    counts : int
        Counts of the display.
    written : ndarray, same shape
        Size of the last digit written down, in the unit of the value; NaN where the writing says
        nothing of it (a bare number in a file has lost its trailing zeros).
    measured : Measured
        Quantity.

    Returns
    -------
    ndarray, same shape
        Size of the last digit, in the unit of the value.

    Raises
    ------
    ValueOutOfRange
        The counts are those of no display, or a written digit is not above zero.
    """
    digit: Array = np.asarray(written, dtype=np.float64)
    if np.any(digit <= 0.0):
        raise ValueOutOfRange(
            "the last written digit has a size of zero or less.",
            where="reading",
            remedy="Give the size of one digit, such as 0.001 V for 12 mV, or NaN if unknown.",
        )
    # fmax takes the number where the other is NaN; a NaN value has no digit to speak of.
    return np.fmax(digit_size(value, counts, measured), digit)


def _require_counts(counts: int) -> int:
    if not FEWEST_COUNTS <= counts <= MOST_COUNTS:
        raise ValueOutOfRange(
            f"a display of {counts} counts does not exist.",
            where="meter counts",
            remedy="Take them from the data sheet: 2000, 4000, 6000, 20000, 50000 ...",
        )
    return counts
