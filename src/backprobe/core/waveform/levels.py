"""State levels of a waveform by the histogram method, and whether it has states at all.

The occupied range is split in half; the mode (or the mean) of each half is a state level. The
mode is interpolated: it is the mean of the samples of its peak, found by narrowing a window about
the fullest bin to a few standard deviations of what lies in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import require_row
from backprobe.core.waveform.histogram import HistogramCounter, SampleHistogram, usual_bins
from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]
Samples = NDArray[np.floating]
Method = Literal["mode", "mean"]

NEAR_SHARE = 0.1  # of the amplitude: samples this near to a level count as being in its state
LEAST_IN_STATE = 0.6  # share of a half's samples that must be in its state for it to be one
_REACH = 3.5  # standard deviations that the window about a peak reaches to either side
_MOST_EQUAL = 0.85  # share of equal samples from which a state counts as noiseless
_ROUNDS = 12  # of narrowing; it has settled long before


@dataclass(frozen=True, slots=True)
class Instrument:
    """What the instrument adds to every sample, as standard uncertainties.

    Parameters
    ----------
    gain : float
        Relative, of the sample's value.
    offset : float
        In the samples' unit.
    time_base : float
        Relative, of every duration.
    """

    gain: float = 0.0
    offset: float = 0.0
    time_base: float = 0.0


@dataclass(frozen=True, slots=True)
class StateLevels:
    """The two levels of a waveform.

    Parameters
    ----------
    state_level_low, state_level_high : float
        Levels, in the samples' unit; NaN without samples.
    low_uncertainty, high_uncertainty : float
        Their standard uncertainties from noise, bins and instrument.
    amplitude_uncertainty : float
        That of their difference, in which the instrument's offset cancels.
    noise_low, noise_high : float
        Standard deviation of the samples of each state.
    share_low, share_high : float
        Share of the samples of each half of the amplitude that are in its state, that is within
        a tenth of the amplitude from its level.
    lowest, highest : float
        Extremes of all samples.
    bin_width : float
        Of the histogram.
    n_sample : int
        Finite samples.
    """

    state_level_low: float
    state_level_high: float
    low_uncertainty: float
    high_uncertainty: float
    amplitude_uncertainty: float
    noise_low: float
    noise_high: float
    share_low: float
    share_high: float
    lowest: float
    highest: float
    bin_width: float
    n_sample: int

    @property
    def amplitude(self) -> float:
        """High level less low level."""
        return self.state_level_high - self.state_level_low

    @property
    def noise(self) -> float:
        """Standard deviation of the samples about their states, root mean square of both."""
        return float(np.sqrt(0.5 * (self.noise_low**2 + self.noise_high**2)))

    @property
    def is_switching(self) -> bool:
        """Whether the samples stay at two levels, rather than moving in between.

        In each half of the amplitude at least six tenths of the samples are in the state. A sine
        has at most 0.56 there, a triangle 0.4; steps with noise of a standard deviation of a tenth
        of the amplitude have 0.68.
        """
        return bool(
            self.amplitude > 0.0
            and self.share_low >= LEAST_IN_STATE
            and self.share_high >= LEAST_IN_STATE
        )

    def reference_level(self, percent: float) -> float:
        """Level at a percentage of the amplitude, 0 at the low and 100 at the high state."""
        return self.state_level_low + percent / 100.0 * self.amplitude


def state_levels(
    samples: Samples,
    *,
    bins: int | None = None,
    method: Method = "mode",
    instrument: Instrument | None = None,
) -> StateLevels:
    """State levels of samples that are at hand as one array.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Those that aren't finite are left out.
    bins : int, optional
        Bins of the histogram, 4 to 256; twice the root of the number of samples where not given.
    method : str
        "mode" or "mean" of each half.
    instrument : Instrument, optional
        Its uncertainty, to be added.

    Returns
    -------
    StateLevels
        All NaN without finite samples; two equal levels where all samples are equal.

    Raises
    ------
    ValueOutOfRange
        Samples are not a row of numbers, or the number of bins or the method is unusable.

    Notes
    -----
    [ieee181], 5.2: levels by the histogram, split in half.
    """
    x = require_row(samples)
    x = x[np.isfinite(x)]
    if x.size == 0 or x.min() == x.max():
        return _with_instrument(_one_level(float(x[0]) if x.size else np.nan, x.size), instrument)
    counter = HistogramCounter(float(x.min()), float(x.max()), bins or usual_bins(x.size))
    counter.add(x)
    return levels_of(counter.result(), x, method=method, instrument=instrument)


def levels_of(
    histogram: SampleHistogram,
    samples: Samples | None = None,
    *,
    method: Method = "mode",
    instrument: Instrument | None = None,
) -> StateLevels:
    """State levels of a histogram, made finer with samples.

    Parameters
    ----------
    histogram : SampleHistogram
        Of the whole record.
    samples : ndarray, shape (n_samp,), optional
        Finite samples of the record (all, or some spread over it), from which the modes and the
        noise are taken without the roughness of bins.
    method, instrument
        As for `state_levels`.

    Returns
    -------
    StateLevels
        See there.

    Raises
    ------
    ValueOutOfRange
        The method is neither "mode" nor "mean".
    """
    if method not in {"mode", "mean"}:
        raise ValueOutOfRange(f"There is no method {method}; there are mode and mean.", "method")
    occupied = np.flatnonzero(histogram.counts)
    half = (int(occupied[0]) + int(occupied[-1]) + 1) // 2  # first bin of the upper half
    low = _state(histogram, slice(int(occupied[0]), half), samples, method)
    high = _state(histogram, slice(half, int(occupied[-1]) + 1), samples, method)
    share_low, share_high = _shares(histogram, samples, low.level, high.level)
    found = StateLevels(
        low.level,
        high.level,
        low.uncertainty,
        high.uncertainty,
        float(np.hypot(low.uncertainty, high.uncertainty)),
        low.noise,
        high.noise,
        share_low,
        share_high,
        histogram.lowest,
        histogram.highest,
        histogram.bin_width,
        int(histogram.counts.sum()),
    )
    return _with_instrument(found, instrument)


@dataclass(frozen=True, slots=True)
class _State:
    level: float
    noise: float
    uncertainty: float


def _state(
    histogram: SampleHistogram, part: slice, samples: Samples | None, method: Method
) -> _State:
    """Level, noise and uncertainty of one half of the range."""
    counts, centres = histogram.counts[part], histogram.centres[part]
    width = histogram.bin_width
    if method == "mean":
        return _by_bins(*_moments(centres, counts), int(counts.sum()), width)
    fullest = int(counts.argmax())
    # To where the counts fall below a fiftieth of the fullest bin, the nearer side.
    is_empty = np.concatenate([[True], counts * 50 < counts[fullest], [True]])
    reach = min(int(is_empty[: fullest + 1][::-1].argmax()), int(is_empty[fullest + 2 :].argmax()))
    least = 1.6 * width  # both neighbours stay inside wherever in its bin the mean lies
    limit = 0.2 * (histogram.highest - histogram.lowest)
    centre, half = _window(centres, counts, centres[fullest], (reach + 1.6) * width, least, limit)
    is_in = np.abs(centres - centre) <= half
    n_in = int(counts[is_in].sum())
    if samples is not None:
        near = samples[np.abs(samples - samples.dtype.type(centre)) <= 1.5 * half + width]
        if near.size > 1:
            return _by_samples(near.astype(np.float64), width, limit)
    return _by_bins(*_moments(centres[is_in], counts[is_in]), n_in, width)


def _moments(values: Array, counts: NDArray[np.integer]) -> tuple[float, float]:
    """Mean and variance of values with counts."""
    total = max(int(counts.sum()), 1)
    mean = float(counts @ values) / total
    return mean, float(counts @ (values - mean) ** 2) / total


def _window(
    values: Array,
    counts: NDArray[np.integer],
    centre: float,
    half: float,
    least: float,
    most: float,
) -> tuple[float, float]:
    """Centre and half width of a window about a peak, settled at some standard deviations."""
    for _ in range(_ROUNDS):
        is_in = np.abs(values - centre) <= half
        if not counts[is_in].any():
            break
        before = centre, half
        centre, variance = _moments(values[is_in], counts[is_in])
        half = float(np.clip(_REACH * np.sqrt(variance), least, most))
        if (centre, half) == before:
            break
    return centre, half


def _by_samples(x: Array, width: float, most: float) -> _State:
    """From the samples near a peak: no bins, so no uncertainty from them.

    The window starts from median and median deviation, which some samples of transitions don't
    move. Where most samples are equal the level is their value (no noise reached it); what the
    others would have moved it by is its uncertainty.
    """
    middle = float(np.median(x))
    off = np.abs(x - middle)
    deviation = float(np.median(off))
    if deviation == 0.0 and np.count_nonzero(off == 0.0) > _MOST_EQUAL * x.size:
        return _State(middle, 0.0, abs(float(x.mean()) - middle))
    # 1.4826 median deviations of a normal distribution are one standard deviation.
    start = _REACH * 1.4826 * deviation or width
    one = np.ones(x.size, dtype=np.int64)
    centre, half = _window(x, one, middle, start, 1e-3 * width, most)
    inside = x[np.abs(x - centre) <= half]
    if inside.size < 2:
        return _State(centre, 0.0, width / float(np.sqrt(12.0)))
    noise = float(inside.std(ddof=1))
    return _State(float(inside.mean()), noise, noise / float(np.sqrt(inside.size)))


def _by_bins(mean: float, variance: float, n: int, width: float) -> _State:
    """From bins: their width blurs the noise and, where that is small, moves the mean.

    The mean of rounded values is off by up to half a bin where all lie in one: q/sqrt(12)
    ([jcgm100], F.2.2.1). Noise averages that away: at a standard deviation of 0.6 q at most
    q/pi exp(-2 (0.6 pi)^2), less than 0.001 q, is left ([widrow2008], ch. 5).
    """
    noise = float(np.sqrt(max(variance - width**2 / 12.0, 0.0)))  # Sheppard's correction
    rounding = width**2 / 12.0 if noise < 0.6 * width else 0.0
    return _State(mean, noise, float(np.sqrt(variance / max(n, 1) + rounding)))


def _shares(
    histogram: SampleHistogram, samples: Samples | None, low: float, high: float
) -> tuple[float, float]:
    """Share of each half's samples that are near its level."""
    middle, near = 0.5 * (low + high), NEAR_SHARE * (high - low)
    if samples is not None and samples.size:
        values, counts = samples, np.ones(1, dtype=np.int64)
    else:
        values, counts = histogram.centres, histogram.counts
    weight = np.broadcast_to(counts, values.shape)
    is_lower = values < middle
    n_lower, n_upper = int(weight[is_lower].sum()), int(weight[~is_lower].sum())
    n_low = int(weight[np.abs(values - low) <= near].sum())
    n_high = int(weight[np.abs(values - high) <= near].sum())
    return n_low / max(n_lower, 1), n_high / max(n_upper, 1)


def _one_level(level: float, n: int) -> StateLevels:
    return StateLevels(
        level, level, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, level, level, 0.0, n
    )  # fmt: skip


def _with_instrument(levels: StateLevels, instrument: Instrument | None) -> StateLevels:
    """Levels with the instrument's part added in squares ([jcgm100], 5.1.2)."""
    if instrument is None:
        return levels
    gain, offset = instrument.gain, instrument.offset
    low, high = levels.state_level_low, levels.state_level_high
    return replace(
        levels,
        low_uncertainty=float(np.hypot(np.hypot(levels.low_uncertainty, gain * low), offset)),
        high_uncertainty=float(np.hypot(np.hypot(levels.high_uncertainty, gain * high), offset)),
        amplitude_uncertainty=float(np.hypot(levels.amplitude_uncertainty, gain * (high - low))),
    )
