"""Known points of a sensor as people type them: "20 degC = 2.66 V", "2.2k = 2.50 V"."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from backprobe.errors import QuantityError, UsageError
from backprobe.quantities import parse_quantity
from backprobe.services.sensor_curves import Feed, Reading

CELSIUS_UNCERTAINTY: Final = 1.0  # degrees; a thermometer beside a sensor that has settled
_LIKE: Final = 'Write it like "20 degC = 2.66 V", "90 degC = 243 ohm" or "2.2 kohm = 2.50 V".'
_FEWEST, _MOST = 1, 40
_SENSOR, _OTHER = ("celsius", "volt", "ohm"), ("hertz", "gram per second", "kilopascal")


@dataclass(frozen=True, slots=True)
class KnownPoint:
    """One known point.

    Parameters
    ----------
    celsius : float or None
        Temperature of the sensor; None where a resistor was fitted.
    volts, ohm : float or None
        What was read; with a resistor fitted its ohms.
    is_resistor : bool
        A known resistor in the sensor's place.
    celsius_uncertainty : float
        Standard, degrees.
    """

    celsius: float | None
    volts: float | None
    ohm: float | None
    is_resistor: bool = False
    celsius_uncertainty: float = CELSIUS_UNCERTAINTY


def parse_points(lines: Iterable[str]) -> tuple[KnownPoint, ...]:
    """Read known points, one a line; empty lines are skipped.

    Raises
    ------
    UsageError
        A line that can't be read.
    """
    found = tuple(_point(line) for line in lines if line.strip())
    if not _FEWEST <= len(found) <= _MOST:
        raise UsageError(f"{len(found)} points are given.", remedy=f"Give {_FEWEST} to {_MOST}.")
    return found


def parse_reading(written: str) -> Reading:
    """Read one value with its unit.

    Raises
    ------
    UsageError
        It can't be read, or has no unit.
    """
    found = _value(written, (*_SENSOR, *_OTHER))
    if found is None:
        raise UsageError(
            f'"{written.strip()[:60]}" is no reading with a unit.',
            remedy='Write it like "2.41 V", "2.2 kohm", "40 degC", "3.05 kHz" or "45 kPa".',
        )
    return Reading(*found)


def parse_feed(pull_up: str, supply: str) -> Feed | None:
    """Read pull-up and supply; None without a pull-up.

    Raises
    ------
    QuantityError, UsageError
        A value can't be read, or is zero.
    """
    volts = parse_quantity(supply or "5 V", "volt").value
    if not pull_up.strip():
        return None
    ohm = parse_quantity(pull_up, "ohm").value
    if not (0.0 < ohm < 1e7 and 0.5 < volts < 60.0):
        raise UsageError(
            "Pull-up and supply have to be above zero.",
            remedy="Usual are 1 to 10 kohm on 5 V.",
        )
    return Feed(ohm, volts)


def _point(line: str) -> KnownPoint:
    left, sign, right = line.partition("=")
    known, read = _value(left), _value(right)
    if not sign or known is None or read is None:
        raise UsageError(f'"{line.strip()[:60]}" is no known point.', remedy=_LIKE)
    if known[1] == "ohm" and read[1] == "volt":
        return KnownPoint(None, read[0], known[0], is_resistor=True)
    if known[1] != "celsius" or read[1] == "celsius":
        raise UsageError(f'"{line.strip()[:60]}" is no known point.', remedy=_LIKE)
    volts, ohm = (read[0], None) if read[1] == "volt" else (None, read[0])
    return KnownPoint(known[0], volts, ohm)


def _value(text: str, units: tuple[str, ...] = _SENSOR) -> tuple[float, str] | None:
    """A value that has its unit with it, and which."""
    written = text.strip()
    if not written or (written[-1].isdigit() and not _is_infix(written)):
        return None
    for unit in units:
        try:
            value = parse_quantity(written, unit).value
        except QuantityError:
            continue
        return (value, unit) if math.isfinite(value) else None
    return None


def _is_infix(written: str) -> bool:
    return any(letter in written for letter in "kKRM")
