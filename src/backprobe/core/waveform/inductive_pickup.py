"""An inductive pick-up: amplitude against speed, offset, and which way round it is wired.

The voltage is the rate of change of the flux, so its mean is zero, its amplitude grows with speed,
and it goes through zero where the flux is largest: at the middle of each tooth. That crossing is
steep and evenly spaced. The crossing between teeth is spaced as evenly but for a gap: there the
flux rests, and the crossing comes anywhere in it. So the slope whose one long time stands alone
among even ones belongs to the teeth; the other has two long times side by side.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from backprobe.core.waveform.crossings import Samples, crossing_instants
from backprobe.core.waveform.sample_noise import noise_deviation, require_record

Array: TypeAlias = NDArray[np.float64]

_MIN_CROSSINGS: Final = 12
# Peaks below this many standard deviations of the noise are none.
_NOISE_FACTOR: Final = 6.0
# Half-width of the band about zero, share of the usual peak.
_BAND_SHARE: Final = 0.15
# A sine spends 0.41 of its time within a tenth of its range of the extremes, pulses less; a
# digital signal nearly all.
_FLAT_SHARE: Final = 0.65
# A gap is longer than this, in pitches.
_GAP: Final = 1.4
# Times beside a gap are one pitch within this, for the slope at the teeth (cranking speed changes
# from tooth to tooth), ...
_EVEN: Final = 0.3
# ... and depart clearly more from it for the other one.
_UNEVEN: Final = 0.15
_UNEVEN_FACTOR: Final = 1.5
_GROUP: Final = 8  # teeth to one value of amplitude
_SPEED_RATIO: Final = 1.3
_EXPONENT_TOLERANCE: Final = 0.15
# One half wave this much smaller than the other: a grounded side, a diode, a clamp.
_ONE_SIDED: Final = 0.4


class PickupVerdict(Enum):
    """What kind of signal it is."""

    PICKUP = "inductive pick-up"
    ON_A_LEVEL = "alternating voltage on a larger steady one: a biased pick-up, or ripple"
    ONE_SIDED = "inductive pick-up, one half wave is nearly gone"
    NO_SIGNAL = "no signal above the noise"
    NOT_A_PICKUP = "flat levels: a digital signal"
    TOO_SHORT = "too short to tell"


class ToothSlope(Enum):
    """How the signal goes through zero at the middle of a tooth."""

    FALLING = "falling"
    RISING = "rising"
    CANT_TELL = "can't tell"


class Polarity(Enum):
    """Whether the wires are the right way round."""

    RIGHT = "right"
    REVERSED = "reversed"
    CANT_TELL = "can't tell"


class AmplitudeLaw(Enum):
    """How amplitude follows speed."""

    PROPORTIONAL = "proportional to speed"
    NOT_PROPORTIONAL = "not proportional to speed"
    CANT_TELL = "can't tell: the speed hardly changes"


@dataclass(frozen=True, eq=False)
class PickupReading:
    """What the signal of an inductive pick-up shows.

    Parameters
    ----------
    verdict : PickupVerdict
        The kind.
    tooth_slope : ToothSlope
        Slope at the middle of a tooth; needs gaps.
    polarity : Polarity
        Against the slope that was asked for.
    n_gap : int
        Gaps that the slope was told from.
    offset : float
        Mean, V: zero for a coil, unless something pulls its wires.
    positive_peak, negative_peak : float
        Usual peaks of the half waves against zero volts, V.
    instants : ndarray, shape (n,)
        Middle of each group of teeth, s.
    amplitude : ndarray, shape (n,)
        Peak to peak, median of the group, V.
    tooth_frequency : ndarray, shape (n,)
        Teeth per second, Hz.
    law : AmplitudeLaw
        How amplitude follows speed.
    exponent, exponent_uncertainty : float
        Power of the speed that the amplitude follows, 1 = proportional; NaN where not told.
    """

    verdict: PickupVerdict
    tooth_slope: ToothSlope
    polarity: Polarity
    n_gap: int
    offset: float
    positive_peak: float
    negative_peak: float
    instants: Array
    amplitude: Array
    tooth_frequency: Array
    law: AmplitudeLaw
    exponent: float
    exponent_uncertainty: float


def inductive_pickup(
    samples: Samples,
    interval: float,
    start: float = 0.0,
    *,
    wanted_slope: ToothSlope = ToothSlope.CANT_TELL,
) -> PickupReading:
    """Judge the signal of an inductive pick-up.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Voltage between its two wires, or of one against ground, V.
    interval, start : float
        Time from sample to sample and instant of the first, s.
    wanted_slope : ToothSlope
        Slope at the teeth that the control unit needs, where known.

    Returns
    -------
    PickupReading
        Slope at the teeth, amplitude against speed, offset.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers, or the interval isn't above zero.

    Notes
    -----
    Faraday's law of induction.
    """
    volts = require_record(samples, interval, "pick-up")
    offset = float(volts.mean())
    peak = _usual_peak(volts - offset)
    kind = _kind(volts, offset, peak)
    if kind is not PickupVerdict.PICKUP:
        return _nothing(kind, offset)
    crossings = crossing_instants(
        volts, offset, hysteresis=_BAND_SHARE * peak, start=start, interval=interval
    )
    falling = crossings.instants[~crossings.is_rising]
    rising = crossings.instants[crossings.is_rising]
    if min(falling.size, rising.size) < _MIN_CROSSINGS:
        return _nothing(PickupVerdict.TOO_SHORT, offset)
    slope, n_gap = _tooth_slope(falling, rising)
    teeth = rising if slope is ToothSlope.RISING else falling
    when, amplitude, frequency = _amplitudes(volts, teeth, interval, start)
    law, exponent, doubt = _law(amplitude, frequency)
    high, low = _usual_peak(np.maximum(volts, 0.0)), -_usual_peak(np.maximum(-volts, 0.0))
    return PickupReading(
        _shape(offset, peak, high, low),
        slope,
        _polarity(slope, wanted_slope),
        n_gap,
        offset,
        high,
        low,
        when,
        amplitude,
        frequency,
        law,
        exponent,
        doubt,
    )


def _shape(offset: float, peak: float, high: float, low: float) -> PickupVerdict:
    if abs(offset) > peak:
        return PickupVerdict.ON_A_LEVEL
    one_sided = min(high, -low) < _ONE_SIDED * max(high, -low)
    return PickupVerdict.ONE_SIDED if one_sided else PickupVerdict.PICKUP


def _nothing(verdict: PickupVerdict, offset: float) -> PickupReading:
    nan, none = float("nan"), np.zeros(0)
    return PickupReading(
        verdict,
        ToothSlope.CANT_TELL,
        Polarity.CANT_TELL,
        0,
        offset,
        nan,
        nan,
        none,
        none,
        none,
        AmplitudeLaw.CANT_TELL,
        nan,
        nan,
    )


def _usual_peak(volts: Array) -> float:
    """Median over 40 stretches of the record of the largest magnitude in each."""
    stretches = np.array_split(np.abs(volts), min(40, volts.size))
    return float(np.median([stretch.max() for stretch in stretches]))


def _kind(volts: Array, offset: float, peak: float) -> PickupVerdict:
    # A fast signal, sampled coarsely, is all differences: what counts as noise then is at most a
    # third of the peak.
    noise = min(noise_deviation(volts), peak / 3.0)
    smooth = float(np.std(volts - offset))
    if volts.size < 4 * _MIN_CROSSINGS:
        return PickupVerdict.TOO_SHORT
    if peak == 0.0 or (peak < _NOISE_FACTOR * noise and smooth < 1.3 * noise):
        return PickupVerdict.NO_SIGNAL
    low, high = np.percentile(volts, [2.0, 98.0])
    edge = 0.1 * (high - low)
    flat = float(np.mean((volts < low + edge) | (volts > high - edge)))
    return PickupVerdict.NOT_A_PICKUP if flat > _FLAT_SHARE else PickupVerdict.PICKUP


def _tooth_slope(falling: Array, rising: Array) -> tuple[ToothSlope, int]:
    beside_falling, n_falling = _beside_gaps(falling)
    beside_rising, n_rising = _beside_gaps(rising)
    if min(n_falling, n_rising) < 1:
        return ToothSlope.CANT_TELL, 0
    if beside_falling < _EVEN and beside_rising > _UNEVEN + _UNEVEN_FACTOR * beside_falling:
        return ToothSlope.FALLING, n_falling
    if beside_rising < _EVEN and beside_falling > _UNEVEN + _UNEVEN_FACTOR * beside_rising:
        return ToothSlope.RISING, n_rising
    return ToothSlope.CANT_TELL, max(n_falling, n_rising)


def _beside_gaps(instants: Array) -> tuple[float, int]:
    """Usual departure from one pitch of the times beside the long ones, and how many are long."""
    times = np.diff(instants)
    pitches = times / median_filter(times, size=7, mode="mirror")
    middle = pitches[1:-1]
    gaps = 1 + np.flatnonzero((middle > _GAP) & (middle >= pitches[:-2]) & (middle > pitches[2:]))
    if not gaps.size:
        return float("nan"), 0
    beside = np.maximum(np.abs(pitches[gaps - 1] - 1.0), np.abs(pitches[gaps + 1] - 1.0))
    return float(np.median(beside)), int(gaps.size)


def _polarity(slope: ToothSlope, wanted: ToothSlope) -> Polarity:
    if ToothSlope.CANT_TELL in (slope, wanted):
        return Polarity.CANT_TELL
    return Polarity.RIGHT if slope is wanted else Polarity.REVERSED


def _amplitudes(
    volts: Array, teeth: Array, interval: float, start: float
) -> tuple[Array, Array, Array]:
    places = np.clip(np.round((teeth - start) / interval).astype(np.int64), 0, volts.size - 1)
    high = np.maximum.reduceat(volts, places)[:-1]
    low = np.minimum.reduceat(volts, places)[:-1]
    n_group = high.size // _GROUP
    used = n_group * _GROUP
    swing = (high - low)[:used].reshape(n_group, _GROUP)  # (n_group, _GROUP), V
    times = np.diff(teeth)[:used].reshape(n_group, _GROUP)
    when = teeth[:used].reshape(n_group, _GROUP).mean(axis=1)
    return when, np.median(swing, axis=1), 1.0 / np.median(times, axis=1)


def _law(amplitude: Array, frequency: Array) -> tuple[AmplitudeLaw, float, float]:
    nan = float("nan")
    if amplitude.size < 4 or frequency.max() < _SPEED_RATIO * frequency.min():
        return AmplitudeLaw.CANT_TELL, nan, nan
    x, y = np.log(frequency), np.log(amplitude)
    off = x - x.mean()
    exponent = float(off @ y / (off @ off))
    left = y - y.mean() - exponent * off
    doubt = float(np.sqrt(left @ left / (y.size - 2) / (off @ off)))
    near = abs(exponent - 1.0) <= max(_EXPONENT_TOLERANCE, 3.0 * doubt)
    return (AmplitudeLaw.PROPORTIONAL if near else AmplitudeLaw.NOT_PROPORTIONAL), exponent, doubt
