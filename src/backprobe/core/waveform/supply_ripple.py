"""Alternating voltage on a direct one: ripple of the alternator, and drops at events."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal.windows import hann

from backprobe.core.waveform.crossings import Samples
from backprobe.core.waveform.sample_noise import noise_deviation, require_record
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# AC at the battery with loads on: below 50 mV good, 50 to 100 watch (free trade pages); a scope-
# training page draws the line at 90 mV. Between the two is a grey zone. RMS.
GOOD_RIPPLE: Final = 0.050
BAD_RIPPLE: Final = 0.100
# Three phases, both half waves: six humps to one period of a phase. Common practice.
_HUMPS: Final = 6
# Pairs of poles (6, some 8) times the ratio of the pulleys (1.8 to 3.5): humps to one engine turn.
HUMPS_PER_TURN: Final = (60.0, 170.0)
# A phase or a diode that is out raises the slow parts above this share of the hump's own.
_UNEVEN_SHARE: Final = 0.5
# A line in the spectrum is one if it has this many times the power of its surroundings.
_LINE_FACTOR: Final = 12.0
_MIN_SAMPLES: Final = 256
_DROP_WINDOW: Final = 1.0  # s, the level that a drop is told from
_LEAST_DROP: Final = 0.3
_NOISE_FACTOR: Final = 8.0
# A sine of height 1 has a median magnitude of 0.71: 2.5 of these deviations are 2.6 heights.
_MEDIAN_TO_DEVIATION: Final = 1.4826
_RIPPLE_FACTOR: Final = 2.5


class RippleVerdict(Enum):
    """How large the ripple is."""

    GOOD = "small"
    GREY = "between the limits that published sources give"
    HIGH = "large"
    NOT_A_SUPPLY = "no steady voltage to speak of: another kind of signal"
    TOO_SHORT = "too short to tell"


class RippleSource(Enum):
    """Where its main frequency fits."""

    ALTERNATOR = "fits the alternator at this engine speed"
    UNEVEN_ALTERNATOR = "fits the alternator, humps of unequal height: a diode or a phase"
    OTHER = "does not fit the alternator at this engine speed"
    NO_LINE = "no single frequency"
    UNKNOWN = "engine speed not given"


@dataclass(frozen=True)
class SupplyDrop:
    """A short fall of the supply.

    Parameters
    ----------
    start, duration : float
        s.
    depth : float
        Below the level around it, V.
    lowest : float
        V.
    """

    start: float
    duration: float
    depth: float
    lowest: float


@dataclass(frozen=True)
class RippleReading:
    """Ripple on a supply.

    Parameters
    ----------
    verdict : RippleVerdict
        Against the limits stated in this module.
    mean : float
        V.
    ripple : float
        RMS about a slow trend, drops left out, V.
    peak_to_peak : float
        Between the levels that half a per cent of the samples exceed on either side, V.
    noise : float
        Part of the RMS that changes from sample to sample, V.
    frequency : float
        Of the strongest line, Hz; NaN where there is none.
    source : RippleSource
        Whether it fits the alternator.
    humps_per_turn : float
        Frequency over engine turns per second; NaN without either.
    drops : tuple of SupplyDrop
        In order of time.
    """

    verdict: RippleVerdict
    mean: float
    ripple: float
    peak_to_peak: float
    noise: float
    frequency: float
    source: RippleSource
    humps_per_turn: float
    drops: tuple[SupplyDrop, ...]


def supply_ripple(
    samples: Samples,
    interval: float,
    start: float = 0.0,
    *,
    engine_rpm: float | None = None,
    least_drop: float = _LEAST_DROP,
) -> RippleReading:
    """Measure ripple and drops of a supply voltage.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        DC-coupled supply, V.
    interval, start : float
        Time from sample to sample and instant of the first, s.
    engine_rpm : float or None
        Engine speed, per minute, where known.
    least_drop : float
        Smallest drop that is listed, V.

    Returns
    -------
    RippleReading
        Size, frequency, where it fits, drops.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the engine speed isn't above zero.

    Notes
    -----
    The frequency is the top of a parabola through three lines of a Hann-windowed spectrum, on a
    logarithmic scale.
    """
    if engine_rpm is not None and not engine_rpm > 0.0:
        raise ValueOutOfRange(
            f"a speed of {engine_rpm} per minute makes no ripple.",
            where="ripple",
            remedy="Give the engine's speed, or leave it out.",
        )
    volts = require_record(samples, interval, "ripple")
    mean = float(volts.mean())
    nan = float("nan")
    if volts.size < _MIN_SAMPLES:
        return RippleReading(
            RippleVerdict.TOO_SHORT, mean, nan, nan, nan, nan, RippleSource.UNKNOWN, nan, ()
        )
    level = _slow_level(volts, interval)
    noise = noise_deviation(volts)
    off = volts - level
    usual = _MEDIAN_TO_DEVIATION * float(np.median(np.abs(off)))
    least = max(least_drop, _NOISE_FACTOR * noise, _RIPPLE_FACTOR * usual)
    drops = _drops(volts, off, least, interval, start)
    quiet = off[off > -least]
    quiet = quiet - quiet.mean()
    ripple = float(quiet.std())
    spread = float(np.subtract(*np.percentile(quiet, [99.5, 0.5])))
    spectrum = _spectrum(off)
    frequency = _line(spectrum, 1.0 / (volts.size * interval))
    source, humps = _source(spectrum, frequency, volts.size * interval, engine_rpm)
    verdict = _verdict(ripple, mean, float(np.ptp(level)))
    return RippleReading(verdict, mean, ripple, spread, noise, frequency, source, humps, drops)


def _verdict(ripple: float, mean: float, wander: float) -> RippleVerdict:
    # A battery falls by a quarter while cranking, hardly by more.
    if abs(mean) < 1.0 or ripple > 0.15 * abs(mean) or wander > 0.35 * abs(mean):
        return RippleVerdict.NOT_A_SUPPLY
    if ripple < GOOD_RIPPLE:
        return RippleVerdict.GOOD
    return RippleVerdict.HIGH if ripple > BAD_RIPPLE else RippleVerdict.GREY


def _slow_level(volts: Array, interval: float) -> Array:
    """Level around each sample: a running median, from a thinned record where it is long."""
    width = max(1, round(_DROP_WINDOW / interval))
    step = max(1, width // 100)
    n_block = volts.size // step
    thinned = volts[: n_block * step].reshape(n_block, step).mean(axis=1)
    size = min(max(3, width // step), n_block) | 1
    level = median_filter(thinned, size=size, mode="nearest")
    centres = (np.arange(n_block) + 0.5) * step - 0.5
    return np.asarray(np.interp(np.arange(volts.size), centres, level))


def _drops(
    volts: Array, off: Array, least: float, interval: float, start: float
) -> tuple[SupplyDrop, ...]:
    below = off < -least
    change = np.diff(below.astype(np.int8), prepend=0, append=0)
    runs: list[list[int]] = []
    near = max(2, round(0.01 / interval))  # ripple within a drop doesn't make several of it
    for first, stop in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True):
        if runs and first - runs[-1][1] <= near:
            runs[-1][1] = int(stop)
        else:
            runs.append([int(first), int(stop)])
    return tuple(
        SupplyDrop(
            start + first * interval,
            (stop - first) * interval,
            float(-off[first:stop].min()),
            float(volts[first:stop].min()),
        )
        for first, stop in runs
    )


def _spectrum(off: Array) -> Array:
    """Power of each line; drops are cut to the usual range so that they hide no line."""
    usual = 4.0 * _MEDIAN_TO_DEVIATION * float(np.median(np.abs(off)))
    kept = np.clip(off, -usual, usual) if usual > 0.0 else off
    window = hann(kept.size, sym=False)
    return np.asarray(np.abs(np.fft.rfft((kept - kept.mean()) * window)) ** 2)


def _line(spectrum: Array, step: float) -> float:
    inner = spectrum[3:-1]
    if inner.size < 8 or not inner.max() > 0.0:
        return float("nan")
    at = int(np.argmax(inner)) + 3
    around = spectrum[max(3, at // 2) : 2 * at + 16]
    # The mean of a noise line's power is its median over ln 2; the largest of thousands is ten.
    if spectrum[at] < _LINE_FACTOR * 2.0 * float(np.median(around)):
        return float("nan")
    before, here, after = np.log(np.maximum(spectrum[at - 1 : at + 2], 1e-300))
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float((at + shift) * step)


def _source(
    spectrum: Array, frequency: float, duration: float, engine_rpm: float | None
) -> tuple[RippleSource, float]:
    nan = float("nan")
    if np.isnan(frequency):
        return RippleSource.NO_LINE, nan
    if engine_rpm is None:
        return RippleSource.UNKNOWN, nan
    humps = frequency * 60.0 / engine_rpm
    if HUMPS_PER_TURN[0] <= humps <= HUMPS_PER_TURN[1]:
        # Lines at a sixth, two sixths ... of the hump's frequency belong to single diodes.
        slow = max(_power_near(spectrum, k * frequency / _HUMPS * duration) for k in (1, 2, 3))
        uneven = slow > _UNEVEN_SHARE**2 * _power_near(spectrum, frequency * duration)
        return (RippleSource.UNEVEN_ALTERNATOR if uneven else RippleSource.ALTERNATOR), humps
    for k in (1, 2, 3):
        # With a diode out, the strongest line is a slow one.
        if HUMPS_PER_TURN[0] <= humps * _HUMPS / k <= HUMPS_PER_TURN[1] and _has_family(
            spectrum, frequency / k * duration
        ):
            return RippleSource.UNEVEN_ALTERNATOR, humps * _HUMPS / k
    return RippleSource.OTHER, humps


def _power_near(spectrum: Array, place: float) -> float:
    first = max(3, round(place) - 2)
    return float(spectrum[first : first + 5].max(initial=0.0))


def _has_family(spectrum: Array, place: float) -> bool:
    """Tell whether the humps' own line, six times a phase's frequency, stands there too."""
    at = place * _HUMPS
    if at + 40 > spectrum.size:
        return False
    around = float(np.median(spectrum[round(at) - 30 : round(at) + 31]))
    return _power_near(spectrum, at) > _LINE_FACTOR * 2.0 * around
