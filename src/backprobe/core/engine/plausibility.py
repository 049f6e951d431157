"""Quick checks that need one reading and a rule: idle, full load, snap, barometer, cold soak.

Each gives how far a value lies from what it should be, with the band that is usual. Bands that are
common practice have a grey zone: between usual and wrong nothing is claimed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from backprobe.core.engine.array_checks import Array
from backprobe.core.engine.calculated_air import calculate_air
from backprobe.core.engine.operating_point import AirEngine, air_points
from backprobe.core.engine.standard_atmosphere import geopotential_height, standard_pressure
from backprobe.errors import ValueOutOfRange

USUAL, DOUBTFUL, WRONG = "usual", "doubtful", "wrong"

# g/s a litre of displacement, warm, no load (common practice, no source; a trade column has litres
# in g/s within a fifth).
IDLE_BAND: Final = (1.0, 2.0)
_IDLE_LIMITS: Final = (0.6, 3.0)
# kPa by which sensors that all feel the open air may differ (common practice, no source) and by
# which they certainly differ: twice that.
AGREEING_PRESSURE: Final = 3_000.0  # Pa
# Weather moves the pressure about the standard one (common knowledge, no source): two standard
# deviations, Pa; and what a manifold sensor adds.
WEATHER: Final = 3_500.0
# K after a cold soak: common practice, no source; limits of on-board monitors are 17 to 49 K
# (published thresholds of several makers, as quoted).
AGREEING_TEMPERATURE, ON_BOARD_TEMPERATURE = 3.0, 17.0
SOAK_HOURS: Final = 6.0


@dataclass(frozen=True, slots=True)
class Plausibility:
    """How a value stands to what it should be.

    Parameters
    ----------
    verdict : str
        "usual", "doubtful" (the grey zone) or "wrong".
    value : float
        What was judged, in SI.
    low, high : float
        Usual band, in SI.
    """

    verdict: str
    value: float
    low: float
    high: float


def idle_air(flow: float, displacement: float) -> Plausibility:
    """Judge the air at warm idle without load by the engine's size.

    Parameters
    ----------
    flow : float
        kg/s.
    displacement : float
        m³.

    Returns
    -------
    Plausibility
        Of kg/s a cubic metre, which is g/s a litre.

    Raises
    ------
    Nothing
        Any number can be judged.

    Notes
    -----
    A band, not a limit (common practice, no source).
    """
    a_litre = flow / displacement
    return Plausibility(_verdict(a_litre, IDLE_BAND, _IDLE_LIMITS), a_litre, *IDLE_BAND)


def full_load_air(
    flow: float, engine: AirEngine, speed_rpm: float, temperature: float, barometer: float
) -> Plausibility:
    """Judge the air at full load, when the manifold is at the barometer.

    Parameters
    ----------
    flow : float
        kg/s.
    engine : AirEngine
        Not charged.
    speed_rpm, temperature, barometer : float
        1/min, K, Pa.

    Returns
    -------
    Plausibility
        Of the flow, kg/s; usual within 90 % of what engines of this size take.

    Raises
    ------
    ValueOutOfRange
        The engine is charged: its full load depends on the boost.

    Notes
    -----
    Speed-density at 0.97 of the barometer, the loss of a clean filter and an open throttle (common
    practice, no source). Wrong where it lies beyond three standard deviations.
    """
    if engine.is_forced:
        raise ValueOutOfRange(
            "A charged engine's air at full load depends on its boost.",
            where="full-load check",
            remedy="Give manifold pressures with the flows and have them compared.",
        )
    points = air_points(speed_rpm, 0.97 * barometer, temperature, barometer)
    calculated = calculate_air(engine, points)
    low, high = (float(each[0]) for each in calculated.interval())
    apart = abs(np.log(max(flow, 1e-9)) - calculated.log_median[0])
    far = apart > 3.0 * float(calculated.relative_uncertainty[0])
    verdict = WRONG if far else USUAL if low <= flow <= high else DOUBTFUL
    return Plausibility(verdict, flow, low, high)


def snap_air(flow: float, engine: AirEngine, speed_rpm: float, temperature: float) -> Plausibility:
    """Judge the peak of the air when the throttle is snapped open.

    Parameters
    ----------
    flow : float
        Highest that was seen, kg/s.
    engine : AirEngine
        Not charged.
    speed_rpm : float
        Highest speed that was reached, 1/min.
    temperature : float
        K.

    Returns
    -------
    Plausibility
        Of the flow, kg/s. Only too little counts: filling the manifold adds for a moment, and a log
        of few answers a second misses the very peak.

    Raises
    ------
    ValueOutOfRange
        The engine is charged.

    Notes
    -----
    The peak comes while the throttle is open and the engine still gains speed; at half the speed
    that it reaches it takes half of the full-load air (derived). Half of that is wrong.
    """
    full = full_load_air(flow, engine, speed_rpm, temperature, 101_325.0)
    low = 0.5 * full.low
    verdict = USUAL if flow >= low else DOUBTFUL if flow >= 0.5 * low else WRONG
    return Plausibility(verdict, flow, low, 1.5 * full.high)


def barometers_agree(pressures: Array, height: float | None = None) -> Plausibility:
    """Judge sensors that all feel the open air: key on, engine not turning.

    Parameters
    ----------
    pressures : ndarray, shape (n_sensor,)
        Manifold, barometer, boost, Pa.
    height : float or None
        Height above sea level, m, where it is known: the standard atmosphere is one more witness,
        as far as the weather lets it be.

    Returns
    -------
    Plausibility
        Of the greatest difference, Pa, between sensors or from the height's pressure, whichever
        is worse for them.

    Raises
    ------
    ValueOutOfRange
        Fewer than two to compare.

    Notes
    -----
    Within 2 to 3 kPa of each other (common practice, no source); twice that is wrong.
    """
    if len(pressures) + (height is not None) < 2:
        raise ValueOutOfRange(
            "One pressure has nothing to agree with.",
            where="barometer check",
            remedy="Give a second sensor's pressure or the height above sea level.",
        )
    apart = float(np.ptp(pressures))
    agree = _verdict(apart, (0.0, AGREEING_PRESSURE), (0.0, 2.0 * AGREEING_PRESSURE))
    found = Plausibility(agree, apart, 0.0, AGREEING_PRESSURE)
    if height is None or agree == WRONG:
        return found
    there = float(standard_pressure(geopotential_height(height)))
    off = float(np.abs(pressures - there).max())
    most = AGREEING_PRESSURE + WEATHER
    outside = Plausibility(_verdict(off, (0.0, most), (0.0, 1.5 * most)), off, 0.0, most)
    rank = (USUAL, DOUBTFUL, WRONG)
    return max(found, outside, key=lambda each: rank.index(each.verdict))


def soaked_temperatures(temperatures: Array, hours: float) -> Plausibility:
    """Judge thermistors that have all had time to take the temperature of the air around them.

    Parameters
    ----------
    temperatures : ndarray, shape (n_sensor,)
        Coolant, intake air, outside, oil, K or °C alike.
    hours : float
        Time that the engine has stood.

    Returns
    -------
    Plausibility
        Of the greatest difference between two, K. Beyond 3 K is doubtful, beyond 17 K wrong: the
        first limit is common practice without a source, the second the tightest of published
        on-board limits.

    Raises
    ------
    ValueOutOfRange
        Fewer than two, or not soaked.

    Notes
    -----
    Sun, a block heater or a heated garage make sound sensors differ.
    """
    if len(temperatures) < 2:
        raise ValueOutOfRange(
            "One temperature has nothing to agree with.",
            where="cold soak",
            remedy="Read coolant, intake air and outside temperature.",
        )
    if hours < SOAK_HOURS:
        raise ValueOutOfRange(
            f"After {hours:g} hours an engine is not yet as cold as the air.",
            where="cold soak",
            remedy=f"Let it stand for {SOAK_HOURS:g} to 8 hours, out of the sun.",
        )
    apart = float(np.ptp(temperatures))
    limits = (0.0, ON_BOARD_TEMPERATURE)
    verdict = _verdict(apart, (0.0, AGREEING_TEMPERATURE), limits)
    return Plausibility(verdict, apart, 0.0, AGREEING_TEMPERATURE)


def odd_one_out(values: Array, agreeing: float) -> int | None:
    """Find the one that differs where all others agree.

    Parameters
    ----------
    values : ndarray, shape (n_sensor,)
        What sensors of one quantity show.
    agreeing : float
        How far two may differ.

    Returns
    -------
    int or None
        Its place; None where there are fewer than three, or it isn't one alone.

    Raises
    ------
    Nothing
        Any numbers can be compared.

    Notes
    -----
    Of two that differ neither is the odd one.
    """
    if len(values) < 3 or float(np.ptp(values)) <= agreeing:
        return None
    odd = [
        place
        for place in range(len(values))
        if all(
            abs(a - b) <= agreeing for a, b in combinations(np.delete(values, place).tolist(), 2)
        )
    ]
    return odd[0] if len(odd) == 1 else None


def _verdict(value: float, usual: tuple[float, float], limits: tuple[float, float]) -> str:
    if usual[0] <= value <= usual[1]:
        return USUAL
    return DOUBTFUL if limits[0] <= value <= limits[1] else WRONG
