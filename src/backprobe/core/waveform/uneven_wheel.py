"""A wheel of a few uneven vanes, as on camshafts: no pitch, but a pattern that comes back.

The time from one edge to the same edge a turn later is a turn, whatever the vanes; so each edge's
share of a turn comes back turn after turn, although the speed changes.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.toothed_wheel import require_rising

Array: TypeAlias = NDArray[np.float64]

_MAX_VANES: Final = 24
# Turns that must be in sight: a pattern that came back twice may be chance.
MIN_TURNS: Final = 3.0
# Shares of a turn come back within this, as a standard deviation: speed changes within a turn take
# part of it.
_SAME: Final = 0.02
# The shares themselves must differ more: otherwise the vanes are even.
_DIFFERENT: Final = 3.0


class UnevenVerdict(Enum):
    """What the edges turned out to be."""

    REPEATS = "uneven vanes that come back each turn"
    EVEN = "even: no vane differs from another"
    NO_PATTERN = "nothing comes back"
    TOO_SHORT = "too short to tell"


@dataclass(frozen=True, eq=False)
class UnevenWheel:
    """A wheel of uneven vanes.

    Parameters
    ----------
    verdict : UnevenVerdict
        Whether a pattern comes back.
    n_vane : int
        Edges to a turn; 0 where none is told. A wheel that is alike several times a turn shows the
        least part of it that comes back.
    share : ndarray, shape (n_vane,)
        Time from each edge to the next, share of a turn, mean over all turns, the longest last.
    uncertainty : ndarray, shape (n_vane,)
        Standard uncertainty of each from the scatter between turns.
    instants : ndarray, shape (n,)
        Middle of each turn that a speed is given for, s.
    speed_rpm : ndarray, shape (n,)
        Speed of this wheel, per minute: half of the crank's for a camshaft.
    """

    verdict: UnevenVerdict
    n_vane: int
    share: Array
    uncertainty: Array
    instants: Array
    speed_rpm: Array


def uneven_wheel(instants: Array) -> UnevenWheel:
    """Find the pattern of a wheel of uneven vanes.

    Parameters
    ----------
    instants : ndarray, shape (n_edge,)
        Instants of edges of one slope, s.

    Returns
    -------
    UnevenWheel
        Vanes, their shares and the speed.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or aren't finite.
    """
    edges = require_rising(instants, "uneven wheel")
    times = np.diff(edges)
    if times.size < 2 * MIN_TURNS:
        return _nothing(UnevenVerdict.TOO_SHORT)
    # One tooth a turn fits what an even wheel shows: the change from one time to the next.
    if _scatter(edges, 1) < 2.0 * _SAME:
        return _nothing(UnevenVerdict.EVEN)
    longest = min(_MAX_VANES, int(times.size / MIN_TURNS))
    for n_vane in range(2, longest + 1):
        shares = _shares(edges, n_vane)  # (n_turn, n_vane)
        within = float(np.sqrt(shares.var(axis=0, ddof=1).mean()))
        between = float(shares.mean(axis=0).std())
        if within < _SAME * np.sqrt(2.0 / n_vane) and between > _DIFFERENT * within:
            return _told(edges, shares, n_vane)
    is_long = times.size >= MIN_TURNS * _MAX_VANES
    return _nothing(UnevenVerdict.NO_PATTERN if is_long else UnevenVerdict.TOO_SHORT)


def _nothing(verdict: UnevenVerdict) -> UnevenWheel:
    none = np.zeros(0)
    return UnevenWheel(verdict, 0, none, none, none, none)


def _scatter(edges: Array, n_vane: int) -> float:
    """Usual change of the turn's time from one turn to the next, as a share."""
    turn = edges[n_vane:] - edges[:-n_vane]
    return float(np.median(np.abs(np.diff(np.log(turn)))))


def _shares(edges: Array, n_vane: int) -> Array:
    """Each time over the turn that it lies in the middle of, one row a turn."""
    n_turn = (edges.size - 1) // n_vane
    times = np.diff(edges)[: n_turn * n_vane].reshape(n_turn, n_vane)
    return np.asarray(times / times.sum(axis=1, keepdims=True))


def _told(edges: Array, shares: Array, n_vane: int) -> UnevenWheel:
    mean = shares.mean(axis=0)
    doubt = shares.std(axis=0, ddof=1) / np.sqrt(shares.shape[0])
    turn = -(int(np.argmax(mean)) + 1)  # the longest goes to the end
    times = edges[n_vane:] - edges[:-n_vane]
    return UnevenWheel(
        UnevenVerdict.REPEATS,
        n_vane,
        np.roll(mean, turn),
        np.roll(doubt, turn),
        0.5 * (edges[n_vane:] + edges[:-n_vane]),
        60.0 / times,
    )
