"""Samples in blocks of one size, from an array, a memory map or a stream of blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Protocol, TypeGuard, cast, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import require_row
from backprobe.errors import ValueOutOfRange

Samples = NDArray[np.floating]

# Samples worked on at once. The pieces that go through several operations are smaller still; this
# size spreads the cost of a call over enough samples, and keeps all work space below 20 MB.
BLOCK = 1 << 19


@runtime_checkable
class SampleSource(Protocol):
    """Anything with a length whose slices are rows of samples: an array, a memory map."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> Samples: ...


@dataclass(frozen=True, slots=True)
class Extent:
    """How far samples reach.

    Parameters
    ----------
    n_sample, n_gap : int
        All samples, and those of them that aren't finite numbers.
    lowest, highest : float
        Extremes of the finite ones; NaN where there are none.
    """

    n_sample: int = 0
    n_gap: int = 0
    lowest: float = np.nan
    highest: float = np.nan

    def with_block(self, x: Samples) -> Extent:
        """The extent of these samples and one more block."""
        if x.size == 0:
            return self
        lowest, highest = float(x.min()), float(x.max())
        n_gap = 0
        if not (np.isfinite(lowest) and np.isfinite(highest)):
            finite = x[np.isfinite(x)]
            n_gap = x.size - finite.size
            lowest = float(finite.min()) if finite.size else np.nan
            highest = float(finite.max()) if finite.size else np.nan
        return Extent(
            self.n_sample + x.size,
            self.n_gap + n_gap,
            float(np.fmin(self.lowest, lowest)),
            float(np.fmax(self.highest, highest)),
        )


def is_sized(source: SampleSource | Iterable[Samples]) -> TypeGuard[SampleSource]:
    """Whether samples can be had again and in any order: a length and slices, no list of blocks."""
    return isinstance(source, SampleSource) and not isinstance(source, (list, tuple))


def blocks_of(source: SampleSource | Iterable[Samples], size: int = BLOCK) -> Iterator[Samples]:
    """Samples in blocks of one size, the last one shorter.

    Parameters
    ----------
    source : SampleSource or iterable of ndarray
        An array or what slices like one, or blocks of any sizes in order.
    size : int
        Samples in a block, >= 1.

    Yields
    ------
    ndarray, shape (size,)
        float32 or float64.

    Raises
    ------
    ValueOutOfRange
        A block is not a row of numbers.
    """
    if size < 1:
        raise ValueOutOfRange(f"A block of {size} samples holds none.", "size")
    if is_sized(source):
        for a in range(0, len(source), size):
            yield require_row(source[a : a + size])
    else:
        yield from _regrouped(cast("Iterable[Samples]", source), size)


def _regrouped(parts: Iterable[Samples], size: int) -> Iterator[Samples]:
    waiting: list[Samples] = []
    n_waiting = 0
    for part in parts:
        x = require_row(part)
        while x.size:
            taken = x[: size - n_waiting]
            waiting.append(taken)
            n_waiting += taken.size
            x = x[taken.size :]
            if n_waiting == size:
                yield waiting[0] if len(waiting) == 1 else np.concatenate(waiting)
                waiting, n_waiting = [], 0
    if waiting:
        yield np.concatenate(waiting)


def without_infinite(x: Samples) -> Samples:
    """Samples with NaN in the place of infinite ones; the same array where there are none."""
    is_infinite = np.isinf(x)
    return np.where(is_infinite, x.dtype.type(np.nan), x) if is_infinite.any() else x


def extent_of(source: SampleSource | Iterable[Samples]) -> Extent:
    """How far all samples reach."""
    return sum_of([Extent().with_block(block) for block in blocks_of(source)])


def sum_of(parts: list[Extent]) -> Extent:
    """The extent of several parts together."""
    if not parts:
        return Extent()
    return Extent(
        sum(part.n_sample for part in parts),
        sum(part.n_gap for part in parts),
        float(np.fmin.reduce([part.lowest for part in parts])),
        float(np.fmax.reduce([part.highest for part in parts])),
    )
