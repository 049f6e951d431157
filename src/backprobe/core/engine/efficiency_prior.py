"""What is held of an engine's volumetric efficiency before anything is measured.

Referred to the manifold: air taken over air that would fill the swept volume at manifold pressure
and intake temperature. It is never known well, least of all at idle, so it comes as a distribution
of its logarithm over all points at once: an engine that breathes well at one point mostly does at
the next one, and only what differs between points can tell a sensor from an engine.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.operating_point import AirEngine, AirPoints

# Wide open at middle speed. Worked examples of [rajput2005] have 0.85, 0.86 and 0.87; [heywood1988,
# section 2.10] gives 0.8 to 0.9 at best for throttled engines and somewhat more for diesels.
WIDE_OPEN, WIDE_OPEN_DIESEL = 0.86, 0.88
# Lost at idle speed to exhaust that flows back through the valves' overlap, beyond the residual gas
# of the ideal cycle. With it idle comes to 0.65: common practice, no source, has 0.5 to 0.7, while
# speed-density examples in print reckon with up to 0.85.
_BACKFLOW: Final = 0.10
_IDLE_RPM, _IDLE_RATIO = 800.0, 1.0 / 3.0
_COMPRESSION, _HEAT_RATIO = 10.0, 1.3
# Standard deviations of the logarithm. Common practice, no source, has 0.75 to 0.95 wide open (a
# tenth to either side, two standard deviations with the speed's part) and 0.5 to 0.85 at idle.
_SHARED, _SHARED_FORCED = 0.065, 0.08
_OVERLAP, _RESIDUAL = 0.13, 0.06
_TILT, _TUNING, _TUNING_OCTAVES, _OWN = 0.03, 0.035, 0.5, 0.02
_BOOST: Final = 0.12  # a unit of pressure ratio above one: charge temperature seldom known
# Exhaust led back takes the place of air: up to a tenth at part load of petrol engines, up to half
# in diesels (mean and standard deviation of the logarithm; common practice, no source).
_RECIRCULATED: Final = (-0.02, 0.05)
_RECIRCULATED_DIESEL: Final = (-0.25, 0.20)


@dataclass(frozen=True, eq=False)
class Contribution:
    """One cause of doubt about a logarithm, over all points.

    Parameters
    ----------
    name : str
        What isn't known, in the trade's words.
    covariance : ndarray, shape (n_point, n_point)
        Of the natural logarithm.
    """

    name: str
    covariance: Array


@dataclass(frozen=True, eq=False)
class EfficiencyPrior:
    """Volumetric efficiency at some points, manifold-referred, as held before measuring.

    Parameters
    ----------
    log_median : ndarray, shape (n_point,)
        Natural logarithm of the median.
    contributions : tuple of Contribution
        Independent of each other.
    """

    log_median: Array
    contributions: tuple[Contribution, ...]

    @property
    def covariance(self) -> Array:
        """Of the logarithm, shape (n_point, n_point)."""
        return np.asarray(np.sum([each.covariance for each in self.contributions], axis=0))

    def interval(self, deviations: float = 1.645) -> tuple[Array, Array]:
        """Lowest and highest, 90 % unless asked otherwise, each of shape (n_point,)."""
        spread = deviations * np.sqrt(np.diag(self.covariance))
        return np.exp(self.log_median - spread), np.exp(self.log_median + spread)


def ideal_filling(pressure_ratio: Array) -> Array:
    """Volumetric efficiency of the ideal cycle, manifold-referred: the effect of residual gas.

    Parameters
    ----------
    pressure_ratio : ndarray, any shape
        Manifold over exhaust pressure; above one it counts as one.

    Returns
    -------
    ndarray, same shape
        1 without throttling.

    Raises
    ------
    Nothing
        Points are checked where they are put together.

    Notes
    -----
    [heywood1988, eq. (6.2)] without its factors for density and fuel vapour:
    r/(r-1) - (p_e/p_i + k - 1) / (k (r-1)).
    """
    back = 1.0 / np.minimum(pressure_ratio, 1.0)
    r, k = _COMPRESSION, _HEAT_RATIO
    return np.asarray(r / (r - 1.0) - (back + k - 1.0) / (k * (r - 1.0)))


def efficiency_prior(engine: AirEngine, points: AirPoints) -> EfficiencyPrior:
    """What is held of the volumetric efficiency at some points.

    Parameters
    ----------
    engine : AirEngine
        Its kind.
    points : AirPoints
        Where it runs.

    Returns
    -------
    EfficiencyPrior
        Medians and doubts, correlated between points.

    Raises
    ------
    Nothing
        Points are checked where they are put together.

    Notes
    -----
    Median: wide-open value times the ideal cycle's share times the backflow at low speed. Doubts: a
    factor shared by all points; one that grows with throttling and lower speed; one with throttling
    alone; one with speed; the tuning of pipes, alike at like speeds; charge temperature with boost;
    exhaust led back; and a little of each point's own.
    """
    ratio, octaves = points.pressure_ratio, np.log2(points.speed_rpm / 2500.0)
    throttled = np.clip((1.0 - ratio) / (1.0 - _IDLE_RATIO), 0.0, 1.3)
    overlap = throttled * np.sqrt(_IDLE_RPM / np.maximum(points.speed_rpm, 400.0))
    slow = throttled * _IDLE_RPM / np.maximum(points.speed_rpm, 400.0)
    wide_open = WIDE_OPEN_DIESEL if engine.is_diesel else WIDE_OPEN
    median = np.log(wide_open * ideal_filling(ratio)) + np.log1p(-_BACKFLOW * np.minimum(slow, 1.5))
    shared = _SHARED_FORCED if engine.is_forced else _SHARED
    alike = np.exp(-0.5 * ((octaves[:, None] - octaves[None, :]) / _TUNING_OCTAVES) ** 2)
    full = np.ones(len(points))
    parts = [
        _factor("how well this engine breathes", shared * full),
        _factor("exhaust that flows back at low load and speed", _OVERLAP * overlap),
        _factor("exhaust left in the cylinder at low load", _RESIDUAL * throttled),
        _factor("how its breathing changes with speed", _TILT * octaves),
        Contribution("the tuning of its pipes", _TUNING**2 * alike),
        Contribution("its breathing at each point", _OWN**2 * np.eye(len(points))),
    ]
    if engine.is_forced:
        boost = np.clip(ratio - 1.0, 0.0, 1.5)
        parts.append(_factor("the temperature of the charge under boost", _BOOST * boost))
    if engine.recirculates:
        mean, deviation = _RECIRCULATED_DIESEL if engine.is_diesel else _RECIRCULATED
        share = _recirculated_share(engine, ratio)
        median = median + mean * share
        parts.append(_factor("exhaust led back into the intake", deviation * share))
    return EfficiencyPrior(median, tuple(parts))


def _recirculated_share(engine: AirEngine, ratio: Array) -> Array:
    """How much of the usual recirculation can be at work: none at idle of petrol, none at full."""
    if engine.is_diesel:
        return np.clip((1.6 - ratio) / 0.5, 0.0, 1.0)
    part = np.clip((ratio - _IDLE_RATIO) / (1.0 - _IDLE_RATIO), 0.0, 1.0)
    return np.asarray(4.0 * part * (1.0 - part))


def _factor(name: str, deviations: Array) -> Contribution:
    """A doubt that moves all points together, each by its own amount."""
    return Contribution(name, np.outer(deviations, deviations))
