"""Compression of the cylinders against each other, from the starter's current or the battery.

While the starter turns an engine that does not fire, each compression slows it and takes more
current, and the battery's voltage dips. The heights of these waves compare the cylinders; they say
nothing of pressure itself. Common practice, no source.
"""

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import noise_deviation, require_record, thinned
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Brushes and noise below this are smoothed away, s; a compression lasts 50 ms or more.
SMOOTHING: Final = 6e-3
# Cranking speeds that are believed, per minute.
SPEED_LIMITS: Final = (60.0, 500.0)
# A cylinder is weak below this share of the others (common practice: a fifth less is suspect), and
# only if the difference is beyond this many standard uncertainties.
WEAK_SHARE: Final = 0.80
_SURE: Final = 3.0
_MIN_CYCLES: Final = 2
_INRUSH: Final = 0.4  # s, after which the starter's first surge is over
_SURGE_FACTOR: Final = 1.3
_PROMINENCE: Final = 0.25
_FLAT_SHARE: Final = 0.65
_STANDS_OUT: Final = 5.0
_SYNC_SCATTER: Final = 0.2  # waves
_ON_TOP: Final = 0.1  # waves


class CompressionVerdict(Enum):
    """What the waves say."""

    EVEN = "no cylinder stands out"
    WEAK = "weaker than the others"
    CANT_TELL = "can't tell"
    NOT_CRANKING = "no waves of compression"


@dataclass(frozen=True)
class CylinderHeight:
    """One cylinder's wave.

    Parameters
    ----------
    order : int
        Place in the firing order: 1 = the first compression after the sync edge, or without one
        the first in the record.
    relative : float
        Mean height over that of the other cylinders.
    uncertainty : float
        Standard uncertainty of it, from the scatter between cycles.
    is_weak : bool
        Below the limit, and surely so.
    """

    order: int
    relative: float
    uncertainty: float
    is_weak: bool


@dataclass(frozen=True)
class CompressionReading:
    """Cylinders compared.

    Parameters
    ----------
    verdict : CompressionVerdict
        Whether one is weak.
    cylinders : tuple of CylinderHeight
        In the order in which they come.
    has_sync : bool
        Whether the order is counted from sync edges that agree with each other.
    n_cycle : int
        Whole cycles that were used.
    speed_rpm : float
        Mean cranking speed, per minute; NaN without waves.
    speed_variation : float
        Standard deviation of the speed from wave to wave, share of the mean.
    """

    verdict: CompressionVerdict
    cylinders: tuple[CylinderHeight, ...] = ()
    has_sync: bool = False
    n_cycle: int = 0
    speed_rpm: float = float("nan")
    speed_variation: float = float("nan")


def relative_compression(
    samples: Samples,
    interval: float,
    n_cylinder: int,
    start: float = 0.0,
    *,
    is_voltage: bool = False,
    sync: Array | None = None,
) -> CompressionReading:
    """Compare the cylinders of a four-stroke engine while the starter turns it.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Starter current, A, or battery voltage, V.
    interval, start : float
        Time from sample to sample and instant of the first, s.
    n_cylinder : int
        Cylinders, 2 to 12, of even firing distance.
    is_voltage : bool
        Whether the samples dip with load.
    sync : ndarray, shape (n_sync,), or None
        Instants of edges that come once in two crank turns, s.

    Returns
    -------
    CompressionReading
        Relative heights; can't tell below two cycles.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the number of cylinders is impossible.
    """
    if not 2 <= n_cylinder <= 12:
        raise ValueOutOfRange(
            f"{n_cylinder} cylinders can't be compared.", remedy="Give 2 to 12 cylinders."
        )
    values = require_record(samples, interval, "compression")
    record = thinned(-values if is_voltage else values, interval, start, SMOOTHING / 6.0)
    load, interval, start = record.samples, record.interval, record.start
    first, stop = _cranking(load, interval)
    load = load[first:stop]
    if load.size * interval < 0.3:
        return CompressionReading(CompressionVerdict.CANT_TELL)
    smooth = np.asarray(gaussian_filter1d(load, SMOOTHING / interval, mode="nearest"))
    tops = _tops(smooth, load, interval, record.fast)
    if tops is None:
        return CompressionReading(CompressionVerdict.NOT_CRANKING)
    slots = _slots(tops)
    speed = 120.0 / n_cylinder / (np.diff(slots) * interval)
    mean_speed = float(np.median(speed))
    if not SPEED_LIMITS[0] <= mean_speed <= SPEED_LIMITS[1]:
        return CompressionReading(CompressionVerdict.NOT_CRANKING)
    heights = _heights(smooth, slots)
    centres = start + (first + slots[1:-1]) * interval
    n_cycle = heights.size // n_cylinder
    spread = float(speed.std() / speed.mean())
    if n_cycle < _MIN_CYCLES:
        return CompressionReading(
            CompressionVerdict.CANT_TELL, (), False, n_cycle, mean_speed, spread
        )
    offset, has_sync = _order_offset(centres, sync, n_cylinder)
    cylinders = _compared(heights, n_cylinder, offset)
    weak = any(cylinder.is_weak for cylinder in cylinders)
    verdict = CompressionVerdict.WEAK if weak else CompressionVerdict.EVEN
    return CompressionReading(verdict, cylinders, has_sync, n_cycle, mean_speed, spread)


def _cranking(load: Array, interval: float) -> tuple[int, int]:
    """Samples between the starter's first surge and its release."""
    # A quarter of the way from rest to work: rest is there only where the record holds some.
    low, high = np.percentile(load, [2.0, 75.0])
    smooth = gaussian_filter1d(load, 0.1 / interval, mode="nearest")
    working = np.flatnonzero(smooth > low + 0.25 * (high - low))
    if not working.size:
        return 0, load.size
    first, stop = int(working[0]), int(working[-1]) + 1
    surge = round(_INRUSH / interval)
    begins = load[first : first + surge]
    later = load[first + surge : stop]
    if later.size and begins.size:
        usual = float(np.percentile(later, 95.0)) - float(low)
        if float(begins.max()) - float(low) > _SURGE_FACTOR * usual:
            return first + surge, stop
    return first, stop


def _tops(smooth: Array, load: Array, interval: float, fast: float) -> Array | None:
    """Places of the waves' tops in samples, with fractions; None where there are no waves."""
    trend = gaussian_filter1d(smooth, 0.25 / interval, mode="nearest")
    waves = smooth - trend
    low, high = np.percentile(waves, [5.0, 95.0])
    # Smoothing over n samples leaves noise of 1 / sqrt(2 sqrt(pi) sigma) of its deviation.
    left = noise_deviation(load) / float(
        np.sqrt(2.0 * np.sqrt(np.pi) * max(SMOOTHING / interval, 1))
    )
    edge = 0.1 * (high - low)
    flat = float(np.mean((waves < low + edge) | (waves > high - edge)))
    restless = float(np.hypot(fast, np.std(load - smooth))) > high - low
    if high - low < _STANDS_OUT * left or high == low or flat > _FLAT_SHARE or restless:
        return None
    places, _ = find_peaks(smooth, prominence=_PROMINENCE * (high - low))
    if places.size < 4:
        return None
    apart = np.diff(places)
    usual = _usual_distance(apart)
    # Waves come evenly; one that is missing makes a double distance.
    even = np.abs(apart / usual - np.maximum(np.round(apart / usual), 1.0)) < 0.3
    if np.mean(even) < 0.8:
        return None
    before, at, after = smooth[places - 1], smooth[places], smooth[places + 1]
    bend = before - 2.0 * at + after
    shift = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return np.asarray(places + shift)


def _usual_distance(apart: Array) -> float:
    """Distance of neighbouring waves, though with few cylinders every other one may be missing."""
    short = float(np.percentile(apart, 25.0))
    return float(np.median(apart[apart < 1.5 * short]))


def _slots(tops: Array) -> Array:
    """Places of all compressions, those too weak for a top of their own put between."""
    usual = _usual_distance(np.diff(tops))
    parts = [tops[:1]]
    for here, there in pairwise(tops):
        n_between = max(1, round(float(there - here) / usual))
        parts.append(np.linspace(here, there, n_between + 1)[1:])
    return np.concatenate(parts)


def _heights(smooth: Array, slots: Array) -> Array:
    """Height of each wave but the first and the last above the lows on both of its sides."""
    found = []
    for before, here, after in zip(slots[:-2], slots[1:-1], slots[2:], strict=True):
        left, right = round(float(0.5 * (before + here))), round(float(0.5 * (here + after)))
        low_left = smooth[round(float(before)) : round(float(here)) + 1].min()
        low_right = smooth[round(float(here)) : round(float(after)) + 1].min()
        found.append(float(smooth[left : right + 1].max() - 0.5 * (low_left + low_right)))
    return np.array(found)


def _order_offset(centres: Array, sync: Array | None, n_cylinder: int) -> tuple[int, bool]:
    """Place in the order of the first wave, 0 = first after the sync edge."""
    if sync is None:
        return 0, False
    inside = sync[(sync > centres[0]) & (sync < centres[-1])]
    if not inside.size:
        return 0, False
    waves = np.interp(inside, centres, np.arange(centres.size))
    turned = np.exp(2j * np.pi * waves / n_cylinder).mean()
    # Edges that scatter by a fifth of a wave keep more than this of their length.
    if abs(turned) < float(np.exp(-0.5 * (2.0 * np.pi * _SYNC_SCATTER / n_cylinder) ** 2)):
        return 0, False
    place = float(np.angle(turned)) * n_cylinder / (2.0 * np.pi)
    # An edge on a wave's top belongs to this wave, however the top is placed.
    return -int(np.ceil(place - _ON_TOP)) % n_cylinder, True


def _compared(heights: Array, n_cylinder: int, offset: int) -> tuple[CylinderHeight, ...]:
    rows = [heights[k::n_cylinder] for k in range(n_cylinder)]
    mean = np.array([row.mean() for row in rows])
    # Few cycles: the scatter of all cylinders together tells more than that of one.
    squares = sum(float(((row - row.mean()) ** 2).sum()) for row in rows)
    spread = float(np.sqrt(squares / (heights.size - n_cylinder)))
    doubt = np.array([spread / np.sqrt(row.size) for row in rows])
    found = []
    for number in range(n_cylinder):
        others = np.delete(mean, number)
        usual = float(others.mean())
        others_doubt = float(np.sqrt((np.delete(doubt, number) ** 2).sum())) / others.size
        relative = float(mean[number]) / usual
        u = float(np.hypot(doubt[number], relative * others_doubt)) / usual
        weak = relative < WEAK_SHARE and 1.0 - relative > _SURE * u
        order = (number + offset) % n_cylinder + 1
        found.append(CylinderHeight(order, relative, u, weak))
    return tuple(sorted(found, key=lambda cylinder: cylinder.order))
