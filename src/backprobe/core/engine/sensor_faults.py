"""What may be wrong where a sensor's air and the calculated air differ, as draws of what it does.

Each hypothesis turns a sensor's reading back into the air that then went into the engine, so that
one question remains for all: is that an amount that this engine can take?
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.operating_point import AirEngine, AirPoints
from backprobe.core.engine.throttle_flow import mass_flux

IN_ORDER: Final = "in order"
LOW, HIGH = "reads low", "reads high"
OFFSET: Final = "offset"
CONTAMINATED: Final = "contaminated"
UNMETERED: Final = "unmetered air"
ENGINE: Final = "engine"
FUEL: Final = "fuel"
OTHER: Final = "something else"

# Prior weights. A sensor that is asked about is suspected; how often it turns out sound is an
# opinion among technicians (about half the time the named part is at fault; common practice).
PRIOR: Final[dict[str, float]] = {
    IN_ORDER: 0.44,
    LOW: 0.12,
    HIGH: 0.05,
    OFFSET: 0.07,
    CONTAMINATED: 0.09,
    UNMETERED: 0.09,
    ENGINE: 0.06,
    FUEL: 0.06,
    OTHER: 0.02,
}
HYPOTHESES: Final[tuple[str, ...]] = tuple(PRIOR)

# Flow of an engine of one cubic metre: idle and full load, kg/s (1.2 and 38 g/s a litre; common
# practice, no source, and 37 to 40 a litre at 5000 1/min in a trade journal).
IDLE_FLOW, FULL_FLOW = 1.2, 38.0
# Least and greatest effect of each; a smaller one is no fault that can be told from a sound sensor.
_LOW: Final = (0.40, 0.88)  # reading over true
_HIGH: Final = (1.12, 2.0)
_OFFSET: Final = (0.25, 2.0)  # g/s a litre of displacement, to either side
_OVER_AT_IDLE: Final = (0.03, 0.30)  # of the logarithm
_UNDER_AT_FULL: Final = (0.10, 0.50)
_LEAK: Final = (0.15, 1.2)  # g/s a litre of displacement, choked
_BREATHING: Final = (0.50, 0.85)  # air over what a sound engine would take
# Golden-ratio steps in several dimensions: draws that fill evenly, the same every time.
_STEPS: Final = (0.7548776662466927, 0.5698402909980532, 0.3247179572447460)

N_DRAW: Final = 768


@dataclass(frozen=True, eq=False)
class TurnedBack:
    """What the air was, if a hypothesis holds, for each draw of what it does.

    Parameters
    ----------
    log_air : ndarray, shape (n_draw, n_point)
        Natural logarithm of the air that went in, kg/s; NaN where a draw can't give the reading.
    log_slope : ndarray, shape (n_draw,)
        Logarithm of the change of all log_air together with the logarithm of the readings: the
        density of the readings is that of the air times this.
    expected_shift : ndarray, shape (n_draw, n_point)
        How much less than a sound engine it takes, as a logarithm; zero unless the engine is ill.
    size : ndarray, shape (n_draw,)
        The draw in the trade's words: see `SIZE_WORDS`.
    """

    log_air: Array
    log_slope: Array
    expected_shift: Array
    size: Array


# What `size` tells for each hypothesis.
SIZE_WORDS: Final[dict[str, str]] = {
    LOW: "reading over true air",
    HIGH: "reading over true air",
    OFFSET: "grams a second too much at idle",
    CONTAMINATED: "reading over true air at full load",
    UNMETERED: "grams a second past the sensor at idle",
    ENGINE: "air over that of a sound engine",
}


def turn_back(name: str, reading: Array, engine: AirEngine, points: AirPoints) -> TurnedBack:
    """Turn readings back into air under one hypothesis.

    Parameters
    ----------
    name : str
        One of `HYPOTHESES`.
    reading : ndarray, shape (n_point,)
        What the sensor showed, kg/s, above zero.
    engine : AirEngine
        Its size.
    points : AirPoints
        Where it ran.

    Returns
    -------
    TurnedBack
        With `N_DRAW` draws, or one where there is nothing to draw.

    Raises
    ------
    KeyError
        An unknown name: a mistake of the program.

    Notes
    -----
    Low and high: a share of the air. Offset: an amount on top, constant or growing with the root of
    the air, as a constant voltage does on a hot-wire curve. Contaminated: over at low flow and
    under at high flow, straight in logarithms. Unmetered: what the manifold's vacuum draws
    through a hole ([heywood1988, eq. (C.8)]) is missing from the reading. Engine and
    fuel: the reading is true.
    """
    return _WAYS[name](reading, engine, points)


def _nothing(reading: Array, _engine: AirEngine, _points: AirPoints) -> TurnedBack:
    flat = np.zeros((1, len(reading)))
    return TurnedBack(np.log(reading)[None, :], np.zeros(1), flat, np.ones(1))


def _scaled(limits: tuple[float, float]) -> Callable[[Array, AirEngine, AirPoints], TurnedBack]:
    def turned(reading: Array, _engine: AirEngine, _points: AirPoints) -> TurnedBack:
        (u,) = _draws(1)
        gain = _spread(u, limits)
        log_air = np.log(reading)[None, :] - np.log(gain)[:, None]
        return TurnedBack(log_air, np.zeros(N_DRAW), np.zeros_like(log_air), gain)

    return turned


def _offset(reading: Array, engine: AirEngine, _points: AirPoints) -> TurnedBack:
    u, v, w = _draws(3)
    most = _spread(u, _OFFSET) * engine.displacement  # kg/s; g/s a litre is kg/s a cubic metre
    idle = IDLE_FLOW * engine.displacement
    # Reading more is commoner: a lifted ground adds. A minus can't take all of an idle's air.
    added = np.where(v < 0.7, most, -np.minimum(most, 0.8 * idle))[:, None]
    seen = np.broadcast_to(reading, (N_DRAW, len(reading)))
    constant = seen - added
    k = added / np.sqrt(idle)
    # r = m + k sqrt(m), solved for m; its slope d ln m / d ln r.
    root = (np.sqrt(np.maximum(k**2 + 4.0 * seen, 0.0)) - k) / 2.0
    is_constant = (w < 0.5)[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        air = np.where(is_constant, np.where(constant > 0.0, constant, np.nan), root**2)
        slope = np.where(is_constant, seen / air, seen / (root * (root + k / 2.0)))
        log_slope = np.log(slope).sum(axis=1)
        return TurnedBack(np.log(air), log_slope, np.zeros_like(air), added[:, 0] * 1e3)


def _contaminated(reading: Array, engine: AirEngine, _points: AirPoints) -> TurnedBack:
    u, v = _draws(2)
    over = _between(u, _OVER_AT_IDLE)
    under = _between(v, _UNDER_AT_FULL)
    octaves = np.log(FULL_FLOW / IDLE_FLOW)
    fall = (over + under) / octaves
    start = np.log(IDLE_FLOW * engine.displacement)
    # ln r = ln m + over - fall (ln m - start), solved for ln m.
    top = np.log(reading)[None, :] - over[:, None] - fall[:, None] * start
    log_air = top / (1.0 - fall[:, None])
    slope = -len(reading) * np.log1p(-fall)
    return TurnedBack(log_air, slope, np.zeros_like(log_air), np.exp(-under))


def _unmetered(reading: Array, engine: AirEngine, points: AirPoints) -> TurnedBack:
    (u,) = _draws(1)
    choked = _spread(u, _LEAK) * engine.displacement
    full = mass_flux(points.barometer, 0.0, points.temperature)
    share = mass_flux(points.barometer, points.pressure, points.temperature) / full
    missing = choked[:, None] * share[None, :]
    seen = np.broadcast_to(reading, missing.shape)
    log_air = np.log(seen + missing)
    return TurnedBack(
        log_air, (np.log(seen) - log_air).sum(axis=1), np.zeros_like(log_air), choked * 1e3
    )


def _ill_engine(reading: Array, engine: AirEngine, _points: AirPoints) -> TurnedBack:
    u, v = _draws(2)
    share = _between(u, _BREATHING)
    start, end = np.log(IDLE_FLOW * engine.displacement), np.log(FULL_FLOW * engine.displacement)
    place = np.clip((np.log(reading) - start) / (end - start), 0.0, 1.0)
    # Valve timing takes its share everywhere, a restriction mostly at high flow.
    growing = v[:, None] + (1.0 - v[:, None]) * place[None, :]
    log_air = np.broadcast_to(np.log(reading), growing.shape)
    return TurnedBack(log_air, np.zeros(N_DRAW), np.log(share)[:, None] * growing, share)


def _draws(dimensions: int) -> list[Array]:
    counted = np.arange(1, N_DRAW + 1, dtype=np.float64)
    return [np.asarray((0.5 + counted * step) % 1.0) for step in _STEPS[:dimensions]]


def _spread(u: Array, limits: tuple[float, float]) -> Array:
    """Even in the logarithm."""
    return np.asarray(np.exp(_between(u, (np.log(limits[0]), np.log(limits[1])))))


def _between(u: Array, limits: tuple[float, float]) -> Array:
    return limits[0] + (limits[1] - limits[0]) * u


_WAYS: Final[dict[str, Callable[[Array, AirEngine, AirPoints], TurnedBack]]] = {
    IN_ORDER: _nothing,
    LOW: _scaled(_LOW),
    HIGH: _scaled(_HIGH),
    OFFSET: _offset,
    CONTAMINATED: _contaminated,
    UNMETERED: _unmetered,
    ENGINE: _ill_engine,
    FUEL: _nothing,  # sensor and engine are sound; what the fuel says of the air is wrong
    OTHER: _nothing,
}
