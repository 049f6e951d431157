"""Air through a throttle or a leak: compressible, and choked where the pressure falls far."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from backprobe.core.engine.array_checks import Array, require_between
from backprobe.core.engine.standard_atmosphere import DRY_AIR_GAS_CONSTANT

AIR_HEAT_RATIO: Final = 1.4  # cold dry air, [naca1135]


def critical_pressure_ratio(heat_ratio: float = AIR_HEAT_RATIO) -> float:
    """Pressure ratio at and below which the flow is choked.

    Parameters
    ----------
    heat_ratio : float
        Ratio of specific heats, above 1.

    Returns
    -------
    float
        Throat pressure over stagnation pressure at the speed of sound.

    Raises
    ------
    ValueOutOfRange
        The ratio isn't above 1.

    Notes
    -----
    [naca1135, eq. (44)] with M = 1; [heywood1988, eq. (C.9)].
    """
    k = float(require_between(heat_ratio, 1.0, 2.0, "ratio of specific heats", "", is_open=True))
    return float((2.0 / (k + 1.0)) ** (k / (k - 1.0)))


def critical_temperature_ratio(heat_ratio: float = AIR_HEAT_RATIO) -> float:
    """Throat temperature over stagnation temperature at the speed of sound.

    Parameters
    ----------
    heat_ratio : float
        Ratio of specific heats, above 1.

    Returns
    -------
    float
        2 / (k + 1).

    Raises
    ------
    ValueOutOfRange
        The ratio isn't above 1.

    Notes
    -----
    [naca1135, eq. (43)] with M = 1.
    """
    k = float(require_between(heat_ratio, 1.0, 2.0, "ratio of specific heats", "", is_open=True))
    return 2.0 / (k + 1.0)


def stagnation_temperature(temperature: ArrayLike, velocity: ArrayLike, heat: float) -> Array:
    """Temperature of a stream brought to rest without loss of heat.

    Parameters
    ----------
    temperature : array_like, any shape
        Temperature of the moving air, K.
    velocity : array_like, shape to broadcast
        m/s.
    heat : float
        Specific heat at constant pressure, J/(kg K).

    Returns
    -------
    ndarray, broadcast shape
        Stagnation temperature, K.

    Raises
    ------
    ValueOutOfRange
        A temperature or the heat isn't above zero.

    Notes
    -----
    Energy balance, T0 = T + v² / (2 c_p); [cengel2006, eq. (12-5)].
    """
    t = require_between(temperature, 0.0, np.inf, "temperature", "K", is_open=True)
    c = require_between(heat, 0.0, np.inf, "specific heat", "J/(kg K)", is_open=True)
    return np.asarray(t + np.asarray(velocity, dtype=np.float64) ** 2 / (2.0 * c))


def stagnation_pressure(
    pressure: ArrayLike,
    temperature: ArrayLike,
    stagnation: ArrayLike,
    heat_ratio: float = AIR_HEAT_RATIO,
) -> Array:
    """Pressure of a stream brought to rest without loss.

    Parameters
    ----------
    pressure, temperature : array_like, shapes to broadcast
        Of the moving air, Pa and K.
    stagnation : array_like, shape to broadcast
        Stagnation temperature, K.
    heat_ratio : float
        Ratio of specific heats, above 1.

    Returns
    -------
    ndarray, broadcast shape
        Stagnation pressure, Pa.

    Raises
    ------
    ValueOutOfRange
        A pressure or temperature isn't above zero.

    Notes
    -----
    [cengel2006, eq. (12-8)]: p0 = p (T0 / T)^(k / (k - 1)).
    """
    p = require_between(pressure, 0.0, np.inf, "pressure", "Pa", is_open=True)
    t = require_between(temperature, 0.0, np.inf, "temperature", "K", is_open=True)
    t0 = require_between(stagnation, 0.0, np.inf, "stagnation temperature", "K", is_open=True)
    return np.asarray(p * (t0 / t) ** (heat_ratio / (heat_ratio - 1.0)))


def mass_flux(
    upstream: ArrayLike,
    downstream: ArrayLike,
    temperature: ArrayLike,
    *,
    gas_constant: float = DRY_AIR_GAS_CONSTANT,
    heat_ratio: float = AIR_HEAT_RATIO,
) -> Array:
    """Mass that passes each square metre of a throat without loss, each second.

    Parameters
    ----------
    upstream, downstream : array_like, shapes to broadcast
        Stagnation pressure before, pressure behind, Pa.
    temperature : array_like, shape to broadcast
        Stagnation temperature before, K.
    gas_constant : float
        J/(kg K).
    heat_ratio : float
        Ratio of specific heats, above 1.

    Returns
    -------
    ndarray, broadcast shape
        kg/(m² s); never negative: without a fall of pressure nothing flows.

    Raises
    ------
    ValueOutOfRange
        A pressure or temperature can't be.

    Notes
    -----
    [heywood1988, eqs. (C.8) and (C.9)]. Below the critical ratio the flow no longer depends on the
    pressure behind.
    """
    p0 = require_between(upstream, 0.0, np.inf, "pressure before the throttle", "Pa", is_open=True)
    p = require_between(downstream, 0.0, np.inf, "pressure behind the throttle", "Pa")
    t0 = require_between(temperature, 0.0, np.inf, "temperature", "K", is_open=True)
    k = heat_ratio
    ratio = np.clip(p / p0, critical_pressure_ratio(k), 1.0)
    speed = np.sqrt(2.0 * k / (k - 1.0) * (1.0 - ratio ** ((k - 1.0) / k)))
    return np.asarray(p0 / np.sqrt(gas_constant * t0) * ratio ** (1.0 / k) * speed)


def throttle_flow(
    area: ArrayLike,
    upstream: ArrayLike,
    downstream: ArrayLike,
    temperature: ArrayLike,
    discharge: ArrayLike = 1.0,
) -> Array:
    """Air that passes an opening.

    Parameters
    ----------
    area : array_like, any shape
        Open area, m².
    upstream, downstream : array_like, shapes to broadcast
        Pressure before and behind, Pa.
    temperature : array_like, shape to broadcast
        Temperature before, K.
    discharge : array_like, shape to broadcast
        Discharge coefficient, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape
        kg/s.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    [heywood1988, eqs. (C.8) and (C.9)].
    """
    a = require_between(area, 0.0, np.inf, "area", "m²")
    c = require_between(discharge, 0.0, 1.0, "discharge coefficient", "")
    return np.asarray(c * a * mass_flux(upstream, downstream, temperature))


def small_orifice_flow(
    area: float, pressure_difference: float, density: float, discharge: float
) -> float:
    """Air through a sharp-edged orifice where the pressure hardly falls (an air box on a bench).

    Parameters
    ----------
    area : float
        m².
    pressure_difference : float
        Pa, far below the pressure itself.
    density : float
        kg/m³.
    discharge : float
        Discharge coefficient, 0 to 1.

    Returns
    -------
    float
        kg/s.

    Raises
    ------
    ValueOutOfRange
        An argument is negative or the discharge coefficient above 1.

    Notes
    -----
    Bernoulli: C A sqrt(2 rho dp); [rajput2005, section 7.3].
    """
    a = require_between(area, 0.0, np.inf, "area", "m²")
    dp = require_between(pressure_difference, 0.0, np.inf, "pressure difference", "Pa")
    rho = require_between(density, 0.0, np.inf, "density", "kg/m³")
    c = require_between(discharge, 0.0, 1.0, "discharge coefficient", "")
    return float(c * a * np.sqrt(2.0 * rho * dp))
