"""A resistive sensor below a pull-up: volts to ohms to degrees and back, with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.thermistor_curve import ResistanceCurve
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

COVERAGE_FACTOR = 2.0  # about 95 % of a normal distribution [jcgm100, G.6.6]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the interval that holds it in 95 of 100 cases."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PullUp:
    """What feeds the sensor.

    Parameters
    ----------
    ohm, ohm_uncertainty : float
        Resistance, ohm, and its relative standard uncertainty.
    supply, supply_uncertainty : float
        Voltage it hangs on, V, and its standard uncertainty.
    """

    ohm: float
    ohm_uncertainty: float = 0.0
    supply: float = 5.0
    supply_uncertainty: float = 0.0


def volts_of(ohm: Array, pull_up: PullUp) -> Array:
    """Voltage across the sensor, V: V R / (R + R_pull-up)."""
    return np.asarray(pull_up.supply * ohm / (ohm + pull_up.ohm))


def ohm_of(volts: Array, pull_up: PullUp) -> Array:
    """Resistance of the sensor, ohm, from the voltage across it.

    Raises
    ------
    ValueOutOfRange
        The voltage isn't between 0 and the supply, where no sensor is told.
    """
    values = np.asarray(volts, dtype=np.float64)
    if not ((values > 0.0) & (values < pull_up.supply)).all():
        raise ValueOutOfRange(
            f"A sensor below a pull-up reads between 0 and {pull_up.supply:g} V, not at an end.",
            remedy=(
                "The full supply means an open circuit or an unplugged sensor, 0 V a short to"
                " ground; neither is a temperature."
            ),
        )
    return np.asarray(pull_up.ohm * values / (pull_up.supply - values))


def log_ohm_uncertainty(volts: float, volts_uncertainty: float, pull_up: PullUp) -> float:
    """Relative standard uncertainty of the resistance.

    Notes
    -----
    First-order propagation [jcgm100, eq. (10)] of ln R = ln R_p + ln V - ln (V_s - V).
    """
    rest = pull_up.supply - volts
    parts = (
        pull_up.ohm_uncertainty,
        volts_uncertainty * (1.0 / volts + 1.0 / rest),
        pull_up.supply_uncertainty / rest,
    )
    return float(np.sqrt(sum(part**2 for part in parts)))


def resistance_from_volts(volts: float, volts_uncertainty: float, pull_up: PullUp) -> Estimate:
    """Resistance with its interval, ohm."""
    ohm = float(ohm_of(np.array(volts), pull_up))
    spread = np.exp(COVERAGE_FACTOR * log_ohm_uncertainty(volts, volts_uncertainty, pull_up))
    return Estimate(ohm, float(ohm / spread), float(ohm * spread))


def temperature_from_volts(
    curve: ResistanceCurve,
    volts: float,
    volts_uncertainty: float,
    pull_up: PullUp,
    tolerance: float = 0.0,
) -> Estimate:
    """Temperature with its interval, degC.

    Parameters
    ----------
    curve : ResistanceCurve
        Of the sensor.
    volts, volts_uncertainty : float
        Across the sensor, V, and its standard uncertainty.
    pull_up : PullUp
        What feeds it.
    tolerance : float
        Relative standard uncertainty of the sensor's resistance: its tolerance over root three.

    Returns
    -------
    Estimate
        degC; the ends of the interval of the resistance, each through the curve.
    """
    ohm = float(ohm_of(np.array(volts), pull_up))
    relative = np.hypot(log_ohm_uncertainty(volts, volts_uncertainty, pull_up), tolerance)
    return temperature_from_ohm(curve, ohm, float(relative))


def temperature_from_ohm(curve: ResistanceCurve, ohm: float, relative: float) -> Estimate:
    """Temperature, degC, from a resistance and its relative standard uncertainty."""
    spread = float(np.exp(COVERAGE_FACTOR * relative))
    value, *ends = (float(t) for t in curve.celsius(np.array([ohm, ohm / spread, ohm * spread])))
    return Estimate(value, min(ends), max(ends))
