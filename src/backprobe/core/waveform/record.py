"""Everything measured of one channel of a capture at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.account import MOST_KEPT
from backprobe.core.waveform.blocks import SampleSource, blocks_of, is_sized, without_infinite
from backprobe.core.waveform.level_drift import DriftCounter, LevelDrift
from backprobe.core.waveform.levels import Instrument, StateLevels
from backprobe.core.waveform.measure import (
    PulseMeasurement,
    PulseWalker,
    learnt_levels,
    record_levels,
)
from backprobe.core.waveform.ripple import Ripple, RippleCounter
from backprobe.core.waveform.transitions import TransitionCounter, TransitionMeasurement

Samples = NDArray[np.floating]


@dataclass(frozen=True, eq=False)
class RecordMeasurement:
    """What was measured of a record.

    Parameters
    ----------
    pulses : PulseMeasurement
        Mid-reference pulses, with the levels that they were found with.
    transitions : TransitionMeasurement
        Transitions between the states; of meaning where the signal switches.
    ripple : Ripple
        Mean, extremes and alternating part; what counts where it doesn't switch.
    drift : LevelDrift
        Levels over time.
    """

    pulses: PulseMeasurement
    transitions: TransitionMeasurement
    ripple: Ripple
    drift: LevelDrift

    @property
    def levels(self) -> StateLevels:
        """State levels."""
        return self.pulses.levels

    @property
    def is_switching(self) -> bool:
        """Whether there are two states and at least two changes between them."""
        return self.pulses.is_switching


def measure(
    source: SampleSource | Iterable[Samples],
    *,
    interval: float,
    start: float = 0.0,
    levels: StateLevels | None = None,
    bins: int | None = None,
    instrument: Instrument | None = None,
    lower: float = 10.0,
    upper: float = 90.0,
    most_kept: int = MOST_KEPT,
) -> RecordMeasurement:
    """Measure a record in constant room, whatever it comes in.

    Parameters
    ----------
    source : SampleSource or iterable of ndarray
        An array or what slices like one (a memory map), or blocks of any sizes in order; NaN and
        infinite samples are gaps. The levels of a stream come from its first million samples.
    interval, start : float
        Time from sample to sample and instant of the first one, s.
    levels : StateLevels, optional
        Where they are known already.
    bins : int, optional
        Bins of the histogram, 4 to 256.
    instrument : Instrument, optional
        Its uncertainty.
    lower, upper : float
        Reference levels of transitions, percent of the amplitude.
    most_kept : int
        Values kept of each quantity, every so many-th beyond it; statistics are of all.

    Returns
    -------
    RecordMeasurement
        The same for every way that the samples come in blocks.

    Raises
    ------
    ValueOutOfRange
        Samples are not rows of numbers, or interval, start or bins are unusable.
    """
    blocks: Iterator[Samples] = blocks_of(source)
    is_gapless = False
    if levels is None and is_sized(source):
        extent, levels = record_levels(source, bins=bins, instrument=instrument)
        is_gapless = extent.n_gap == 0
    elif levels is None:
        levels, blocks = learnt_levels(blocks, bins, instrument)
    walker = PulseWalker(levels, interval, start, most_kept, is_gapless=is_gapless)
    transitions = TransitionCounter(
        levels, interval=interval, start=start, lower=lower, upper=upper, most_kept=most_kept
    )
    drift = DriftCounter(levels, interval=interval, start=start, most_kept=most_kept)
    ripple = RippleCounter()
    last: Samples | None = None
    for raw in blocks:
        block = raw if is_gapless else without_infinite(raw)
        walker.add(block if last is None else np.concatenate([last, block]), count=True)
        transitions.add(block)
        drift.add(block)
        ripple.add(block)
        last = block[-1:]
    tool = instrument or Instrument()
    return RecordMeasurement(
        walker.result(walker.n_sample, walker.n_gap, tool),
        transitions.result(),
        ripple.result(interval, tool),
        drift.result(),
    )
