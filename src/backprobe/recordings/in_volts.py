"""Samples without a unit, once somebody has said what one of them means."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from backprobe.recordings.source import Block, ChannelHead, Source


class InVolts:
    """A recording whose samples without a unit are taken times a number of volts.

    Parameters
    ----------
    source : Source
        As the file has it.
    volts : float
        What a sample of 1 means, V; channels that have a unit stay as they are.
    """

    def __init__(self, source: Source, volts: float) -> None:
        self._source = source
        self._scales = tuple(1.0 if head.unit else volts for head in source.channels)
        self.channels = tuple(
            head if head.unit else ChannelHead(head.name, "V", is_double=True)
            for head in source.channels
        )
        self.interval = source.interval
        self.start = source.start
        self.time_resolution = source.time_resolution
        self.is_uneven = source.is_uneven
        self.remarks = source.remarks

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        for block in self._source.blocks(only_times=only_times):
            samples = tuple(
                np.asarray(column if scale == 1.0 else column.astype(np.float64) * scale)
                for column, scale in zip(block.samples, self._scales, strict=False)
            )
            yield Block(samples, block.times, block.share)
