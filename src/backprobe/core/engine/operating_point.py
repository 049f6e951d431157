"""An engine and the points at which it runs, as the calculations take them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from backprobe.core.engine.air_flow import swept_flow
from backprobe.core.engine.array_checks import Array, require_between


@dataclass(frozen=True, slots=True)
class AirEngine:
    """What of an engine decides how much air it takes.

    Parameters
    ----------
    displacement : float
        Of all cylinders, m³.
    cycle : str
        "four-stroke" or "two-stroke".
    is_diesel : bool
        Not throttled; takes back exhaust at part load.
    is_forced : bool
        Charged by a compressor.
    recirculates : bool
        Exhaust may be led back while it is measured; False where it was seen to be shut or where
        there is none.
    """

    displacement: float
    cycle: str = "four-stroke"
    is_diesel: bool = False
    is_forced: bool = False
    recirculates: bool = True


@dataclass(frozen=True, eq=False)
class AirPoints:
    """Steady points at which an engine ran.

    Parameters
    ----------
    speed_rpm : ndarray, shape (n_point,)
        1/min.
    pressure : ndarray, shape (n_point,)
        Absolute, in the manifold, Pa.
    temperature : ndarray, shape (n_point,)
        Of the air going in, K.
    barometer : ndarray, shape (n_point,)
        Pa.
    """

    speed_rpm: Array
    pressure: Array
    temperature: Array
    barometer: Array

    def __len__(self) -> int:
        return len(self.speed_rpm)

    @property
    def pressure_ratio(self) -> Array:
        """Manifold pressure over barometer, shape (n_point,)."""
        return np.asarray(self.pressure / self.barometer)

    def joined(self, other: AirPoints) -> AirPoints:
        """These points and then others."""
        pairs = (
            np.concatenate(pair)
            for pair in (
                (self.speed_rpm, other.speed_rpm),
                (self.pressure, other.pressure),
                (self.temperature, other.temperature),
                (self.barometer, other.barometer),
            )
        )
        return AirPoints(*pairs)


def air_points(
    speed_rpm: ArrayLike, pressure: ArrayLike, temperature: ArrayLike, barometer: ArrayLike
) -> AirPoints:
    """Put points together, each value checked.

    Parameters
    ----------
    speed_rpm, pressure, temperature, barometer : array_like, shapes to broadcast to (n_point,)
        1/min, Pa, K, Pa.

    Returns
    -------
    AirPoints
        Of one length.

    Raises
    ------
    ValueOutOfRange
        The engine stands, or a pressure or temperature can't be.
    """
    n = require_between(speed_rpm, 50.0, 25_000.0, "engine speed", "1/min")
    p = require_between(pressure, 3e3, 6e5, "manifold pressure", "Pa")
    t = require_between(temperature, 200.0, 450.0, "intake air temperature", "K")
    b = require_between(barometer, 4e4, 1.1e5, "barometric pressure", "Pa")
    whole = np.broadcast_arrays(*(np.atleast_1d(each) for each in (n, p, t, b)))
    return AirPoints(*(np.array(each, dtype=np.float64) for each in whole))


def swept_of(engine: AirEngine, points: AirPoints) -> Array:
    """Flow at each point if every stroke filled its cylinder with manifold air.

    Parameters
    ----------
    engine : AirEngine
        Its size and cycle.
    points : AirPoints
        Where it ran.

    Returns
    -------
    ndarray, shape (n_point,)
        kg/s.

    Raises
    ------
    ValueOutOfRange
        The size can't be.

    Notes
    -----
    [heywood1988, eq. (2.27a)] with efficiency 1, manifold-referred.
    """
    return swept_flow(
        engine.displacement, points.speed_rpm, points.pressure, points.temperature, engine.cycle
    )
