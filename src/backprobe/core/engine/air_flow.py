"""How much air an engine takes: from its size and manifold, from its fuel, from its load value.

Displacement in m³, speed in revolutions a minute, pressure in Pa, temperature in K, flow in kg/s.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from backprobe.core.engine.array_checks import Array, require_between
from backprobe.core.engine.standard_atmosphere import DRY_AIR_GAS_CONSTANT
from backprobe.errors import ValueOutOfRange

# The density that the absolute load value is counted with: dry air at 25 °C and 101.3 kPa, kg/m³
# ([j1979], parameter 43; 1.184 g/L there).
LOAD_DENSITY: Final = 1.184
# Revolutions to fill every cylinder once.
REVOLUTIONS: Final[dict[str, float]] = {"four-stroke": 2.0, "two-stroke": 1.0}


def revolutions_a_cycle(cycle: str) -> float:
    """Revolutions in which every cylinder takes air once.

    Parameters
    ----------
    cycle : str
        "four-stroke" or "two-stroke".

    Returns
    -------
    float
        2 or 1.

    Raises
    ------
    ValueOutOfRange
        Another word.
    """
    if cycle not in REVOLUTIONS:
        raise ValueOutOfRange(
            f'"{cycle}" is no cycle that is known.',
            where="engine",
            remedy='Write "four-stroke" or "two-stroke".',
        )
    return REVOLUTIONS[cycle]


def swept_flow(
    displacement: ArrayLike,
    speed_rpm: ArrayLike,
    pressure: ArrayLike,
    temperature: ArrayLike,
    cycle: str = "four-stroke",
    gas_constant: float = DRY_AIR_GAS_CONSTANT,
) -> Array:
    """Air that would pass if every stroke filled its cylinder wholly: volumetric efficiency 1.

    Parameters
    ----------
    displacement : array_like, any shape
        Of all cylinders, m³.
    speed_rpm : array_like, shape to broadcast
        1/min.
    pressure, temperature : array_like, shapes to broadcast
        Of the air that the efficiency is referred to, Pa and K.
    cycle : str
        "four-stroke" or "two-stroke".
    gas_constant : float
        J/(kg K).

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
    [heywood1988, eq. (2.27a)] with efficiency 1: rho V N / 2 for four strokes.
    """
    v = require_between(displacement, 0.0, 0.1, "displacement", "m³", is_open=True)
    n = require_between(speed_rpm, 0.0, 25_000.0, "engine speed", "1/min")
    p = require_between(pressure, 0.0, 1e6, "pressure", "Pa", is_open=True)
    t = require_between(temperature, 150.0, 600.0, "air temperature", "K")
    filled = n / 60.0 / revolutions_a_cycle(cycle)  # fillings a second
    return np.asarray(v * filled * p / (gas_constant * t))


def speed_density_flow(
    displacement: ArrayLike,
    speed_rpm: ArrayLike,
    pressure: ArrayLike,
    temperature: ArrayLike,
    efficiency: ArrayLike,
    cycle: str = "four-stroke",
) -> Array:
    """Air that an engine takes, from manifold pressure and volumetric efficiency.

    Parameters
    ----------
    displacement : array_like, any shape
        Of all cylinders, m³.
    speed_rpm : array_like, shape to broadcast
        1/min.
    pressure, temperature : array_like, shapes to broadcast
        Of the air in the manifold, Pa and K, where the efficiency is referred to the manifold; of
        the air outside, where it is referred to that (never one of each).
    efficiency : array_like, shape to broadcast
        Volumetric efficiency referred to that same air.
    cycle : str
        "four-stroke" or "two-stroke".

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
    [heywood1988, eq. (2.27a)] solved for the mass of air.
    """
    share = require_between(efficiency, 0.0, 3.0, "volumetric efficiency", "")
    return np.asarray(share * swept_flow(displacement, speed_rpm, pressure, temperature, cycle))


def volumetric_efficiency(
    flow: ArrayLike,
    displacement: ArrayLike,
    speed_rpm: ArrayLike,
    pressure: ArrayLike,
    temperature: ArrayLike,
    cycle: str = "four-stroke",
    gas_constant: float = DRY_AIR_GAS_CONSTANT,
) -> Array:
    """Volumetric efficiency that a flow amounts to.

    Parameters
    ----------
    flow : array_like, any shape
        kg/s.
    displacement, speed_rpm : array_like, shapes to broadcast
        m³ and 1/min; the engine turns.
    pressure, temperature : array_like, shapes to broadcast
        Pa and K of the manifold: manifold-referred; of the air outside: ambient-referred.
    cycle : str
        "four-stroke" or "two-stroke".
    gas_constant : float
        J/(kg K).

    Returns
    -------
    ndarray, broadcast shape
        Share of the whole filling.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    [heywood1988, eq. (2.27a)].
    """
    m = require_between(flow, 0.0, 10.0, "air flow", "kg/s")
    n = require_between(speed_rpm, 0.0, 25_000.0, "engine speed", "1/min", is_open=True)
    whole = swept_flow(displacement, n, pressure, temperature, cycle, gas_constant)
    return np.asarray(m / whole)


def refer_to_ambient(
    efficiency: ArrayLike,
    manifold_pressure: ArrayLike,
    manifold_temperature: ArrayLike,
    ambient_pressure: ArrayLike,
    ambient_temperature: ArrayLike,
) -> Array:
    """Turn a manifold-referred volumetric efficiency into an ambient-referred one.

    Parameters
    ----------
    efficiency : array_like, any shape
        Manifold-referred.
    manifold_pressure, manifold_temperature : array_like, shapes to broadcast
        Pa and K.
    ambient_pressure, ambient_temperature : array_like, shapes to broadcast
        Pa and K.

    Returns
    -------
    ndarray, broadcast shape
        Ambient-referred.

    Raises
    ------
    ValueOutOfRange
        A pressure or temperature isn't above zero.

    Notes
    -----
    One flow counted with two densities ([heywood1988, section 2.10]).
    """
    share = require_between(efficiency, 0.0, 3.0, "volumetric efficiency", "")
    p, t, p0, t0 = (
        require_between(each, 0.0, 1e6, "pressure or temperature", "", is_open=True)
        for each in (manifold_pressure, manifold_temperature, ambient_pressure, ambient_temperature)
    )
    return np.asarray(share * (p / t) * (t0 / p0))


def air_per_stroke(
    flow: ArrayLike, speed_rpm: ArrayLike, cylinders: int, cycle: str = "four-stroke"
) -> Array:
    """Air that one cylinder takes in one intake stroke.

    Parameters
    ----------
    flow : array_like, any shape
        kg/s.
    speed_rpm : array_like, shape to broadcast
        1/min; the engine turns.
    cylinders : int
        Their number.
    cycle : str
        "four-stroke" or "two-stroke".

    Returns
    -------
    ndarray, broadcast shape
        kg.

    Raises
    ------
    ValueOutOfRange
        The engine stands or has no cylinder.

    Notes
    -----
    [j1979, parameter 43]: flow / (speed / 60 · cylinders / 2) for four strokes.
    """
    n = require_between(speed_rpm, 0.0, 25_000.0, "engine speed", "1/min", is_open=True)
    count = require_between(cylinders, 1, 100, "number of cylinders", "")
    strokes = n / 60.0 * count / revolutions_a_cycle(cycle)
    return np.asarray(require_between(flow, 0.0, 10.0, "air flow", "kg/s") / strokes)


def absolute_load(
    flow: ArrayLike, speed_rpm: ArrayLike, displacement: ArrayLike, cycle: str = "four-stroke"
) -> Array:
    """The standard absolute load value of a flow.

    Parameters
    ----------
    flow : array_like, any shape
        kg/s.
    speed_rpm : array_like, shape to broadcast
        1/min; the engine turns.
    displacement : array_like, shape to broadcast
        Of all cylinders, m³.
    cycle : str
        "four-stroke" or "two-stroke".

    Returns
    -------
    ndarray, broadcast shape
        Share: 1 is 100 %.

    Raises
    ------
    ValueOutOfRange
        An argument is outside of what it can be.

    Notes
    -----
    [j1979, parameter 43]: air of an intake stroke over 1.184 g/L times the cylinder's displacement;
    the number of cylinders cancels.
    """
    v = require_between(displacement, 0.0, 0.1, "displacement", "m³", is_open=True)
    return np.asarray(air_per_stroke(flow, speed_rpm, 1, cycle) / (LOAD_DENSITY * v))


def flow_from_load(
    load: ArrayLike, speed_rpm: ArrayLike, displacement: ArrayLike, cycle: str = "four-stroke"
) -> Array:
    """The flow that a standard absolute load value stands for.

    Parameters
    ----------
    load : array_like, any shape
        Share: 1 is 100 %.
    speed_rpm : array_like, shape to broadcast
        1/min.
    displacement : array_like, shape to broadcast
        Of all cylinders, m³.
    cycle : str
        "four-stroke" or "two-stroke".

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
    The inverse of `absolute_load`.
    """
    share = require_between(load, 0.0, 257.0, "absolute load", "")
    n = require_between(speed_rpm, 0.0, 25_000.0, "engine speed", "1/min")
    v = require_between(displacement, 0.0, 0.1, "displacement", "m³", is_open=True)
    return np.asarray(share * LOAD_DENSITY * v * n / 60.0 / revolutions_a_cycle(cycle))


def air_from_fuel(
    fuel_volume_flow: ArrayLike, density: ArrayLike, ratio: ArrayLike, lambda_value: ArrayLike = 1.0
) -> Array:
    """Air that burns a flow of fuel at an air number.

    Parameters
    ----------
    fuel_volume_flow : array_like, any shape
        m³/s.
    density : array_like, shape to broadcast
        Of the fuel, kg/m³.
    ratio : array_like, shape to broadcast
        Stoichiometric air-fuel ratio by mass.
    lambda_value : array_like, shape to broadcast
        Air number: 1 is stoichiometric.

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
    Balance of mass: air = fuel · ratio · lambda.
    """
    q = require_between(fuel_volume_flow, 0.0, 1e-2, "fuel flow", "m³/s")
    rho = require_between(density, 0.0, 2_000.0, "fuel density", "kg/m³", is_open=True)
    need = require_between(ratio, 1.0, 40.0, "stoichiometric ratio", "")
    number = require_between(lambda_value, 0.3, 30.0, "air number", "")
    return np.asarray(q * rho * need * number)
