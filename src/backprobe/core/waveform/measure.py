"""Measurement of whole records, however long: levels, pulses and their uncertainty.

Records are read in blocks of one size, whatever they come in, so that the result doesn't depend on
it and the room taken doesn't grow with the record. What slices like an array is read three times:
for its extent, its histogram and its crossings. A stream can be read once only: its levels come
from its first samples.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.account import MOST_KEPT, Account, Summary
from backprobe.core.waveform.blocks import (
    BLOCK,
    Extent,
    SampleSource,
    blocks_of,
    is_sized,
    sum_of,
    without_infinite,
)
from backprobe.core.waveform.crossings import CrossingFinder, Crossings, joined, require_row
from backprobe.core.waveform.histogram import HistogramCounter, usual_bins
from backprobe.core.waveform.instant_uncertainty import (
    mean_period_uncertainty,
    noise_part,
    sampling_part,
)
from backprobe.core.waveform.levels import Instrument, StateLevels, levels_of, state_levels
from backprobe.core.waveform.pulses import PulseCounter, Pulses

Array = NDArray[np.float64]
Samples = NDArray[np.floating]

LEARNT = 1 << 20  # samples of a stream that its levels come from
TAKEN = 1 << 17  # samples that make the levels of a record finer
_REACHES = (0, 1, 2, 4, 8, 16, 32, 64, 128, 256)  # samples to either side that a slope is over
_WAITING = 1 << 15  # crossings evaluated at once
_ALL_COUNTED, _COUNTED_OF = 32, 4  # blocks that are all counted; beyond it every fourth
_SPREAD = 16  # places of the record that they are taken from
BAND_SHARE = 0.1  # least half width of the hysteresis band, share of the amplitude
BAND_NOISE = 4.0  # and in standard deviations of the noise
MOST_BAND = 0.35  # share of the amplitude


@dataclass(frozen=True, eq=False)
class PulseMeasurement:
    """Levels and pulses of a record.

    Parameters
    ----------
    levels : StateLevels
        Of the whole record; of its first part where it came as a stream.
    pulses : Pulses
        At the middle between the levels.
    n_sample, n_gap : int
        Samples read, and those of them that were no finite numbers.
    n_crossing : int
        Mid-reference instants.
    slope : Summary
        Size of the slope about each crossing, unit/s.
    instant_uncertainty : float
        Of a mid-reference instant, s: root mean square over the record.
    period_uncertainty : float
        Of the mean period, s; NaN without a complete cycle.
    frequency_uncertainty : float
        Of the mean frequency, Hz.
    duration_uncertainty : float
        Of one pulse duration, separation or period, s.
    """

    levels: StateLevels
    pulses: Pulses
    n_sample: int
    n_gap: int
    n_crossing: int
    slope: Summary
    instant_uncertainty: float
    period_uncertainty: float
    frequency_uncertainty: float
    duration_uncertainty: float

    @property
    def is_switching(self) -> bool:
        """Whether there are two states and at least two changes between them."""
        return self.levels.is_switching and self.n_crossing >= 2


def record_levels(
    source: SampleSource, *, bins: int | None = None, instrument: Instrument | None = None
) -> tuple[Extent, StateLevels]:
    """How far a record reaches, and its state levels, in constant room.

    Parameters
    ----------
    source : SampleSource
        An array, a memory map, or what slices like one.
    bins : int, optional
        Bins of the histogram, 4 to 256.
    instrument : Instrument, optional
        Its uncertainty.

    Returns
    -------
    Extent, StateLevels
        Levels from the histogram (of all samples up to 16 million; of longer records a quarter of
        the blocks and each that reaches beyond those before it), made finer with up to 131,072
        samples from sixteen places spread over the record.
    """
    own = [Extent().with_block(block) for block in blocks_of(source, BLOCK)]
    extent = sum_of(own)
    if not extent.highest > extent.lowest:
        return extent, state_levels(np.array([extent.lowest]), instrument=instrument)
    n_finite = extent.n_sample - extent.n_gap
    counter = HistogramCounter(extent.lowest, extent.highest, bins or usual_bins(n_finite))
    for number in _counted(own):
        block = require_row(source[number * BLOCK : (number + 1) * BLOCK])
        counter.add(block[np.isfinite(block)] if extent.n_gap else block)
    taken = _taken(source)
    found = levels_of(counter.result(), taken[np.isfinite(taken)], instrument=instrument)
    return extent, replace(found, n_sample=n_finite)


def _counted(own: list[Extent]) -> list[int]:
    """Blocks whose samples the histogram counts.

    All of a short record. Of a long one every fourth, which is plenty for modes, and each that goes
    beyond those counted before it: a state that the signal is rarely in is not overlooked.
    """
    if len(own) <= _ALL_COUNTED:
        return list(range(len(own)))
    lowest, highest, counted = np.inf, -np.inf, []
    for number, extent in enumerate(own):
        if number % _COUNTED_OF == 0 or extent.lowest < lowest or extent.highest > highest:
            counted.append(number)
            lowest, highest = min(lowest, extent.lowest), max(highest, extent.highest)
    return counted


def _taken(source: SampleSource) -> Samples:
    """Up to 131,072 samples of a record: all, or equal parts from places spread over it."""
    n = len(source)
    if n <= TAKEN:
        parts = list(blocks_of(source))
    else:
        starts = np.linspace(0, n - TAKEN // _SPREAD, _SPREAD).astype(np.int64).tolist()
        parts = [next(blocks_of(source[a : a + TAKEN // _SPREAD])) for a in starts]
    return np.concatenate(parts)


def measure_pulses(
    source: SampleSource | Iterable[Samples],
    *,
    interval: float,
    start: float = 0.0,
    levels: StateLevels | None = None,
    bins: int | None = None,
    instrument: Instrument | None = None,
    most_kept: int = MOST_KEPT,
) -> PulseMeasurement:
    """Levels and pulses of a record.

    Parameters
    ----------
    source : SampleSource or iterable of ndarray
        An array or what slices like one (a memory map), or blocks of any sizes in order.
    interval, start : float
        Time from sample to sample and instant of the first one, s.
    levels : StateLevels, optional
        Where they are known already; otherwise they are found.
    bins : int, optional
        Bins of the histogram.
    instrument : Instrument, optional
        Its uncertainty.
    most_kept : int
        Values kept of each quantity; statistics are of all.

    Returns
    -------
    PulseMeasurement
        Without two different levels there are no crossings.

    Raises
    ------
    ValueOutOfRange
        Samples are not rows of numbers, or interval, start or bins are unusable.
    """
    blocks: Iterator[Samples]
    is_gapless = False
    if is_sized(source):
        extent = Extent()
        if levels is None:
            extent, levels = record_levels(source, bins=bins, instrument=instrument)
            is_gapless = extent.n_gap == 0
        blocks = overlapping(source)
        extent_known = extent if extent.n_sample else None
    else:
        blocks = blocks_of(source)
        extent_known = None
        if levels is None:
            levels, blocks = learnt_levels(blocks, bins, instrument)
        blocks = with_last(blocks)
    walker = PulseWalker(levels, interval, start, most_kept, is_gapless=is_gapless)
    for block in blocks:
        walker.add(block, count=extent_known is None)
    n_sample = extent_known.n_sample if extent_known else walker.n_sample
    n_gap = extent_known.n_gap if extent_known else walker.n_gap
    return walker.result(n_sample, n_gap, instrument or Instrument())


def learnt_levels(
    blocks: Iterator[Samples], bins: int | None, instrument: Instrument | None
) -> tuple[StateLevels, Iterator[Samples]]:
    """Levels of the first samples of a stream, and the whole stream again."""
    first: list[Samples] = []
    for block in blocks:
        first.append(block)
        if len(first) * BLOCK >= LEARNT:
            break
    samples = np.concatenate(first) if first else np.zeros(0)
    levels = state_levels(samples, bins=bins, instrument=instrument)
    return levels, chain(first, blocks)


def overlapping(source: SampleSource) -> Iterator[Samples]:
    """Blocks that begin with the last sample of the one before, without copying."""
    for a in range(0, len(source), BLOCK):
        yield from blocks_of(source[max(a - 1, 0) : a + BLOCK], BLOCK + 1)


def with_last(blocks: Iterator[Samples]) -> Iterator[Samples]:
    """Blocks, each with the last sample of the one before put first."""
    last: Samples | None = None
    for block in blocks:
        yield block if last is None else np.concatenate([last, block])
        last = block[-1:]


def _slopes(x: Samples, place: NDArray[np.int64], levels: StateLevels) -> tuple[Array, Array]:
    """Step from the sample at each place to the next, and slope a sample about it; their sizes.

    The slope is over as few samples as let the waveform move by six standard deviations of the
    noise or half of the amplitude: noise would make a steep slope of every gentle one.
    """
    step = slope = np.zeros(0)
    for reach in _REACHES:
        a, b = np.maximum(place - reach, 0), np.minimum(place + 1 + reach, x.size - 1)
        slope = np.abs(x[b].astype(np.float64) - x[a].astype(np.float64)) / (b - a)
        step = slope if reach == 0 else step
        moved = _mean(slope) * (2 * reach + 1)
        if moved >= min(6.0 * levels.noise, 0.5 * levels.amplitude):
            break
    return step.copy(), slope


def _mean(values: Array) -> float:
    there = values[~np.isnan(values)]
    return float(there.mean()) if there.size else 0.0


class PulseWalker:
    """Takes blocks that overlap by one sample through crossings to pulses."""

    def __init__(
        self,
        levels: StateLevels,
        interval: float,
        start: float,
        most_kept: int,
        *,
        is_gapless: bool,
    ) -> None:
        self.levels, self.interval = levels, interval
        self.is_gapless = is_gapless
        self.n_sample = self.n_gap = self.n_crossing = 0
        self._squares = 0.0
        self._waiting: list[tuple[Crossings, Array, Array]] = []
        self._n_waiting = 0
        self._counter, self._slope = PulseCounter(most_kept), Account(most_kept)
        amplitude = levels.amplitude
        has_two = bool(amplitude > 0.0)
        band = max(BAND_SHARE * amplitude, BAND_NOISE * levels.noise) if has_two else 0.0
        self._finder = CrossingFinder(
            levels.reference_level(50.0) if has_two else 0.0,
            hysteresis=min(band, MOST_BAND * amplitude) if has_two else 0.0,
            start=start,
            interval=interval,
        )
        self._has_two = has_two

    def add(self, block: Samples, *, count: bool) -> None:
        """Add a block that begins with the last sample of the one before; count its samples."""
        x = block if self.is_gapless else without_infinite(block)
        if count:
            fresh = x[1:] if self.n_sample else x
            self.n_sample += fresh.size
            self.n_gap += int(np.count_nonzero(np.isnan(fresh)))
        if not self._has_two:
            return
        offset = self._finder.offset
        found = self._finder.scan(x, is_gapless=self.is_gapless)
        if not len(found):
            return
        place = np.clip(found.sample - offset + found.fraction.astype(np.int64), 0, x.size - 2)
        step, slope = _slopes(x, place, self.levels)
        # A crossing whose first passage lies in an earlier block: its slope is not at hand.
        slope[found.sample < offset] = np.nan
        self._waiting.append((found, step, slope))
        self.n_crossing += len(found)
        self._n_waiting += len(found)
        if self._n_waiting >= _WAITING:
            self._flush()

    def _flush(self) -> None:
        """Hand on the crossings of several blocks at once: each call has its price."""
        if not self._waiting:
            return
        found = joined([c for c, _, _ in self._waiting])
        step = np.concatenate([own for _, own, _ in self._waiting]) / self.interval
        slope = np.concatenate([own for _, _, own in self._waiting]) / self.interval
        self._waiting, self._n_waiting = [], 0
        self._counter.add(found)
        self._slope.add(found.instants, slope)
        is_told = ~np.isnan(slope)
        for is_mine in (is_told & found.is_rising, is_told & ~found.is_rising):
            if is_mine.any():
                # Noise makes single slopes too small or too large; their mean is right.
                mean = float(slope[is_mine].mean())
                by_noise = noise_part(mean, self.levels.noise, self.interval)
                by_place = sampling_part(step[is_mine], self.interval, self.levels.amplitude)
                self._squares += float(np.sum(by_noise**2 + by_place**2))

    def result(self, n_sample: int, n_gap: int, instrument: Instrument) -> PulseMeasurement:
        """What has been gathered, of a record with so many samples and gaps."""
        self._flush()
        pulses, slope = self._counter.result(), self._slope.result()
        instant = float(np.sqrt(self._squares / slope.count)) if slope.count else np.nan
        period = pulses.period
        u_period = u_frequency = u_duration = np.nan
        if slope.count:
            u_duration = float(np.sqrt(2.0)) * instant
        if period.count:
            u_period = mean_period_uncertainty(
                instant, period.count, period.mean, period.deviation, instrument.time_base
            )
            u_frequency = u_period / period.mean**2
        return PulseMeasurement(
            self.levels,
            pulses,
            n_sample,
            n_gap,
            self.n_crossing,
            slope,
            instant,
            u_period,
            u_frequency,
            u_duration,
        )
