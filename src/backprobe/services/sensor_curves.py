"""Volts, ohms, hertz and degrees of a sensor by its curve, with uncertainty."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from backprobe.core.engine.pull_up import (
    Estimate,
    PullUp,
    resistance_from_volts,
    temperature_from_ohm,
    temperature_from_volts,
    volts_of,
)
from backprobe.core.engine.thermistor_curve import BetaCurve
from backprobe.curves.curve_file import AnyCurve, OutputCurve, TemperatureCurve
from backprobe.errors import UsageError
from backprobe.services.words import interval_words, measured

# A hand-held meter: 0.5 % + 2 digits of 10 mV, rectangular (common practice; trade data sheets).
METER_SHARE, METER_DIGITS = 0.005, 0.02
OHM_SHARE: Final = 0.01  # 0.8 % + 2 digits of a hand-held meter
SUPPLY_LIMITS: Final = 0.05  # V, either way: 4.95 to 5.05 where it was measured; common practice
PULL_UP_LIMITS: Final = 0.01  # of a resistor in a control unit
_ROOT_THREE: Final = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Feed:
    """What the user says of the pull-up.

    Parameters
    ----------
    pull_up_ohm : float
        Ohm.
    supply : float
        V.
    pull_up_limits : float
        How far the pull-up may be off, as a share, either way.
    """

    pull_up_ohm: float
    supply: float = 5.0
    pull_up_limits: float = PULL_UP_LIMITS

    def pull_up(self) -> PullUp:
        """With standard uncertainties: rectangular limits [jcgm100, 4.3.7]."""
        return PullUp(
            self.pull_up_ohm,
            self.pull_up_limits / _ROOT_THREE,
            self.supply,
            SUPPLY_LIMITS / _ROOT_THREE,
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read: a value and its plain unit (volt, ohm, hertz, celsius, kilopascal, ...)."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Converted:
    """What a reading stands for, by one curve.

    Parameters
    ----------
    curve : str
        Its id.
    said : str
        The answer in words.
    value, low, high : float
        With its 95 % interval.
    unit : str
        Plain unit.
    ohm : float or None
        Resistance on the way, where there is one.
    volts : float or None
        Voltage that belongs to it, where a pull-up is known.
    remarks : tuple of str
        What to mind.
    """

    curve: str
    said: str
    value: float
    low: float
    high: float
    unit: str
    ohm: float | None = None
    volts: float | None = None
    remarks: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """For programs."""
        return {"format": 1, **asdict(self)}


def volts_uncertainty(volts: float) -> float:
    """Standard uncertainty of a hand-held meter's volts [jcgm100, 4.3.7]."""
    return (METER_SHARE * abs(volts) + METER_DIGITS) / _ROOT_THREE


def convert(curve: AnyCurve, reading: Reading, feed: Feed | None = None) -> Converted:
    """Say what a reading means by a curve.

    Parameters
    ----------
    curve : AnyCurve
        Of a temperature sensor: volt, ohm or celsius are read. Of an output: either of its units.
    reading : Reading
        What was read.
    feed : Feed or None
        Needed for volts of a temperature sensor.

    Raises
    ------
    UsageError
        The curve has no such unit, or the pull-up is missing.
    ValueOutOfRange
        Volts at or beyond an end: open or shorted.
    """
    if isinstance(curve, OutputCurve):
        return _convert_output(curve, reading)
    return _convert_temperature(curve, reading, feed)


def _convert_output(curve: OutputCurve, reading: Reading) -> Converted:
    there = reading.unit == curve.output_unit
    if not there and reading.unit != curve.quantity_unit:
        raise UsageError(
            f'The curve "{curve.id}" tells {curve.quantity_unit} by {curve.output_unit}.',
            remedy=f"Give a value in {curve.output_unit} or in {curve.quantity_unit}.",
        )
    at = np.array(reading.value)
    value = float(curve.table.quantity_at(at) if there else curve.table.output_at(at))
    if math.isnan(value):
        raise UsageError(
            f"{measured(reading.value, reading.unit)} lies beyond the curve.",
            curve.id,
            "Nothing is known there; look at the reading again, or take another curve.",
        )
    unit = curve.quantity_unit if there else curve.output_unit
    spread = curve.tolerance * (abs(value) if there else 0.0)
    said = f"{measured(reading.value, reading.unit)} stands for {measured(value, unit)}"
    if spread:
        said += f" ({interval_words(value - spread, value + spread, unit)})"
    return Converted(
        curve.id, said + ".", value, value - spread, value + spread, unit, remarks=(curve.about,)
    )


def _convert_temperature(curve: TemperatureCurve, reading: Reading, feed: Feed | None) -> Converted:
    tolerance = curve.standard_tolerance
    if reading.unit == "celsius":
        return _volts_expected(curve, reading.value, feed)
    if reading.unit == "ohm":
        found = temperature_from_ohm(curve.law, reading.value, math.hypot(OHM_SHARE, tolerance))
        ohm, volts = reading.value, None
        if feed is not None:
            volts = float(volts_of(np.array(ohm), feed.pull_up()))
    elif reading.unit == "volt":
        if feed is None:
            raise UsageError(
                "Volts mean a temperature only with the pull-up known.",
                remedy="Give the pull-up (--pull-up 2.2k), or fit it to known temperatures.",
            )
        spread = volts_uncertainty(reading.value)
        found = temperature_from_volts(curve.law, reading.value, spread, feed.pull_up(), tolerance)
        ohm = resistance_from_volts(reading.value, spread, feed.pull_up()).value
        volts = reading.value
    else:
        raise UsageError(
            "A temperature sensor is read in volts or ohms.", remedy="Give V, ohm or degC."
        )
    said = (
        f"{measured(reading.value, reading.unit)} means {_degrees(found.value)}"
        f" ({_degrees(found.low)} to {_degrees(found.high)})"
    )
    if reading.unit == "volt":
        said += f", {resistance_words(ohm)} at the sensor"
    return Converted(
        curve.id,
        said + ".",
        found.value,
        found.low,
        found.high,
        "celsius",
        ohm,
        volts,
        tuple(_temperature_remarks(curve, found, feed, volts)),
    )


def _volts_expected(curve: TemperatureCurve, celsius: float, feed: Feed | None) -> Converted:
    """Ohms, and volts where a pull-up is known, at a temperature."""
    ohm = float(curve.law.ohm(np.array(celsius)))
    low, high = ohm / (1.0 + curve.tolerance), ohm * (1.0 + curve.tolerance)
    said = f"{_degrees(celsius)} is {resistance_words(ohm)} ({interval_words(low, high, 'ohm')})"
    volts = None
    if feed is not None:
        ends = volts_of(np.array([low, ohm, high]), feed.pull_up())
        volts = float(ends[1])
        said += (
            f", {measured(volts, 'volt')} below {measured(feed.pull_up_ohm, 'ohm')}"
            f" ({interval_words(float(ends[0]), float(ends[2]), 'volt')})"
        )
    remarks = _temperature_remarks(curve, Estimate(celsius, celsius, celsius), feed, volts)
    return Converted(curve.id, said + ".", ohm, low, high, "ohm", ohm, volts, tuple(remarks))


def resistance_words(ohm: float) -> str:
    """Write a resistance with four digits: a tenth of a degree of platinum is 0.04 ohm."""
    return f"{ohm / 1e3:.4g} kohm" if ohm >= 1e3 else f"{ohm:.4g} ohm"


def _degrees(celsius: float) -> str:
    return f"{celsius:.1f} °C" if abs(celsius) < 99.95 else f"{celsius:.0f} °C"


def _temperature_remarks(
    curve: TemperatureCurve, found: Estimate, feed: Feed | None, volts: float | None
) -> list[str]:
    low, high = curve.valid_degc
    said = [curve.about]
    if not low <= found.value <= high:
        said.append(
            f"The curve is published from {low:g} to {high:g} °C only: this lies beyond it."
        )
    if isinstance(curve.law, BetaCurve) and abs(found.value - curve.law.t_ref_degc) > 25.0:
        said.append("One constant (beta) is some degrees off this far from its reference.")
    if feed is not None and volts is not None and not 0.04 <= volts / feed.supply <= 0.96:
        said.append(
            "This near to an end of the supply a resistance is hardly told; open and shorted"
            " circuits read here too."
        )
    return said
