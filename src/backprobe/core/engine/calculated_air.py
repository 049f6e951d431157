"""The air that an engine takes by calculation, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.efficiency_prior import Contribution, EfficiencyPrior, efficiency_prior
from backprobe.core.engine.humid_air import moist_air_density
from backprobe.core.engine.operating_point import AirEngine, AirPoints, swept_of

_90_PERCENT: Final = 1.6449  # standard deviations to either side


@dataclass(frozen=True, slots=True)
class InputUncertainty:
    """Standard uncertainties of what goes into the calculation.

    The defaults are common practice, no source: a manifold sensor within 2 kPa and an intake sensor
    within 5 K (rectangular limits, [jcgm100, 4.3.7]), both told in whole units.

    Parameters
    ----------
    pressure : float
        Of the manifold sensor, the same at all points, Pa.
    temperature : float
        Of the intake sensor, the same at all points, K.
    displacement : float
        As a share.
    reading : float
        Of pressure and temperature at each point: their last digit, as standard uncertainty of the
        pressure, Pa.
    speed : float
        As a share, at each point.
    barometer : float
        Pa; nearly nothing depends on it.
    humidity : tuple of float
        Relative humidity of the air outside and its standard uncertainty, 0 to 1. The default is
        that of not knowing it.
    """

    pressure: float = 2_000.0 / 3.0**0.5
    temperature: float = 5.0 / 3.0**0.5
    displacement: float = 0.003
    reading: float = 1_000.0 / 12.0**0.5
    speed: float = 0.003
    barometer: float = 1_000.0
    humidity: tuple[float, float] = (0.55, 0.25)


@dataclass(frozen=True, eq=False)
class CalculatedAir:
    """Calculated air at some points, as a distribution of its logarithm.

    Parameters
    ----------
    swept : ndarray, shape (n_point,)
        Flow if every stroke filled its cylinder with manifold air, kg/s.
    efficiency : EfficiencyPrior
        What is held of the volumetric efficiency.
    contributions : tuple of Contribution
        All doubts, those of the efficiency first.
    """

    swept: Array
    efficiency: EfficiencyPrior
    contributions: tuple[Contribution, ...]

    @property
    def log_median(self) -> Array:
        """Natural logarithm of the median flow in kg/s, shape (n_point,)."""
        return np.asarray(np.log(self.swept) + self.efficiency.log_median)

    @property
    def median(self) -> Array:
        """Median flow, kg/s, shape (n_point,)."""
        return np.exp(self.log_median)

    @property
    def covariance(self) -> Array:
        """Of the logarithm of the flow, shape (n_point, n_point)."""
        return np.asarray(np.sum([each.covariance for each in self.contributions], axis=0))

    @property
    def relative_uncertainty(self) -> Array:
        """Standard uncertainty of the logarithm, shape (n_point,)."""
        return np.sqrt(np.diag(self.covariance))

    def interval(self) -> tuple[Array, Array]:
        """Lowest and highest flow with 90 % coverage, kg/s, each of shape (n_point,)."""
        spread = _90_PERCENT * self.relative_uncertainty
        return np.exp(self.log_median - spread), np.exp(self.log_median + spread)

    def limited_by(self, point: int) -> tuple[str, ...]:
        """Names of what makes it uncertain at a point, the largest first, down to a tenth."""
        shares = sorted(
            ((float(each.covariance[point, point]), each.name) for each in self.contributions),
            reverse=True,
        )
        whole = sum(share for share, _ in shares)
        return tuple(name for share, name in shares if share >= 0.1 * whole)


def calculate_air(
    engine: AirEngine, points: AirPoints, inputs: InputUncertainty | None = None
) -> CalculatedAir:
    """Calculate the air that an engine takes at some points.

    Parameters
    ----------
    engine : AirEngine
        Its size and kind.
    points : AirPoints
        Where it runs.
    inputs : InputUncertainty or None
        How well the points are known; the usual values where None.

    Returns
    -------
    CalculatedAir
        Flow with its doubts, correlated between the points.

    Raises
    ------
    ValueOutOfRange
        The engine's size can't be.

    Notes
    -----
    Speed-density, [heywood1988, eq. (2.27a)]; moist air is lighter than dry air of the same
    pressure by the ratio of their densities after [picard2008]. The law of propagation
    [jcgm100, eq. (13)] in logarithms, where the sensitivities are 1 over pressure and temperature;
    the shared sensors make the points correlated. Held against draws as in [jcgm101] by the tests.
    """
    given = inputs or InputUncertainty()
    prior = efficiency_prior(engine, points)
    ones = np.ones(len(points))
    own = (given.reading / points.pressure) ** 2 + given.speed**2
    # Half a per cent of filling for a per cent of barometer at idle, less above: [heywood1988] 6.2.
    throttled = np.clip(1.0 - points.pressure_ratio, 0.0, 1.0)
    outside = 0.5 * throttled * given.barometer / points.barometer
    moist, unsure = _lighter_by_moisture(points, *given.humidity)
    parts = (
        _shared("the manifold pressure sensor", given.pressure / points.pressure),
        _shared("the intake temperature sensor", given.temperature / points.temperature),
        _shared("the displacement", given.displacement * ones),
        _shared("the barometer", outside),
        _shared("the humidity of the air", unsure),
        Contribution("the digits of pressure and speed", np.diag(own)),
    )
    swept = swept_of(engine, points) * moist
    return CalculatedAir(swept, prior, (*prior.contributions, *parts))


def _lighter_by_moisture(points: AirPoints, humidity: float, doubt: float) -> tuple[Array, Array]:
    """Density of moist over dry air, and how far the logarithm of that moves with the doubt.

    The coldest intake temperature is nearest to that of the air outside, where the humidity is
    told: what warms up on the way keeps its water.
    """
    outside = np.clip(points.temperature.min(), 243.15, 318.15)
    dry = moist_air_density(outside, points.barometer)
    moist = moist_air_density(outside, points.barometer, humidity) / dry
    saturated = moist_air_density(outside, points.barometer, 1.0) / dry
    return moist, np.asarray(-doubt * np.log(saturated))


def _shared(name: str, deviations: Array) -> Contribution:
    return Contribution(name, np.outer(deviations, deviations))
