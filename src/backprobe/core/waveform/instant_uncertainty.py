"""Standard uncertainty of instants that lie between samples, and of what follows from them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_HALFWAY, _HALFWAY_POWER = 0.66, 0.8  # fitted, see instant_uncertainty
_STEEP = 0.5  # rise between two samples, share of the amplitude, from which a corner may matter


def instant_uncertainty(
    slope: Array | float, noise: float, interval: float, amplitude: float
) -> Array:
    """Uncertainty of interpolated crossing instants.

    Parameters
    ----------
    slope : ndarray, shape (n,)
        Slope of the waveform at the crossing, unit/s, its size; as measured between samples it is
        at most amplitude / interval.
    noise : float
        Standard deviation of the noise of a sample, independent from sample to sample.
    interval : float
        Time from sample to sample, s.
    amplitude : float
        High level less low level, > 0.

    Returns
    -------
    ndarray, shape (n,)
        Standard uncertainties, s.

    Notes
    -----
    Noise: the instant (L - a) / (b - a) of a line between two samples moves by n_a and n_b weighted
    with 1 - f and f; the mean square over a place f within the interval gives 2/3 of
    (noise / slope)^2 ([jcgm100], 5.1.2). On slopes so small that the noise crosses the level more
    than once, halfway between the first and the last passage is better than that: 0.66 k^0.8
    samples, k being the samples that the slope takes to move by the noise. This is no theory but
    was fitted to simulated straight slopes, k from 0.3 to 10; it is there within a tenth.

    Sampling: where one interval takes the whole transition the instant may lie anywhere in it,
    interval / sqrt(12) ([jcgm100], 4.3.7); where it takes less than half, both samples lie on the
    transition and a straight one is met exactly; linear in between.
    """
    by_noise = noise_part(slope, noise, interval)
    return np.asarray(np.hypot(by_noise, sampling_part(slope, interval, amplitude)))


def noise_part(slope: Array | float, noise: float, interval: float) -> Array:
    """What the noise does to an instant, s; see `instant_uncertainty`."""
    size = np.maximum(np.abs(np.asarray(slope, dtype=np.float64)), np.finfo(float).tiny)
    with np.errstate(over="ignore"):  # without any slope the instant is anywhere
        samples = noise / (size * interval)  # that the waveform takes to move by the noise
    single = np.sqrt(2.0 / 3.0) * samples
    return np.asarray(interval * np.minimum(single, _HALFWAY * samples**_HALFWAY_POWER))


def sampling_part(slope: Array | float, interval: float, amplitude: float) -> Array:
    """What the sampling does to an instant, s; see `instant_uncertainty`."""
    share = np.clip(np.abs(np.asarray(slope)) * interval / amplitude, 0.0, 1.0)
    steep = np.clip((share - _STEEP) / (1.0 - _STEEP), 0.0, 1.0)
    return np.asarray(steep * interval / np.sqrt(12.0))


def duration_uncertainty(
    first: float, second: float, duration: float, time_base: float = 0.0
) -> float:
    """Uncertainty of a time between two instants with independent uncertainties, s.

    ``time_base`` is the relative uncertainty of the recorder's clock ([jcgm100], 5.1.2).
    """
    return float(np.sqrt(first**2 + second**2 + (time_base * duration) ** 2))


def mean_period_uncertainty(
    instant: float, n_cycle: int, mean: float, deviation: float, time_base: float = 0.0
) -> float:
    """Uncertainty of a mean period over successive cycles, s.

    Parameters
    ----------
    instant : float
        Uncertainty of one instant, s.
    n_cycle : int
        Cycles, >= 1.
    mean, deviation : float
        Mean and standard deviation of the periods, s.
    time_base : float
        Relative uncertainty of the recorder's clock.

    Notes
    -----
    The mean is (last - first instant) / n: sqrt(2) u / n. What the periods vary beyond the spread
    that uncertain instants make of equal ones (2 u^2) is the signal's own and counts as a random
    sample of it, s / sqrt(n) ([jcgm100], 4.2.3), where the spread is too large for chance: by three
    standard deviations of a variance, sqrt(2 / (n - 1)) of it each.
    """
    spread, expected = (deviation if n_cycle > 1 else 0.0) ** 2, 2.0 * instant**2
    by_chance = expected * (1.0 + 3.0 * float(np.sqrt(2.0 / max(n_cycle - 1, 1))))
    own = spread - expected if spread > by_chance else 0.0
    parts = 2.0 * (instant / n_cycle) ** 2 + own / n_cycle + (time_base * mean) ** 2
    return float(np.sqrt(parts))
