"""Crossings of a block without gaps whose transitions are short: one comparison a sample.

Most captures are of this kind. Only the samples at the upper side of the band are compared
throughout; what happens inside the band is looked up in a few samples about each change. Where
that doesn't tell all (slow transitions, the block's ends in the band) there is no answer, and the
caller compares with every side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Samples = NDArray[np.floating]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

_REACHES = (3, 20)  # samples about a change that are looked at: a few first, then more


@dataclass(frozen=True, slots=True)
class Quick:
    """Crossings of a block: the samples before and after, and which took several samples.

    Parameters
    ----------
    end : ndarray of int, shape (n,)
        First sample beyond the far side of the band.
    is_rising : ndarray of bool, shape (n,)
        Direction.
    first, last : ndarray of int, shape (n,)
        Samples before the first and the last passage through the level.
    """

    end: IntArray
    is_rising: Bools
    first: IntArray
    last: IntArray


def quick_crossings(
    x: Samples, low: float, level: float, high: float, work: Bools | None = None
) -> Quick | None:
    """Crossings of a level in samples without NaN, or None where they aren't told this way.

    Parameters
    ----------
    x : ndarray, shape (n_samp,)
        Samples without NaN; the first one is beyond one side of the band, or there is no answer.
    low, level, high : float
        Sides of the band and level between them, all numbers of the samples' type.
    work : ndarray of bool, shape (2, at least n_samp), optional
        Room to work in, its content lost; saves the time that fresh memory takes.
    """
    if low <= x[0] < high or low <= x[-1] < high:
        return None
    room = np.empty((2, x.size), dtype=np.bool_) if work is None else work[:, : x.size]
    is_high = np.greater_equal(x, x.dtype.type(high), out=room[0])
    change = np.flatnonzero(np.not_equal(is_high[1:], is_high[:-1], out=room[1, 1:])) + 1
    is_rising = is_high[change]
    # The sample beside the change that isn't high; the far end of a way up, the near end down.
    beside = change - is_rising
    is_slow = ~(x[beside] < x.dtype.type(low))
    if not is_slow.any():
        return Quick(change, is_rising, change - 1, change - 1)
    for reach in _REACHES:
        found = _with_stays(x, change, is_rising, np.flatnonzero(is_slow), (low, level), reach)
        if found is not None:
            return found
    return None


def _with_stays(
    x: Samples,
    change: IntArray,
    is_rising: Bools,
    slow: IntArray,
    sides: tuple[float, float],
    reach: int,
) -> Quick | None:
    """Look about those changes that have samples in the band."""
    low, level = (x.dtype.type(side) for side in sides)
    rises = is_rising[slow]
    step = np.where(rises, -1, 1)
    # Sample 0 of each row is the high one beside the change, the others lead away from it.
    origin = change[slow] - ~rises
    places = origin[:, None] + step[:, None] * np.arange(reach + 1)
    if places.min() < 0 or places.max() >= x.size:
        return None
    row = x[places]  # (n_slow, reach + 1)
    is_low = row < low
    n_steps = is_low.argmax(axis=1)  # steps to the first low one; 0: none
    settled = origin + step * n_steps
    if not n_steps.all() or not _within_gaps(settled, slow, change, rises):
        return None
    is_below = row < level
    passes = is_below[:, 1:] != is_below[:, :-1]
    passes &= np.arange(1, reach + 1) <= n_steps[:, None]
    near = passes.argmax(axis=1)  # steps from the high sample to its side of the passage
    far = reach - 1 - passes[:, ::-1].argmax(axis=1)
    near_pair, far_pair = origin + step * near - rises, origin + step * far - rises
    end, first, last = change.copy(), change - 1, change - 1
    end[slow] = np.where(rises, change[slow], settled)
    first[slow] = np.where(rises, far_pair, near_pair)
    last[slow] = np.where(rises, near_pair, far_pair)
    return Quick(end, is_rising, first, last)


def _within_gaps(settled: IntArray, slow: IntArray, change: IntArray, rises: Bools) -> bool:
    """Whether the low sample found lies before the neighbouring change."""
    earlier = np.concatenate([[-1], change])[slow]  # change before
    later = np.concatenate([change, [np.iinfo(np.int64).max]])[slow + 1]
    return bool(np.all(np.where(rises, settled >= earlier, settled < later)))
