"""Noise and step size of samples, whatever the signal under them does slowly."""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import Samples, require_row
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Median of the absolute value of a normal variable, inverted.
_MEDIAN_TO_DEVIATION: Final = 1.4826
# A sample lies on a step if it is this near to one, in steps: files round what they hold.
_ON_STEP: Final = 0.1


def noise_deviation(samples: Array, longest: int = 1) -> float:
    """Standard deviation of noise.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Any unit.
    longest : int
        Samples over which the signal itself hardly bends. Noise that was filtered before it was
        sampled changes little from one sample to the next and shows over more of them.

    Returns
    -------
    float
        Same unit. Never below that of rounding to the steps that the samples show.

    Raises
    ------
    Nothing
        Fewer than three samples give 0.

    Notes
    -----
    Differences of second order have six times the variance of the noise and no part of a slope;
    their median doesn't see the few samples where the signal itself jumps. Rounding to a step d:
    d / sqrt 12 [jcgm100, F.2.2.1].
    """
    if samples.size < 3:
        return 0.0
    spread, lag = 0.0, 1
    while lag <= longest and 2 * lag < samples.size:
        second = samples[2 * lag :] - 2.0 * samples[lag:-lag] + samples[: -2 * lag]
        middle = float(np.nanmedian(np.abs(second)))
        spread = max(spread, _MEDIAN_TO_DEVIATION * middle / float(np.sqrt(6.0)))
        lag *= 3
    return max(spread, sample_step(samples) / float(np.sqrt(12.0)))


def sample_step(samples: Array) -> float:
    """Step between neighbouring samples that differ least: the converter's, if it shows.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Any unit.

    Returns
    -------
    float
        Same unit; 0 where all are equal or where samples lie on no steps.

    Raises
    ------
    Nothing
        NaN is left out.
    """
    known = samples[np.isfinite(samples)]
    apart = np.abs(np.diff(known))
    apart = apart[apart > 0.0]
    if not apart.size:
        return 0.0
    # Not the very least: a scaled file may hold a few values between the steps.
    step = float(np.quantile(apart, 0.02))
    number = (known - known[0]) / step
    on_steps = np.abs(number - np.round(number)) < _ON_STEP
    return step if np.mean(on_steps) > 0.9 else 0.0


@dataclass(frozen=True, eq=False)
class ThinnedRecord:
    """A record with fewer samples.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Means of blocks.
    interval, start : float
        Time from block to block, and the middle of the first one, s.
    fast : float
        Standard deviation within the blocks, same unit.
    """

    samples: Array
    interval: float
    start: float
    fast: float


def thinned(samples: Array, interval: float, start: float, wanted: float) -> ThinnedRecord:
    """Take means of blocks, so that long smoothing stays quick.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Any unit.
    interval, start : float
        Time from sample to sample and instant of the first, s.
    wanted : float
        Blocks are as long as fits into this, s, at least one sample.

    Returns
    -------
    ThinnedRecord
        The means. What is left at the end is dropped.

    Raises
    ------
    Nothing
        A record shorter than a block is kept as it is.
    """
    size = max(1, int(wanted / interval * (1.0 + 1e-9)))
    n_block = samples.size // size
    if size == 1 or not n_block:
        return ThinnedRecord(samples, interval, start, 0.0)
    blocks = samples[: n_block * size].reshape(n_block, size)
    middle = start + 0.5 * (size - 1) * interval
    fast = float(np.sqrt(blocks.var(axis=1).mean()))
    return ThinnedRecord(blocks.mean(axis=1), size * interval, middle, fast)


def require_record(samples: Samples, interval: float, where: str) -> Array:
    """Return samples as float64 with gaps bridged by straight lines.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Any unit; NaN = gap.
    interval : float
        Time from sample to sample, s.
    where : str
        What an error names.

    Returns
    -------
    ndarray, shape (n_samp,)
        Same unit, no NaN.

    Raises
    ------
    ValueOutOfRange
        The samples are no row of numbers or all missing, or the interval isn't above zero.
    """
    row = require_row(samples).astype(np.float64)
    if not (np.isfinite(interval) and interval > 0.0):
        raise ValueOutOfRange(
            f"an interval of {interval} s isn't above zero.",
            where=where,
            remedy="Give the time from one sample to the next.",
        )
    known = np.isfinite(row)
    if not known.any():
        raise ValueOutOfRange(
            "there are no samples.", where=where, remedy="Give a record that holds some."
        )
    if not known.all():
        row = np.interp(np.arange(row.size), np.flatnonzero(known), row[known])
    return row
