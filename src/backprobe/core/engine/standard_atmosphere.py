"""The standard atmosphere below 11 km: what pressure a height has, and what height a pressure."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from backprobe.core.engine.array_checks import Array, require_between

# [iso2533], table 1 and section 2: sea level, gradient, gas constant; SI.
SEA_LEVEL_PRESSURE: Final = 101_325.0  # Pa
SEA_LEVEL_TEMPERATURE: Final = 288.15  # K
GRADIENT: Final = 6.5e-3  # K/m, geopotential
DRY_AIR_GAS_CONSTANT: Final = 287.05287  # J/(kg K)
_GRAVITY: Final = 9.80665  # m/s²
_EARTH_RADIUS: Final = 6_356_766.0  # m
_EXPONENT: Final = _GRAVITY / (DRY_AIR_GAS_CONSTANT * GRADIENT)
LOWEST, HIGHEST = -1_000.0, 11_000.0  # m; below the sea as mines and depressions go


def geopotential_height(geometric: ArrayLike) -> Array:
    """Height on a scale on which gravity is everywhere that of sea level.

    Parameters
    ----------
    geometric : array_like, any shape
        Height above mean sea level, m.

    Returns
    -------
    ndarray, same shape
        Geopotential height, m.

    Raises
    ------
    ValueOutOfRange
        Below -1000 m or above 11.02 km.

    Notes
    -----
    [iso2533, eq. (8)]: H = r h / (r + h).
    """
    h = require_between(geometric, LOWEST, HIGHEST + 20.0, "height", "m")
    return np.asarray(_EARTH_RADIUS * h / (_EARTH_RADIUS + h))


def geometric_height(geopotential: ArrayLike) -> Array:
    """Height above mean sea level of a geopotential height.

    Parameters
    ----------
    geopotential : array_like, any shape
        Geopotential height, m.

    Returns
    -------
    ndarray, same shape
        Height, m.

    Raises
    ------
    ValueOutOfRange
        Below -1001 m or above 11 km.

    Notes
    -----
    The inverse of `geopotential_height`.
    """
    h = require_between(geopotential, LOWEST - 1.0, HIGHEST, "geopotential height", "m")
    return np.asarray(_EARTH_RADIUS * h / (_EARTH_RADIUS - h))


def standard_temperature(height: ArrayLike) -> Array:
    """Temperature of the standard atmosphere.

    Parameters
    ----------
    height : array_like, any shape
        Geopotential height, m.

    Returns
    -------
    ndarray, same shape
        Temperature, K.

    Raises
    ------
    ValueOutOfRange
        Below -1001 m or above 11 km.

    Notes
    -----
    [iso2533, eq. (10)].
    """
    h = require_between(height, LOWEST - 1.0, HIGHEST, "geopotential height", "m")
    return np.asarray(SEA_LEVEL_TEMPERATURE - GRADIENT * h)


def standard_pressure(height: ArrayLike) -> Array:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    height : array_like, any shape
        Geopotential height, m.

    Returns
    -------
    ndarray, same shape
        Pressure, Pa.

    Raises
    ------
    ValueOutOfRange
        Below -1001 m or above 11 km.

    Notes
    -----
    [iso2533, eq. (12)].
    """
    ratio = standard_temperature(height) / SEA_LEVEL_TEMPERATURE
    return np.asarray(SEA_LEVEL_PRESSURE * ratio**_EXPONENT)


def standard_density(height: ArrayLike) -> Array:
    """Density of the standard atmosphere.

    Parameters
    ----------
    height : array_like, any shape
        Geopotential height, m.

    Returns
    -------
    ndarray, same shape
        Density, kg/m³.

    Raises
    ------
    ValueOutOfRange
        Below -1001 m or above 11 km.

    Notes
    -----
    [iso2533, eq. (14)]: p / (R T).
    """
    return np.asarray(
        standard_pressure(height) / (DRY_AIR_GAS_CONSTANT * standard_temperature(height))
    )


def pressure_height(pressure: ArrayLike) -> Array:
    """Geopotential height at which the standard atmosphere has a pressure.

    Parameters
    ----------
    pressure : array_like, any shape
        Pressure, Pa.

    Returns
    -------
    ndarray, same shape
        Geopotential height, m.

    Raises
    ------
    ValueOutOfRange
        A pressure that the standard atmosphere has only below -1001 m or above 11 km.

    Notes
    -----
    The inverse of [iso2533, eq. (12)].
    """
    least, most = standard_pressure((HIGHEST, LOWEST - 1.0))
    p = require_between(pressure, float(least), float(most), "barometric pressure", "Pa")
    ratio = (p / SEA_LEVEL_PRESSURE) ** (1.0 / _EXPONENT)
    return np.asarray(SEA_LEVEL_TEMPERATURE / GRADIENT * (1.0 - ratio))
