"""A zirconia oxygen sensor that switches between rich and lean: levels, pace, sluggishness."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import Samples, crossing_instants
from backprobe.core.waveform.sample_noise import require_record

Array: TypeAlias = NDArray[np.float64]

# Lambda 1 lies at about 0.45 V (common practice).
SWITCHING_POINT: Final = 0.45
_BAND: Final = 0.05
# Published on an oscilloscope-training page: forced rich above 0.80 V, forced lean below 0.15 to
# 0.20 V, lean to rich within 100 ms.
RICH_LEVEL: Final = 0.80
LEAN_LEVEL: Final = 0.20
SLOWEST: Final = 0.100
# A maker's monitor flags a signal that stays within 391 to 491 mV: the bias of a cold cell.
BIAS: Final = (0.391, 0.491)
# Common practice: more than this is foreign voltage for such a cell; below zero = wires exchanged.
FOREIGN: Final = 1.1
_NEGATIVE: Final = -0.05
# Steady and hot behind a catalyst (common practice).
_STEADY: Final = (0.5, 0.75)
# Swing below this is no switching.
_LEAST_SWING: Final = 0.2
_SHORTEST: Final = 5.0  # s, to call it stuck
_MIN_CROSSINGS: Final = 4
# No cell switches within a millisecond; a digital output does.
_TOO_FAST: Final = 1e-3
_THRESHOLDS: Final = (0.3, 0.6)


class OxygenVerdict(Enum):
    """What the cell does."""

    SWITCHING = "switches"
    LAZY = "switches slowly or not far enough"
    AT_BIAS = "stays at the bias voltage: cold, open, or heater not working"
    STUCK_RICH = "stays rich"
    STUCK_LEAN = "stays lean"
    STEADY = "steady between: as behind a catalyst"
    FOREIGN_VOLTAGE = "voltage that no such cell makes"
    REVERSED = "negative: signal and return exchanged, or lean with a lifted return"
    NOT_A_CELL = "switches too fast for a cell: a digital signal"
    TOO_SHORT = "too short to tell"


@dataclass(frozen=True)
class TransitionTimes:
    """Durations of transitions in one direction.

    Parameters
    ----------
    count : int
        Whole transitions.
    between_levels : float
        Median time from 300 to 600 mV or back, s; NaN without any.
    slowest : float
        Longest of them, s.
    ten_to_ninety : float
        Median time between 10 % and 90 % of the swing, s.
    """

    count: int
    between_levels: float
    slowest: float
    ten_to_ninety: float


@dataclass(frozen=True)
class OxygenReading:
    """What an oxygen sensor's signal shows.

    Parameters
    ----------
    verdict : OxygenVerdict
        In a word.
    rich_level, lean_level : float
        Levels that it is above and below for a twentieth of the time, V.
    crossings_per_second : float
        Crossings of 0.45 V in both directions.
    share_rich : float
        Share of time above 0.45 V.
    lean_to_rich, rich_to_lean : TransitionTimes
        How fast it switches.
    is_lazy_rich, is_lazy_lean, is_slow : bool
        Which limit made it lazy: 0.80 V not reached, 0.20 V not reached, over 100 ms.
    """

    verdict: OxygenVerdict
    rich_level: float
    lean_level: float
    crossings_per_second: float
    share_rich: float
    lean_to_rich: TransitionTimes
    rich_to_lean: TransitionTimes
    is_lazy_rich: bool = False
    is_lazy_lean: bool = False
    is_slow: bool = False


def oxygen_switching(samples: Samples, interval: float, start: float = 0.0) -> OxygenReading:
    """Judge the signal of a zirconia cell.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Signal against its return, V.
    interval, start : float
        Time from sample to sample and instant of the first, s.

    Returns
    -------
    OxygenReading
        Levels, pace, transition times and a verdict against the limits stated in this module.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the interval isn't above zero.
    """
    volts = require_record(samples, interval, "oxygen sensor")
    lean, rich = (float(level) for level in np.percentile(volts, [5.0, 95.0]))
    crossings = crossing_instants(
        volts, SWITCHING_POINT, hysteresis=_BAND, start=start, interval=interval
    )
    duration = volts.size * interval
    up = _transitions(volts, interval, start, (lean, rich), is_up=True)
    down = _transitions(volts, interval, start, (lean, rich), is_up=False)
    pace = len(crossings) / duration
    share = float(np.mean(volts > SWITCHING_POINT))
    verdict = _kind(volts, lean, rich, len(crossings), duration, (up, down))
    lazy = (False, False, False)
    if verdict is OxygenVerdict.SWITCHING:
        lazy = (
            rich < RICH_LEVEL,
            lean > LEAN_LEVEL,
            max(up.between_levels, down.between_levels) > SLOWEST,
        )
        verdict = OxygenVerdict.LAZY if any(lazy) else verdict
    return OxygenReading(verdict, rich, lean, pace, share, up, down, *lazy)


def _kind(
    volts: Array,
    lean: float,
    rich: float,
    n_crossing: int,
    duration: float,
    transitions: tuple[TransitionTimes, TransitionTimes],
) -> OxygenVerdict:
    if rich - lean > FOREIGN and _is_digital(transitions):
        return OxygenVerdict.NOT_A_CELL
    if rich > FOREIGN:
        return OxygenVerdict.FOREIGN_VOLTAGE
    if lean < _NEGATIVE:
        return OxygenVerdict.REVERSED
    if n_crossing >= _MIN_CROSSINGS and rich - lean >= _LEAST_SWING:
        return OxygenVerdict.NOT_A_CELL if _is_digital(transitions) else OxygenVerdict.SWITCHING
    if duration < _SHORTEST or (n_crossing and rich - lean >= _LEAST_SWING):
        return OxygenVerdict.TOO_SHORT
    return _stuck(lean, rich, float(np.median(volts)))


def _stuck(lean: float, rich: float, middle: float) -> OxygenVerdict:
    if lean >= BIAS[0] and rich <= BIAS[1]:
        return OxygenVerdict.AT_BIAS
    if lean >= _STEADY[0] - 0.05 and rich <= _STEADY[1] + 0.05:
        return OxygenVerdict.STEADY
    return OxygenVerdict.STUCK_RICH if middle > SWITCHING_POINT else OxygenVerdict.STUCK_LEAN


def _is_digital(transitions: tuple[TransitionTimes, TransitionTimes]) -> bool:
    times = [part.between_levels for part in transitions if part.count]
    return bool(times) and max(times) < _TOO_FAST


def _transitions(
    volts: Array, interval: float, start: float, levels: tuple[float, float], *, is_up: bool
) -> TransitionTimes:
    lean, rich = levels
    fixed = _between(volts, interval, start, _THRESHOLDS, is_up=is_up)
    swing = rich - lean
    tens = np.zeros(0)
    if swing >= _LEAST_SWING:
        limits = (lean + 0.1 * swing, lean + 0.9 * swing)
        tens = _between(volts, interval, start, limits, is_up=is_up)
    nan = float("nan")
    return TransitionTimes(
        fixed.size,
        float(np.median(fixed)) if fixed.size else nan,
        float(fixed.max()) if fixed.size else nan,
        float(np.median(tens)) if tens.size else nan,
    )


def _between(
    volts: Array, interval: float, start: float, limits: tuple[float, float], *, is_up: bool
) -> Array:
    """Times from the last crossing of one limit to the first of the other, s."""
    band = 0.02
    low = crossing_instants(volts, limits[0], hysteresis=band, start=start, interval=interval)
    high = crossing_instants(volts, limits[1], hysteresis=band, start=start, interval=interval)
    begin = (low if is_up else high).instants[(low if is_up else high).is_rising == is_up]
    end = (high if is_up else low).instants[(high if is_up else low).is_rising == is_up]
    if not begin.size or not end.size:
        return np.zeros(0)
    before = np.searchsorted(begin, end) - 1
    known = before >= 0
    # The same beginning serves only the first end after it.
    first = np.concatenate([[True], np.diff(before) > 0])
    use = known & first
    return np.asarray(end[use] - begin[before[use]])
