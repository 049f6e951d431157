"""What each cause does to the fuel trims over speed and load.

The control unit meters fuel for the air that it believes in; the oxygen cell makes it add (trim
above zero) or take away (below zero) until the mixture is right. A cause is a small physical model
of how far fuel or air miss the mark at an operating point; its unknown sizes are drawn from the
spreads beside each. All flows are per litre of displacement, so that one model serves every engine.

The spreads are common practice where no source stands beside them. Causes told by more than one
pattern are drawn as a mixture.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.stoichiometry import stoichiometric_ratio
from backprobe.core.engine.throttle_flow import mass_flux
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

IDLE_FLOW: Final = 1.2  # g/s per litre, warm, loads off; common practice: about 1 to 2
FULL_FLOW: Final = 38.0  # g/s per litre at 5000 1/min and full load; trade journals: 37 to 40
REFERENCE_DENSITY: Final = 1.184  # g/l, dry air at 25 degC and 101.325 kPa [j1979]
# Petrol by its hydrogen for each carbon, ethanol C2H6O; kg/l, petrol 0.72 to 0.775 [en228].
_PETROL, _ETHANOL = stoichiometric_ratio(1, 1.87), stoichiometric_ratio(2, 6, 1)
_PETROL_DENSITY, _ETHANOL_DENSITY = 0.745, 0.789
LEAST_RATIO: Final = 0.15  # of fuel or air delivered to meant; less and the engine stalls


@dataclass(frozen=True, eq=False)
class OperatingPoints:
    """Where trims were read.

    Parameters
    ----------
    speed_rpm : ndarray, shape (n_point,)
        Engine speed, 1/min.
    flow : ndarray, shape (n_point,)
        Air flow that the control unit reckons with, g/s per litre of displacement.
    """

    speed_rpm: Array
    flow: Array

    @property
    def n_point(self) -> int:
        """How many."""
        return len(self.flow)


def pressure_ratio(points: OperatingPoints, flow: Array, filling: Array) -> Array:
    """Manifold pressure over that of the outside air, shape (n_draw, n_point).

    Parameters
    ----------
    points : OperatingPoints
        Speeds.
    flow : ndarray, shape (n_draw, n_point)
        Air that the cylinders take, g/s per litre.
    filling : ndarray, shape (n_draw, 1)
        Volumetric efficiency referred to the manifold.

    Notes
    -----
    The speed-density equation solved for the pressure [heywood1988, eq. 2.27], manifold air at
    the temperature of the reference density.
    """
    full = REFERENCE_DENSITY * filling * points.speed_rpm / 120.0  # (n_draw, n_point), g/s per l
    return np.asarray(np.clip(flow / full, 0.05, 1.0))


@dataclass(frozen=True, eq=False)
class Pattern:
    """Draws of one cause.

    Parameters
    ----------
    trim : ndarray, shape (n_draw, n_point)
        Trim that the cause asks for, as a share (0.1 = +10 %), before any limit.
    reading_full_load : ndarray, shape (n_draw,)
        Air flow as reported over the true one at full load.
    """

    trim: Array
    reading_full_load: Array


def share_of_choked_flow(ratio: Array) -> Array:
    """Flow through an opening over that when choked, by the pressures' ratio [heywood1988]."""
    return np.asarray(mass_flux(1.0, ratio, 300.0) / _CHOKED_FLUX)


_CHOKED_FLUX: Final = mass_flux(1.0, 0.0, 300.0)


def fuel_for_blend(ethanol_share: Array) -> Array:
    """Volume of fuel for the same air over that of petrol, by the share of ethanol by volume."""
    petrol = (1.0 - ethanol_share) * _PETROL_DENSITY * _PETROL
    blend = petrol + ethanol_share * _ETHANOL_DENSITY * _ETHANOL
    return np.asarray(_PETROL_DENSITY * _PETROL / blend)


Law: TypeAlias = Callable[[Array, OperatingPoints], Pattern]


def _log_spread(u: Array, low: float, high: float) -> Array:
    """Evenly in the logarithm, shape (n_draw, 1)."""
    return np.asarray(np.exp(np.log(low) + u[:, None] * np.log(high / low)))


def _spread(u: Array, low: float, high: float) -> Array:
    return np.asarray(low + u[:, None] * (high - low))


def _from_reading(reading: Array, full_load: Array) -> Pattern:
    """Trims of a control unit that believes a wrong air flow: it must add what is missing."""
    return Pattern(1.0 / np.maximum(reading, LEAST_RATIO) - 1.0, full_load[:, 0])


def _from_fuel(delivered: Array) -> Pattern:
    """Trims where the fuel delivered is this share of what was meant."""
    trim = 1.0 / np.maximum(delivered, LEAST_RATIO) - 1.0
    return Pattern(trim, np.ones(len(trim)))


def _load_place(flow: Array) -> Array:
    """0 at idle, 1 at full flow, by the logarithm of the flow."""
    return np.asarray(np.clip(np.log(flow / IDLE_FLOW) / np.log(FULL_FLOW / IDLE_FLOW), -0.1, 1.1))


def _nothing(u: Array, points: OperatingPoints) -> Pattern:
    return Pattern(np.zeros((len(u), points.n_point)), np.ones(len(u)))


def _leak_share(u_size: Array, u_filling: Array, points: OperatingPoints, least: float) -> Array:
    """Air that comes in behind the meter, over what the meter sees, shape (n_draw, n_point)."""
    size = _log_spread(u_size, least, 0.9) * IDLE_FLOW  # choked flow; 6 to 90 % of idle
    filling = _spread(u_filling, 0.55, 0.9)  # 0.5-0.7 at idle, 0.75-0.95 wide open
    flow = np.broadcast_to(points.flow, (len(u_size), points.n_point))
    leak = np.zeros_like(flow)
    for _ in range(2):  # the leak itself raises the manifold pressure a little
        ratio = pressure_ratio(points, flow + leak, filling)
        leak = size * share_of_choked_flow(ratio)
    return np.asarray(leak / points.flow)


def _unmetered_air(u: Array, points: OperatingPoints) -> Pattern:
    """Air behind both meter and throttle: choked at idle, a small share under load."""
    return Pattern(_leak_share(u[:, 0], u[:, 1], points, 0.06), np.ones(len(u)))


def _sensed_leak(u: Array, points: OperatingPoints) -> Pattern:
    """The same leak where the control unit goes by manifold pressure: it sees most of it."""
    unseen = _spread(u[:, 2], -0.02, 0.15)  # warmer, unevenly spread air
    return Pattern(unseen * _leak_share(u[:, 0], u[:, 1], points, 0.06), np.ones(len(u)))


def _reads_low(u: Array, points: OperatingPoints) -> Pattern:
    """A meter that shows too little everywhere, more so under load; or a split duct behind it."""
    missing = _spread(u[:, 0], 0.07, 0.40)
    more = _spread(u[:, 1] ** 2, 0.0, 0.25)
    place = _load_place(points.flow)
    return _from_reading(1.0 - missing - more * place, 1.0 - missing - more)


def _reads_high(u: Array, points: OperatingPoints) -> Pattern:
    """A meter that shows too much everywhere: wrong part, disturbed flow."""
    excess = _log_spread(u[:, 0], 0.07, 0.6)
    tilt = _spread(u[:, 1], -0.08, 0.08)
    place = _load_place(points.flow)
    return _from_reading(1.0 + excess + tilt * (place - 0.5), 1.0 + excess + tilt / 2)


def _dirty_meter(u: Array, points: OperatingPoints) -> Pattern:
    """A film on the element: shows too much at idle, too little at high flow."""
    idle = _spread(u[:, 0], 0.02, 0.25)
    load = _spread(u[:, 1], 0.07, 0.40)
    bend = _log_spread(u[:, 2], 0.6, 1.7)
    place = np.clip(_load_place(points.flow), 0.0, 1.0) ** bend
    return _from_reading(1.0 + idle - (idle + load) * place, 1.0 - load)


def _lifted_meter_ground(u: Array, points: OperatingPoints) -> Pattern:
    """Some tens to hundreds of millivolts added to a voltage output by its own ground.

    King's law for a hot element, V^2 = 1 + k m^n, 1.0 V without flow, 4.5 V at full scale.
    """
    lift = _log_spread(u[:, 0], 0.03, 0.4)  # V
    n = _spread(u[:, 1], 0.42, 0.6)
    full = _log_spread(u[:, 2], 40.0, 70.0)  # g/s per litre at 4.5 V
    k = (4.5**2 - 1.0) / full**n
    flow = np.broadcast_to(points.flow, (len(u), points.n_point))

    def ratio(shown: Array) -> Array:
        # `shown` is what the control unit reckons with: the lift is in it already.
        volts = np.sqrt(1.0 + k * shown**n) - lift
        true = (np.maximum(volts**2 - 1.0, 1e-3) / k) ** (1.0 / n)
        return np.asarray(shown / np.maximum(true, 0.1 * shown))

    return _from_reading(ratio(flow), ratio(np.full((len(u), 1), FULL_FLOW)))


def _weak_delivery(u: Array, points: OperatingPoints) -> Pattern:
    """A pump, filter or line that can't keep the pressure up, or clogged injectors.

    Flow through an injector goes as the root of the pressure across it; a share of the draws
    lacks pressure (or injector area) at every load alike.
    """
    is_even = u[:, 3:4] < 0.3
    lost_full = np.where(is_even, 0.0, _spread(u[:, 0], 0.15, 0.95))
    growth = _log_spread(u[:, 1], 0.5, 2.5)
    lost_all = np.where(is_even, _spread(u[:, 2], 0.10, 0.5), _spread(u[:, 2] ** 3, 0.0, 0.25))
    share = np.minimum(points.flow / FULL_FLOW, 1.1)
    pressure = 1.0 - lost_all - (1.0 - lost_all) * lost_full * share**growth
    return _from_fuel(np.sqrt(np.maximum(pressure, 0.01)))


def _much_ethanol(u: Array, points: OperatingPoints) -> Pattern:
    """Fuel with more ethanol than the control unit reckons with needs more fuel for the air."""
    share = _spread(u[:, 0], 0.15, 0.85)
    trim = np.broadcast_to(fuel_for_blend(share) - 1.0, (len(u), points.n_point))
    return Pattern(np.array(trim), np.ones(len(u)))


def _fuel_leaks_in(u: Array, points: OperatingPoints) -> Pattern:
    """A dripping injector, a leaking pressure regulator's diaphragm, fuel in the oil.

    A steady flow of fuel that nobody asked for: much of it at idle, little under load.
    """
    size = _log_spread(u[:, 0], 0.06, 0.7)
    extra = size * IDLE_FLOW / points.flow
    return Pattern(np.maximum(-extra, LEAST_RATIO - 1.0), np.ones(len(u)))


def _pressure_high(u: Array, points: OperatingPoints) -> Pattern:
    """Fuel pressure above what the control unit reckons with, at every load."""
    excess = _log_spread(u[:, 0], 0.15, 1.0)  # share of the pressure
    fade = _spread(u[:, 1], 0.0, 0.3) * np.minimum(points.flow / FULL_FLOW, 1.0)
    return _from_fuel(np.sqrt(1.0 + excess * (1.0 - fade)))


def _purge(u: Array, points: OperatingPoints) -> Pattern:
    """Fuel vapour from the tank, drawn in at low load; it comes and goes with the valve."""
    size = _log_spread(u[:, 0], 0.06, 0.6)
    open_idle, open_above = _spread(u[:, 1], 0.0, 1.0), _spread(u[:, 2], 0.3, 1.0)
    is_open = np.where(points.flow < 2.0 * IDLE_FLOW, open_idle, open_above)
    filling = np.full((len(u), 1), 0.75)
    flow = np.broadcast_to(points.flow, is_open.shape)
    drive = share_of_choked_flow(pressure_ratio(points, flow, filling))
    # Valves are held nearly shut at idle and opened further with the air flow.
    vapour = size * 2.0 * IDLE_FLOW * np.minimum(points.flow / (3.0 * IDLE_FLOW), 1.0)
    trim = np.maximum(-is_open * drive * vapour / points.flow, LEAST_RATIO - 1.0)
    return Pattern(trim, np.ones(len(u)))


def _exhaust_leak(u: Array, points: OperatingPoints) -> Pattern:
    """Air drawn in between pulses before the oxygen cell: looks lean at low flow."""
    size = _log_spread(u[:, 0], 0.05, 0.35)
    reach = _log_spread(u[:, 1], 1.5, 8.0)  # times the idle flow
    steep = _spread(u[:, 2], 0.8, 2.0)
    trim = size * np.exp(-(((points.flow - IDLE_FLOW).clip(0.0) / (reach * IDLE_FLOW)) ** steep))
    return Pattern(trim, np.ones(len(u)))


def _bank_air(u: Array, points: OperatingPoints) -> Pattern:
    """Unmetered air at the runners of one bank; only half of the air flow is there to share it."""
    return Pattern(2.0 * _leak_share(u[:, 0], u[:, 1], points, 0.03), np.ones(len(u)))


def _bank_injectors(u: Array, points: OperatingPoints) -> Pattern:
    """Injectors of one bank give too little (more often) or too much at every load."""
    size = _log_spread(u[:, 0], 0.07, 0.35)
    delivered = np.where(u[:, 1:2] < 0.7, 1.0 - size, 1.0 + size)
    return _from_fuel(np.broadcast_to(delivered, (len(u), points.n_point)))


def _biased_cell(u: Array, points: OperatingPoints) -> Pattern:
    """An oxygen cell that holds a wrong mixture for the right one, at every load alike."""
    size = _log_spread(u[:, 0], 0.06, 0.4)
    sign = np.where(u[:, 1:2] < 0.6, 1.0, -1.0)
    tilt = 1.0 + _spread(u[:, 2], -0.3, 0.3) * (_load_place(points.flow) - 0.5)
    return Pattern(sign * size * tilt, np.ones(len(u)))


AIR_MASS: Final = "air mass"
MANIFOLD_PRESSURE: Final = "manifold pressure"
EITHER: Final = ""  # not known which
METERINGS: Final = (AIR_MASS, MANIFOLD_PRESSURE)


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause and its laws.

    Parameters
    ----------
    prior : float
        How common it is against the others, where trims are looked at for a reason.
    n_draw_axis : int
        Unknown sizes that are drawn.
    laws : mapping of str to callable
        By how the control unit meters air; a cause without a law for one can't be there.
    on_all, on_one : float
        Share of its prior with every bank touched alike, and with one bank (of two) alone.
    """

    prior: float
    n_draw_axis: int
    laws: Mapping[str, Law]
    on_all: float = 1.0
    on_one: float = 0.0


def _both(law: Law) -> dict[str, Law]:
    return dict.fromkeys(METERINGS, law)


NONE: Final = "none"
UNMODELLED: Final = "unmodelled"
# Priors: common practice of the trade, no source; unmetered air is the first that it looks for.
CAUSES: Final[Mapping[str, Cause]] = {
    NONE: Cause(30.0, 1, _both(_nothing)),
    "unmetered-air": Cause(16.0, 3, {AIR_MASS: _unmetered_air, MANIFOLD_PRESSURE: _sensed_leak}),
    "air-mass-low": Cause(6.0, 2, {AIR_MASS: _reads_low}),
    "air-mass-high": Cause(3.0, 2, {AIR_MASS: _reads_high}),
    "air-mass-dirty": Cause(8.0, 3, {AIR_MASS: _dirty_meter}),
    "air-mass-ground": Cause(3.0, 3, {AIR_MASS: _lifted_meter_ground}),
    "fuel-weak": Cause(10.0, 4, _both(_weak_delivery)),
    "fuel-ethanol": Cause(1.0, 1, _both(_much_ethanol)),
    "fuel-leak": Cause(4.0, 1, _both(_fuel_leaks_in), on_all=0.5, on_one=0.5),
    "fuel-pressure-high": Cause(2.0, 2, _both(_pressure_high)),
    "purge": Cause(4.0, 3, _both(_purge)),
    "exhaust-leak": Cause(4.0, 3, _both(_exhaust_leak), on_all=0.2, on_one=0.8),
    "bank-air": Cause(3.0, 2, {AIR_MASS: _bank_air}, on_all=0.0, on_one=1.0),
    "bank-injectors": Cause(3.0, 2, _both(_bank_injectors), on_all=0.0, on_one=1.0),
    "oxygen-cell": Cause(3.0, 3, _both(_biased_cell), on_all=0.1, on_one=0.9),
}


def draw_pattern(cause: str, metering: str, points: OperatingPoints, u: Array) -> Pattern:
    """Trims of one cause for drawn sizes.

    Parameters
    ----------
    cause : str
        A key of ``CAUSES``.
    metering : str
        ``AIR_MASS`` or ``MANIFOLD_PRESSURE``; one for which the cause has a law.
    points : OperatingPoints
        Where.
    u : ndarray, shape (n_draw, at least CAUSES[cause].n_draw_axis)
        Evenly between 0 and 1.

    Returns
    -------
    Pattern
        Trims and reported air flow of each draw.

    Raises
    ------
    ValueOutOfRange
        The cause is unknown, or can't be there with this metering.
    """
    law = CAUSES[cause].laws.get(metering) if cause in CAUSES else None
    if law is None:
        raise ValueOutOfRange(
            f'Nothing is modelled for "{cause}" with air metered by {metering or "nothing"}.',
            remedy=f"Known are {', '.join(CAUSES)}.",
        )
    return law(u, points)
