"""Fuel trims of made-up engines, drawn by laws of their own.

Nothing is shared with the model that explains trims but the causes' names and how often each is
drawn: other curves for leaks, meters, pumps and cells, other spreads, another scatter with heavier
tails, other places on the map of speed and load. That is what makes a study's figures mean
something.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.campaign.spreads import Random, chance, even, log_even, pick

Array: TypeAlias = NDArray[np.float64]

LIMIT: Final = 0.25  # where control units stop; common practice, no source
# How often each is drawn, of a hundred or so; those below the line need an air-mass meter.
SHARES: Final[Mapping[str, float]] = {
    "none": 30.0,
    "fuel-weak": 10.0,
    "fuel-ethanol": 1.0,
    "fuel-leak": 4.0,
    "fuel-pressure-high": 2.0,
    "purge": 4.0,
    "exhaust-leak": 4.0,
    "bank-injectors": 3.0,
    "oxygen-cell": 3.0,
    "unmetered-air": 16.0,
    "air-mass-low": 6.0,
    "air-mass-high": 3.0,
    "air-mass-dirty": 8.0,
    "air-mass-ground": 3.0,
    "bank-air": 3.0,
}
AIR_MASS_ONLY: Final = tuple(
    name for name in SHARES if name.startswith("air-mass") or "air" in name
)
TWO_BANKS_ONLY: Final = ("bank-air", "bank-injectors")


@dataclass(frozen=True, eq=False)
class TrueEngine:
    """One made-up engine with what was read of it.

    Parameters
    ----------
    cause : str
        What is wrong, in the words of ``SHARES``.
    bank : int
        The bank that it sits on, 0 or 1; -1 for all.
    has_air_mass : bool
        Whether air mass is metered, else manifold pressure.
    speed_rpm, flow : ndarray, shape (n_point,)
        Engine speed, 1/min; air flow that the control unit reckons with, g/s per litre.
    trim, uncertainty : ndarray, shape (n_bank, n_point)
        As read, as a share, and its standard uncertainty.
    is_limited : ndarray of bool, shape (n_bank, n_point)
        Stood at the limit.
    asked : ndarray, shape (n_bank, n_point)
        Trim that the engine asks for, as a share, before limit and reading.
    """

    cause: str
    bank: int
    has_air_mass: bool
    speed_rpm: Array
    flow: Array
    trim: Array
    uncertainty: Array
    is_limited: NDArray[np.bool_]
    asked: Array


def draw_engine(rng: Random, *, evenly: bool = False) -> TrueEngine:
    """Draw an engine, its fault and what is read of it.

    Parameters
    ----------
    rng : Random
        Where chance comes from.
    evenly : bool
        Draw every cause equally often, not by its share.
    """
    has_air_mass, n_bank = chance(rng, 0.7), 1 + int(chance(rng, 0.4))
    names = [
        name
        for name in SHARES
        if (has_air_mass or name == "unmetered-air" or name not in AIR_MASS_ONLY)
        and (n_bank == 2 or name not in TWO_BANKS_ONLY)
    ]
    cause = pick(rng, *((1.0 if evenly else SHARES[name], name) for name in names))
    speed, true_flow, pressure = _places(rng)
    need, shown = _effect(cause, rng, speed, true_flow, pressure, has_air_mass)
    bank = _bank(cause, rng) if n_bank == 2 else -1
    trims = np.zeros((n_bank, len(speed)))
    for number in range(n_bank):
        trims[number] = need if bank in (-1, number) else 0.0
    common = rng.standard_t(6) * 0.024 + rng.normal(0.0, 0.010) * np.log(true_flow / 4.0)
    trims += common + rng.normal(0.0, 0.008, (n_bank, 1))
    trims += 0.011 * rng.standard_t(4, trims.shape)
    uncertainty = np.full(trims.shape, pick(rng, (0.5, 0.01), (0.3, 0.015), (0.2, 0.005)))
    read = trims + rng.normal(0.0, 1.0, trims.shape) * uncertainty
    limited = np.abs(read) >= LIMIT
    read = np.clip(read, -LIMIT, LIMIT)
    return TrueEngine(cause, bank, has_air_mass, speed, shown, read, uncertainty, limited, trims)


def _bank(cause: str, rng: Random) -> int:
    on_one = {
        "fuel-leak": 0.6,
        "exhaust-leak": 0.85,
        "bank-air": 1.0,
        "bank-injectors": 1.0,
        "oxygen-cell": 0.92,
    }.get(cause, 0.0)
    return int(rng.integers(2)) if chance(rng, on_one) else -1


def _places(rng: Random) -> tuple[Array, Array, Array]:
    """Speeds, flows (g/s per litre) and manifold pressures (share of the outer) that are read."""
    idle = (even(rng, 620.0, 950.0), even(rng, 0.26, 0.42))
    raised = (even(rng, 1900.0, 3000.0), even(rng, 0.24, 0.45))
    loaded = (even(rng, 2200.0, 4200.0), even(rng, 0.6, 0.97))
    road = [(even(rng, 1300.0, 3500.0), even(rng, 0.3, 0.85)) for _ in range(4)]
    shape = pick(rng, (0.45, 3), (0.2, 2), (0.35, 7))
    places = [idle, raised, loaded, *road][:shape]
    speed, pressure = (np.array(each) for each in zip(*places, strict=True))
    # Volumetric efficiency rises with speed and load; manifold air at 35 to 50 degC.
    filling = 0.62 + 0.25 * pressure + 0.05 * np.sin(speed / 1500.0) + rng.normal(0.0, 0.02)
    density = 101.325 * pressure / (0.28705 * (273.15 + even(rng, 30.0, 50.0)))
    return speed, np.asarray(density * filling * speed / 120.0), pressure


Effect: TypeAlias = Callable[[Random, Array, Array], Array]


def _effect(
    cause: str, rng: Random, speed: Array, flow: Array, pressure: Array, has_air_mass: bool
) -> tuple[Array, Array]:
    """Trim that a cause asks for, and the flow that the control unit reckons with."""
    if cause in ("unmetered-air", "bank-air"):
        idle = 1.25 if cause == "unmetered-air" else 0.6
        # Bernoulli without expansion, held at the value it has near the choking ratio.
        drive = np.sqrt(np.clip(1.0 - pressure, 0.0, 0.45) / 0.45)
        leak = log_even(rng, 0.08, 0.7) * idle * drive
        leak = np.minimum(leak, 0.6 * flow)
        if not has_air_mass:
            return even(rng, 0.0, 0.12) * leak / flow, flow
        shown = flow - (leak if cause == "unmetered-air" else leak / 2.0)
        return leak / (flow - leak if cause == "unmetered-air" else flow / 1.5), shown
    if cause in _METER:
        ratio = np.clip(_METER[cause](rng, flow), 0.3, 2.5)
        return 1.0 / ratio - 1.0, ratio * flow
    if cause in _FUEL:
        return _FUEL[cause](rng, flow, pressure), flow
    del speed
    return np.zeros_like(flow), flow


def _low(rng: Random, flow: Array) -> Array:
    # A power law through the origin: worse at one end, never across one.
    return np.asarray((1.0 - even(rng, 0.08, 0.35)) * (flow / 8.0) ** -even(rng, 0.0, 0.05))


def _high(rng: Random, flow: Array) -> Array:
    return np.asarray((1.0 + even(rng, 0.08, 0.5)) * (flow / 8.0) ** even(rng, -0.03, 0.03))


def _dirty(rng: Random, flow: Array) -> Array:
    low, high = 1.0 + even(rng, 0.03, 0.22), 1.0 - even(rng, 0.08, 0.35)
    middle = log_even(rng, 2.5, 12.0)
    return np.asarray(high + (low - high) / (1.0 + (flow / middle) ** even(rng, 1.0, 2.2)))


def _lifted(rng: Random, flow: Array) -> Array:
    # A straight-line table between published-looking corners instead of a hot-wire law.
    corners = np.array([0.0, 0.8, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0]) * even(rng, 0.8, 1.3)
    volts = np.array([1.0, 1.35, 1.7, 2.2, 2.7, 3.3, 4.0, 4.8])
    lift = log_even(rng, 0.04, 0.3)
    shown = np.interp(np.interp(flow, corners, volts) + lift, volts, corners)
    return np.asarray(shown / flow)


_METER: Final[Mapping[str, Callable[[Random, Array], Array]]] = {
    "air-mass-low": _low,
    "air-mass-high": _high,
    "air-mass-dirty": _dirty,
    "air-mass-ground": _lifted,
}


def _weak(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    if chance(rng, 0.3):  # clogged injectors or a low regulator
        return np.full_like(flow, 1.0 / math.sqrt(1.0 - even(rng, 0.12, 0.45)) - 1.0)
    # A pump that holds its pressure up to what it can deliver, then gives no more.
    capacity = log_even(rng, 6.0, 22.0)
    return np.asarray(np.maximum(flow / capacity, 1.0) - 1.0 + even(rng, 0.0, 0.05))


def _ethanol(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    return np.full_like(flow, 0.40 * even(rng, 0.2, 0.9))


def _drip(rng: Random, flow: Array, pressure: Array) -> Array:
    # Through an opening into the manifold: a little more with more vacuum.
    drip = log_even(rng, 0.08, 0.55) * 1.2 * np.sqrt(4.0 - pressure) / np.sqrt(3.65)
    return np.asarray(-np.minimum(drip / flow, 0.6))


def _pressed(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    return np.full_like(flow, 1.0 / math.sqrt(1.0 + even(rng, 0.2, 0.9)) - 1.0)


def _vapour(rng: Random, flow: Array, pressure: Array) -> Array:
    duty = rng.beta(1.2, 1.2, len(flow))
    amount = log_even(rng, 0.15, 0.9)
    return np.asarray(-np.minimum(amount * duty * np.sqrt(1.0 - pressure) / flow**0.5, 0.5))


def _exhaust(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    reach = log_even(rng, 2.5, 9.0)
    return np.asarray(even(rng, 0.07, 0.3) / (1.0 + (flow / reach) ** even(rng, 1.2, 2.5)))


def _injectors(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    size = even(rng, 0.08, 0.3)
    return np.full_like(flow, 1.0 / (1.0 - size) - 1.0 if chance(rng, 0.7) else -size)


def _cell(rng: Random, flow: Array, pressure: Array) -> Array:
    del pressure
    size = even(rng, 0.07, 0.35) * (1.0 if chance(rng, 0.6) else -1.0)
    return np.asarray(size * (1.0 + 0.06 * rng.normal(0.0, 1.0, len(flow))))


_FUEL: Final[Mapping[str, Effect]] = {
    "fuel-weak": _weak,
    "fuel-ethanol": _ethanol,
    "fuel-leak": _drip,
    "fuel-pressure-high": _pressed,
    "purge": _vapour,
    "exhaust-leak": _exhaust,
    "bank-injectors": _injectors,
    "oxygen-cell": _cell,
}
