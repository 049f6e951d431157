"""Voltage lost along a wire, from both of its ends and, where there is one, its current."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import require_record
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Samples this near to a change of level, in samples, are not settled.
_GUARD: Final = 3
# The two levels differ at least by this share of the range and fill both: otherwise one level.
_LEAST_STEP: Final = 0.2
_MIN_SETTLED: Final = 8
# Share of the swing within which a sample counts as being at its level.
_NEAR: Final = 0.15


class DropVerdict(Enum):
    """What could be told."""

    OHMS = "resistance told by the change of current"
    OHMS_ONE_LEVEL = "resistance from one level of current: an offset of the channels is in it"
    VOLTS_ONLY = "drop told, no current"
    CANT_TELL = "can't tell"


@dataclass(frozen=True)
class WireDrop:
    """Drop along a wire.

    Parameters
    ----------
    verdict : DropVerdict
        What could be told.
    at_high, at_high_uncertainty : float
        Upstream minus downstream while upstream is high, V, and the standard uncertainty of the
        mean from the scatter of the samples.
    at_low, at_low_uncertainty : float
        The same while it is low; NaN where there is only one level.
    resistance, resistance_uncertainty : float
        Ohm; NaN without current.
    """

    verdict: DropVerdict
    at_high: float
    at_high_uncertainty: float
    at_low: float
    at_low_uncertainty: float
    resistance: float
    resistance_uncertainty: float


def wire_drop(
    upstream: Samples, downstream: Samples, interval: float, current: Samples | None = None
) -> WireDrop:
    """Measure the voltage lost between two ends of a wire.

    Parameters
    ----------
    upstream, downstream : ndarray, shape (n_samp,)
        Both ends against one point, recorded together, V.
    interval : float
        Time from sample to sample, s.
    current : ndarray, shape (n_samp,), or None
        Current from upstream to downstream, A.

    Returns
    -------
    WireDrop
        Drop at each level and resistance. Samples near a change of level are left out.

    Raises
    ------
    ValueOutOfRange
        The channels differ in length or are no rows of numbers.

    Notes
    -----
    Ohm's law; with a changing current the slope of drop against current, by least squares, in which
    constant offsets of channels and clamp drop out.
    """
    up = require_record(upstream, interval, "upstream")
    down = require_record(downstream, interval, "downstream")
    amps = None if current is None else require_record(current, interval, "current")
    if up.size != down.size or (amps is not None and amps.size != up.size):
        raise ValueOutOfRange(
            "the channels differ in length.",
            where="wire drop",
            remedy="Take all of them from one record.",
        )
    drop = up - down
    high, low = _settled(up)
    if high.sum() < _MIN_SETTLED:
        nan = float("nan")
        return WireDrop(DropVerdict.CANT_TELL, nan, nan, nan, nan, nan, nan)
    ohms, ohms_u, verdict = _resistance(drop, amps, high, low)
    return WireDrop(verdict, *_mean(drop[high]), *_mean(drop[low]), ohms, ohms_u)


def _settled(up: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Samples at the high and at the low level, away from changes between them."""
    bottom, top = np.percentile(up, [2.0, 98.0])
    middle = 0.5 * (bottom + top)
    is_high = up >= middle
    levels = [float(np.median(up[is_high]))]
    if np.any(~is_high):
        levels.append(float(np.median(up[~is_high])))
    spread = float(np.std(up[is_high]))
    one_level = len(levels) < 2 or levels[0] - levels[1] < max(
        _LEAST_STEP * abs(levels[0]), 4.0 * spread
    )
    if one_level:
        return np.ones(up.size, dtype=np.bool_), np.zeros(up.size, dtype=np.bool_)
    near = _NEAR * (levels[0] - levels[1])
    away = np.ones(up.size, dtype=np.bool_)
    for change in np.flatnonzero(is_high[1:] != is_high[:-1]):
        away[max(0, change - _GUARD + 1) : change + 1 + _GUARD] = False
    high = is_high & away & (np.abs(up - levels[0]) < near)
    low = ~is_high & away & (np.abs(up - levels[1]) < near)
    return high, low


def _mean(values: Array) -> tuple[float, float]:
    if values.size < 2:
        return float("nan"), float("nan")
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))


def _resistance(
    drop: Array, amps: Array | None, high: NDArray[np.bool_], low: NDArray[np.bool_]
) -> tuple[float, float, DropVerdict]:
    nan = float("nan")
    if amps is None:
        return nan, nan, DropVerdict.VOLTS_ONLY
    used = high | low
    x, y = amps[used], drop[used]
    off = x - x.mean()
    squares = float(off @ off)
    scatter = float(np.median(np.abs(np.diff(x, n=2)))) * 1.4826 / float(np.sqrt(6.0))
    # Noise in the current flattens the slope: only a change well above it tells.
    if np.sqrt(squares / x.size) > 10.0 * scatter and np.ptp(x) > 0.1 * np.abs(x).max():
        slope = float(off @ y) / squares
        left = y - y.mean() - slope * off
        return slope, float(np.sqrt(left @ left / (x.size - 2) / squares)), DropVerdict.OHMS
    mean, doubt = _mean(drop[high])
    usual = float(np.mean(amps[high]))
    if abs(usual) < 10.0 * scatter or usual == 0.0:
        return nan, nan, DropVerdict.VOLTS_ONLY
    return mean / usual, abs(doubt / usual), DropVerdict.OHMS_ONE_LEVEL
