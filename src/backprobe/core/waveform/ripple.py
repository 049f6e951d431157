"""What an analogue signal does: mean, extremes, alternating part, its frequency."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.blocks import Extent, SampleSource, blocks_of
from backprobe.core.waveform.levels import Instrument
from backprobe.core.waveform.sine import Sine, fit_sine

Array = NDArray[np.float64]
Samples = NDArray[np.floating]

FITTED = 1 << 16  # samples of the longest stretch without gaps that a sine is fitted to
_PIECE = 1 << 15


@dataclass(frozen=True, slots=True)
class Ripple:
    """A signal on its mean.

    Parameters
    ----------
    mean : float
        Mean of all finite samples; NaN without any.
    rms : float
        Root mean square of what is left about the mean: what "AC" means on top of "DC".
    lowest, highest : float
        Extremes.
    mean_uncertainty : float
        Standard uncertainty of the mean as the instrument shows it; its gain and offset only, as
        what the signal does itself is no error of the mean of the record.
    rms_uncertainty : float
        That of the alternating part, from the gain.
    sine : Sine or None
        The strongest sine of the first stretch without gaps, of up to 65,536 samples.
    n_sample, n_gap : int
        Samples, and those that are no finite numbers.
    """

    mean: float
    rms: float
    lowest: float
    highest: float
    mean_uncertainty: float
    rms_uncertainty: float
    sine: Sine | None
    n_sample: int
    n_gap: int

    @property
    def peak_to_peak(self) -> float:
        """Highest less lowest sample."""
        return self.highest - self.lowest


def measure_ripple(
    source: SampleSource | Iterable[Samples],
    *,
    interval: float,
    instrument: Instrument | None = None,
) -> Ripple:
    """Mean, extremes and alternating part of a record, in one pass and constant room.

    Parameters
    ----------
    source : SampleSource or iterable of ndarray
        An array or what slices like one, or blocks of any sizes in order.
    interval : float
        Time from sample to sample, s.
    instrument : Instrument, optional
        Its uncertainty.

    Returns
    -------
    Ripple
        See there.

    Raises
    ------
    ValueOutOfRange
        Samples are not rows of numbers.
    """
    counter = RippleCounter()
    for block in blocks_of(source):
        counter.add(block)
    return counter.result(interval, instrument or Instrument())


class RippleCounter:
    """Gathers mean, extremes and alternating part from successive blocks."""

    def __init__(self) -> None:
        self._extent, self._count, self._mean, self._squares = Extent(), 0, 0.0, 0.0
        self._stretch: list[Array] = []
        self._n_stretch, self._is_open = 0, True

    def add(self, block: Samples) -> None:
        """Add the samples that follow those of the last call."""
        self._extent = self._extent.with_block(block)
        is_finite = np.isfinite(block)
        is_whole = bool(is_finite.all())
        if self._is_open:
            is_begun = self._n_stretch > 0
            run = block if is_whole else _first_run(block, is_finite, is_begun=is_begun)
            run = run[: FITTED - self._n_stretch]
            self._stretch.append(run.astype(np.float64))
            self._n_stretch += run.size
            self._is_open = self._n_stretch < FITTED and (is_whole or not self._n_stretch)
        finite = block if is_whole else block[is_finite]
        for a in range(0, finite.size, _PIECE):
            self._add_piece(finite[a : a + _PIECE])

    def _add_piece(self, piece: Samples) -> None:
        """Number, mean and sum of squares about it, with more samples ([chan1983], eq. (2.1))."""
        x = piece.astype(np.float64)
        own = float(x.mean())
        x -= own
        total, step = self._count + x.size, own - self._mean
        self._squares += float(x @ x) + step**2 * self._count * x.size / total
        self._mean += step * x.size / total
        self._count = total

    def result(self, interval: float, instrument: Instrument) -> Ripple:
        """What has been gathered; the arguments are those of `measure_ripple`."""
        rms = float(np.sqrt(self._squares / self._count)) if self._count else np.nan
        mean = self._mean if self._count else np.nan
        fitted = np.concatenate(self._stretch) if self._stretch else np.zeros(0)
        return Ripple(
            mean,
            rms,
            self._extent.lowest,
            self._extent.highest,
            float(np.hypot(instrument.gain * mean, instrument.offset)),
            instrument.gain * rms,
            fit_sine(fitted, interval) if fitted.size >= 8 else None,
            self._extent.n_sample,
            self._extent.n_gap,
        )


def _first_run(block: Samples, is_finite: NDArray[np.bool_], *, is_begun: bool) -> Samples:
    """The samples up to the first gap; a run that has not begun begins after leading gaps."""
    begin = 0 if is_begun else int(is_finite.argmax())
    if not is_finite[begin]:
        return block[:0]
    rest = is_finite[begin:]
    end = begin + (int(rest.argmin()) if not rest.all() else rest.size)
    return block[begin:end]
