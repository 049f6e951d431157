"""Density of moist air, and how much of it is dry air.

An engine's air-mass sensor weighs the moist air; the oxygen is in the dry part of it.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from backprobe.core.engine.array_checks import Array, require_between

ZERO_CELSIUS: Final = 273.15  # K
# Carbon dioxide in the formula's own example air, mole fraction ([picard2008], section 2).
USUAL_CO2: Final = 400e-6
# Where the formula's stated uncertainty holds ([picard2008], section 3): K and Pa.
STATED_TEMPERATURE: Final = (288.15, 300.15)
STATED_PRESSURE: Final = (60_000.0, 110_000.0)
# Where it still agrees with a real-gas equation of state within 1.5e-4, as the tests show; beyond,
# as far as engine air can be, the error grows slowly and stays far below that of any sensor.
_COLDEST, _HOTTEST = 223.15, 373.15

_GAS_CONSTANT: Final = 8.314472  # J/(mol K), CODATA 2006 as the formula takes it
_VAPOUR_MOLAR_MASS: Final = 18.01528e-3  # kg/mol, [picard2008]


def saturation_vapour_pressure(temperature: ArrayLike) -> Array:
    """Pressure of saturated water vapour.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.

    Returns
    -------
    ndarray, same shape
        Pressure, Pa.

    Raises
    ------
    ValueOutOfRange
        Colder than -50 °C or hotter than 100 °C.

    Notes
    -----
    [picard2008, eq. (A1.1)].
    """
    t = require_between(temperature, _COLDEST, _HOTTEST, "temperature of moist air", "K")
    return np.asarray(
        np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)
    )


def enhancement_factor(temperature: ArrayLike, pressure: ArrayLike) -> Array:
    """How much more vapour air of a pressure holds than empty space would.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.

    Returns
    -------
    ndarray, broadcast shape
        Factor, a little above 1.

    Raises
    ------
    Nothing
        Both are checked where the density is asked for.

    Notes
    -----
    [picard2008, eq. (A1.2)]; temperature there in °C.
    """
    celsius = np.asarray(temperature, dtype=np.float64) - ZERO_CELSIUS
    return np.asarray(1.00062 + 3.14e-8 * np.asarray(pressure) + 5.6e-7 * celsius**2)


def vapour_mole_fraction(
    temperature: ArrayLike, pressure: ArrayLike, relative_humidity: ArrayLike
) -> Array:
    """Share of the molecules that are water.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.
    relative_humidity : array_like, shape to broadcast
        0 to 1.

    Returns
    -------
    ndarray, broadcast shape
        Mole fraction, 0 to 1.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be, or the air would be nothing but vapour.

    Notes
    -----
    [picard2008, eq. (A1.3)]: x = h f(p, t) p_sv(t) / p.
    """
    p = require_between(pressure, 1_000.0, 1e6, "air pressure", "Pa")
    h = require_between(relative_humidity, 0.0, 1.0, "relative humidity", "")
    fraction = h * enhancement_factor(temperature, p) * saturation_vapour_pressure(temperature) / p
    return require_between(fraction, 0.0, 0.999, "share of water vapour", "")


def compressibility(
    temperature: ArrayLike, pressure: ArrayLike, vapour_fraction: ArrayLike
) -> Array:
    """Compressibility factor of moist air.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.
    vapour_fraction : array_like, shape to broadcast
        Mole fraction of water vapour.

    Returns
    -------
    ndarray, broadcast shape
        Z; 1 for an ideal gas.

    Raises
    ------
    Nothing
        All are checked where the density is asked for.

    Notes
    -----
    [picard2008, eq. (A1.4)].
    """
    kelvin = np.asarray(temperature, dtype=np.float64)
    t, p, x = kelvin - ZERO_CELSIUS, np.asarray(pressure), np.asarray(vapour_fraction)
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first = first + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    return np.asarray(1.0 - p / kelvin * first + (p / kelvin) ** 2 * (1.83e-11 - 7.65e-9 * x**2))


def moist_air_density(
    temperature: ArrayLike,
    pressure: ArrayLike,
    relative_humidity: ArrayLike = 0.0,
    co2_fraction: float = USUAL_CO2,
) -> Array:
    """Density of moist air by the formula CIPM-2007.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.
    relative_humidity : array_like, shape to broadcast
        0 to 1.
    co2_fraction : float
        Mole fraction of carbon dioxide.

    Returns
    -------
    ndarray, broadcast shape
        Density, kg/m³; standard uncertainty of the formula 22e-6 of it between 15 and 27 °C and
        600 and 1100 hPa, see `is_within_stated_range`.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    [picard2008, eq. (1)]: rho = p M_a / (Z R T) (1 - x_v (1 - M_v / M_a)); M_a of eq. (3).
    """
    x = vapour_mole_fraction(temperature, pressure, relative_humidity)
    z = compressibility(temperature, pressure, x)
    air_molar_mass = (28.96546 + 12.011 * (co2_fraction - USUAL_CO2)) * 1e-3  # kg/mol
    dry = np.asarray(pressure) * air_molar_mass / (z * _GAS_CONSTANT * np.asarray(temperature))
    return np.asarray(dry * (1.0 - x * (1.0 - _VAPOUR_MOLAR_MASS / air_molar_mass)))


def is_within_stated_range(temperature: ArrayLike, pressure: ArrayLike) -> bool:
    """Tell whether the formula's own stated uncertainty holds.

    Parameters
    ----------
    temperature, pressure : array_like
        K and Pa.

    Returns
    -------
    bool
        True where all lie within 15 to 27 °C and 600 to 1100 hPa ([picard2008], section 3).

    Raises
    ------
    Nothing
        NaN is outside.
    """
    t, p = np.asarray(temperature), np.asarray(pressure)
    t_good = (t >= STATED_TEMPERATURE[0]) & (t <= STATED_TEMPERATURE[1])
    return bool(np.all(t_good) and np.all((p >= STATED_PRESSURE[0]) & (p <= STATED_PRESSURE[1])))


def simplified_moist_air_density(
    temperature: ArrayLike, pressure: ArrayLike, relative_humidity: ArrayLike
) -> Array:
    """Density of moist air by the simplified formula, as a check of the full one.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.
    relative_humidity : array_like, shape to broadcast
        0 to 1.

    Returns
    -------
    ndarray, broadcast shape
        Density, kg/m³; said to be within 2e-4 of it for 900 to 1100 hPa, 10 to 30 °C, below 80 %.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    [oiml111, E.3]: pressure there in hPa, humidity in per cent, temperature in °C.
    """
    kelvin = require_between(temperature, _COLDEST, _HOTTEST, "temperature of moist air", "K")
    p = require_between(pressure, 1_000.0, 1e6, "air pressure", "Pa") / 100.0
    h = require_between(relative_humidity, 0.0, 1.0, "relative humidity", "") * 100.0
    vapour = 0.009 * h * np.exp(0.061 * (kelvin - ZERO_CELSIUS))
    return np.asarray((0.34848 * p - vapour) / kelvin)


def dry_air_share(
    temperature: ArrayLike, pressure: ArrayLike, relative_humidity: ArrayLike
) -> Array:
    """Share of moist air's mass that is dry air: what carries the oxygen.

    Parameters
    ----------
    temperature : array_like, any shape
        Thermodynamic temperature, K.
    pressure : array_like, shape to broadcast
        Pressure, Pa.
    relative_humidity : array_like, shape to broadcast
        0 to 1.

    Returns
    -------
    ndarray, broadcast shape
        0 to 1.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    From the mole fraction and the molar masses of [picard2008].
    """
    x = vapour_mole_fraction(temperature, pressure, relative_humidity)
    dry = (1.0 - x) * 28.96546e-3
    return np.asarray(dry / (dry + x * _VAPOUR_MOLAR_MASS))
