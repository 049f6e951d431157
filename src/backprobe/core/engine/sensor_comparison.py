"""A sensor's air against the calculated air: what explains both, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import gammaln, logsumexp

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.calculated_air import CalculatedAir, InputUncertainty, calculate_air
from backprobe.core.engine.operating_point import AirEngine, AirPoints
from backprobe.core.engine.sensor_faults import (
    FUEL,
    HYPOTHESES,
    IN_ORDER,
    OTHER,
    PRIOR,
    UNMETERED,
    TurnedBack,
    turn_back,
)
from backprobe.errors import ValueOutOfRange

CLAIMED_FROM: Final = 0.90
CANT_TELL: Final = "can't tell"
NOT_IN_ORDER: Final = "not in order"
# A sound sensor: within 5 % steady ([cfr1065]), taken as two standard deviations, most of it the
# same everywhere; the logarithm's standard deviations.
SENSOR_GAIN, SENSOR_OWN = 0.025, 0.01
# Air by the fuel (injectors and their pressure within a tenth, blend of the fuel): common practice.
FUEL_GAIN, FUEL_OWN = 0.05, 0.02
# Where the fuel itself is at fault (pressure, injectors, tank vapour): much the same everywhere,
# and part of it changing with load (a tenfold flow).
_FUEL_FAULT, _FUEL_FAULT_TILT = 0.22, 0.12
_OTHER_SHARED, _OTHER_OWN = 0.35, 0.30
_DEGREES: Final = 12.0  # tails of the distribution: what is held of engines is itself uncertain


@dataclass(frozen=True, eq=False)
class SensorReadings:
    """What was read at steady points.

    Parameters
    ----------
    points : AirPoints
        Where the engine ran.
    flow : ndarray, shape (n_point,)
        The sensor's air, kg/s.
    fuel_air : ndarray, shape (n_point,)
        Air by the fuel that was burnt (from fuel flow and lambda, or the sensor's own air corrected
        by the fuel trims), kg/s; NaN where it isn't known.
    flow_uncertainty : ndarray, shape (n_point,)
        Standard uncertainty of the flow's reading itself (digits, wander), kg/s.
    """

    points: AirPoints
    flow: Array
    fuel_air: Array
    flow_uncertainty: Array


@dataclass(frozen=True, slots=True)
class Explanation:
    """One hypothesis with its weight.

    Parameters
    ----------
    name : str
        One of `sensor_faults.HYPOTHESES`.
    probability : float
        After the readings.
    size, low, high : float
        Median and 90 % interval of what it does, see `sensor_faults.SIZE_WORDS`; NaN if nothing.
    """

    name: str
    probability: float
    size: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """What the readings say of sensor and engine.

    Parameters
    ----------
    verdict : str
        A hypothesis held with 0.90 or more; else "not in order" where that is; else "can't tell".
    explanations : tuple of Explanation
        All, the likeliest first; their probabilities sum to one.
    calculated : CalculatedAir
        The air by calculation at each point.
    """

    verdict: str
    explanations: tuple[Explanation, ...]
    calculated: CalculatedAir
    log_evidence: dict[str, float] = field(default_factory=dict)

    def probability(self, name: str) -> float:
        """Of one hypothesis."""
        return next(each.probability for each in self.explanations if each.name == name)


def compare_sensor(
    engine: AirEngine, readings: SensorReadings, inputs: InputUncertainty | None = None
) -> Comparison:
    """Say what explains a sensor's air at some points.

    Parameters
    ----------
    engine : AirEngine
        Its size and kind.
    readings : SensorReadings
        One point or more.
    inputs : InputUncertainty or None
        How well the points are known; the usual values where None.

    Returns
    -------
    Comparison
        Probabilities of all hypotheses and what may be claimed.

    Raises
    ------
    ValueOutOfRange
        No point, or a flow that isn't above zero.

    Notes
    -----
    Evidence of a hypothesis: the density of the readings, averaged over its draws. A draw turns the
    readings back into air (`sensor_faults`); the logarithms of that air and of the air by fuel are
    held against the calculated air with a multivariate t, whose covariance holds all that isn't
    known of the engine, the manifold sensors and a sound sensor.
    """
    _require_usable(readings)
    calculated = calculate_air(engine, readings.points, inputs)
    weighed = {name: _weigh(name, engine, readings, calculated) for name in HYPOTHESES}
    logs = {name: found[0] + np.log(PRIOR[name]) for name, found in weighed.items()}
    if not np.isfinite(readings.fuel_air).any():
        logs[FUEL] = -np.inf  # nothing was said of the fuel
    if engine.is_diesel:
        logs[UNMETERED] = -np.inf  # without a vacuum nothing is drawn in past the sensor
    whole = logsumexp(list(logs.values()))
    explained = tuple(
        sorted(
            (
                _explanation(name, float(np.exp(logs[name] - whole)), *weighed[name][1:])
                for name in HYPOTHESES
            ),
            key=lambda each: -each.probability,
        )
    )
    evidence = {name: float(found[0]) for name, found in weighed.items()}
    return Comparison(_verdict(explained), explained, calculated, evidence)


def _verdict(explained: tuple[Explanation, ...]) -> str:
    top = explained[0]
    if top.probability >= CLAIMED_FROM:
        return top.name
    sound = next(each.probability for each in explained if each.name == IN_ORDER)
    return NOT_IN_ORDER if 1.0 - sound >= CLAIMED_FROM else CANT_TELL


def _require_usable(readings: SensorReadings) -> None:
    if len(readings.points) == 0:
        raise ValueOutOfRange(
            "There is no steady point to compare.",
            where="air check",
            remedy="Hold the engine steady for some seconds at idle, at 2500 rpm and under load.",
        )
    if not np.all(readings.flow > 0.0):
        raise ValueOutOfRange(
            "The sensor shows no air although the engine runs.",
            where="air mass flow",
            remedy="Measure the circuit first: supply, ground and signal of the sensor.",
        )


def _weigh(
    name: str, engine: AirEngine, readings: SensorReadings, calculated: CalculatedAir
) -> tuple[float, Array, Array]:
    """Log evidence of a hypothesis; log weights and sizes of its draws."""
    turned = turn_back(name, readings.flow, engine, readings.points)
    apart, has_fuel = _apart(turned, readings, calculated)
    spread = _spread(name, readings, calculated, has_fuel)
    logs = _log_density(apart, spread) + turned.log_slope
    logs = np.where(np.isfinite(logs), logs, -np.inf)
    return float(logsumexp(logs) - np.log(len(logs))), logs, turned.size


def _apart(
    turned: TurnedBack, readings: SensorReadings, calculated: CalculatedAir
) -> tuple[Array, NDArray[np.bool_]]:
    """How far air and air by fuel lie from calculation, (n_draw, n_point + n_fuel)."""
    expected = calculated.log_median + turned.expected_shift  # (n_draw, n_point)
    has_fuel = np.isfinite(readings.fuel_air)
    by_fuel = np.log(readings.fuel_air[has_fuel]) - expected[:, has_fuel]
    return np.concatenate((turned.log_air - expected, by_fuel), axis=1), has_fuel


def _spread(
    name: str, readings: SensorReadings, calculated: CalculatedAir, has_fuel: NDArray[np.bool_]
) -> Array:
    """Covariance of what `_apart` tells, (n_point + n_fuel, n_point + n_fuel)."""
    of_air = calculated.covariance
    n = len(of_air)
    relative = readings.flow_uncertainty / readings.flow
    of_sensor = SENSOR_GAIN**2 + np.diag(SENSOR_OWN**2 + relative**2)
    if name == OTHER:
        of_sensor = of_sensor + _OTHER_SHARED**2 + _OTHER_OWN**2 * np.eye(n)
    of_fuel = FUEL_GAIN**2 + FUEL_OWN**2 * np.eye(n)
    if name == FUEL:
        tilt = _FUEL_FAULT_TILT * np.log10(readings.flow / np.exp(np.log(readings.flow).mean()))
        of_fuel = of_fuel + _FUEL_FAULT**2 + np.outer(tilt, tilt)
    rows = np.flatnonzero(has_fuel)
    top = np.concatenate((of_air + of_sensor, of_air[:, rows]), axis=1)
    below = np.concatenate((of_air[rows, :], (of_air + of_fuel)[np.ix_(rows, rows)]), axis=1)
    return np.concatenate((top, below), axis=0)


def _log_density(apart: Array, spread: Array) -> Array:
    """Logarithm of a multivariate t, (n_draw,)."""
    n = apart.shape[1]
    factor = cho_factor(spread, lower=True)
    clean = np.where(np.isfinite(apart), apart, 1e6)  # what can't be weighs nothing
    squares = np.einsum("ij,ji->i", clean, cho_solve(factor, clean.T))
    log_root = float(np.log(np.diag(factor[0])).sum())
    scale = gammaln((_DEGREES + n) / 2.0) - gammaln(_DEGREES / 2.0)
    scale -= n / 2.0 * np.log(_DEGREES * np.pi) + log_root
    return np.asarray(scale - (_DEGREES + n) / 2.0 * np.log1p(squares / _DEGREES))


def _explanation(name: str, probability: float, logs: Array, sizes: Array) -> Explanation:
    if len(sizes) == 1 or not np.any(np.isfinite(logs)):
        return Explanation(name, probability, np.nan, np.nan, np.nan)
    order = np.argsort(sizes)
    grown = np.cumsum(np.exp(logs[order] - logs.max()))
    low, middle, high = np.interp((0.05, 0.5, 0.95), grown / grown[-1], sizes[order])
    return Explanation(name, probability, float(middle), float(low), float(high))
