"""An engine that stands: whether its pressures agree, and its temperatures after a cold soak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from backprobe.core.engine.plausibility import (
    AGREEING_PRESSURE,
    AGREEING_TEMPERATURE,
    DOUBTFUL,
    USUAL,
    barometers_agree,
    odd_one_out,
    soaked_temperatures,
)
from backprobe.core.engine.standard_atmosphere import geopotential_height, standard_pressure
from backprobe.services.air_quick_checks import QuickCheck
from backprobe.services.telling import listed

_PRESSURE_END: Final[dict[str, str]] = {
    USUAL: "They agree.",
    DOUBTFUL: "That is more than usual, and less than would prove a fault.",
}


def pressures_check(pressures: Mapping[str, float], height: float | None = None) -> QuickCheck:
    """Compare the sensors that all feel the open air, key on and engine standing.

    Parameters
    ----------
    pressures : mapping of str to float
        What each sensor shows, kPa: "manifold", "barometer", "boost".
    height : float or None
        Above sea level, m.
    """
    values = 1e3 * np.array(list(pressures.values()))
    found = barometers_agree(values, height)
    said = listed([f"{name} {value:g} kPa" for name, value in pressures.items()])
    words = f"{said[0].upper()}{said[1:]}"
    if len(values) > 1:
        words += f", {np.ptp(values) / 1e3:.1f} kPa apart at most"
    if height is not None:
        there = float(standard_pressure(geopotential_height(height))) / 1e3
        words += f"; {height:g} m high the standard atmosphere has {there:.1f} kPa, give or take"
        words += " 3 for the weather"
    end = _PRESSURE_END.get(found.verdict, "They contradict each other.")
    names = list(pressures)
    odd = odd_one_out(values, AGREEING_PRESSURE)
    if odd is not None:
        end += f" The {names[odd]} sensor stands alone against the others."
    elif found.verdict != USUAL:
        end += " Measure sensor ground and supply of both first: an offset of one shifts its value."
    return QuickCheck("Pressures with the engine standing", found.verdict, f"{words}. {end}")


def soak_check(temperatures: Mapping[str, float], hours: float) -> QuickCheck:
    """Compare the temperatures of an engine that has stood until it was as cold as the air.

    Parameters
    ----------
    temperatures : mapping of str to float
        What each sensor shows, °C: "coolant", "intake air", "outside".
    hours : float
        For how long it has stood.
    """
    values = np.array(list(temperatures.values()))
    found = soaked_temperatures(values, hours)
    said = listed([f"{name} {value:g} °C" for name, value in temperatures.items()])
    words = (
        f"{said[0].upper()}{said[1:]} after {hours:g} hours, {found.value:.0f} °C apart; up to"
        f" {AGREEING_TEMPERATURE:g} °C is usual (common practice, no source)."
    )
    names = list(temperatures)
    odd = odd_one_out(values, AGREEING_TEMPERATURE)
    if found.verdict == USUAL:
        end = "They agree."
    elif odd is not None:
        end = f"The {names[odd]} sensor stands alone against the others."
    else:
        end = "Which one is wrong can't be told from these; a thermometer beside them would."
    if found.verdict == DOUBTFUL:
        end += " On-board limits are looser, 17 to 49 °C; sun or a block heater does as much."
    return QuickCheck("Cold soak", found.verdict, f"{words} {end}")
