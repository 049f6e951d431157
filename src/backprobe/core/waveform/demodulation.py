"""Frequency and duty of a switching signal against time.

For sensors that tell their value by frequency (air mass, pressure) or by duty. A cycle runs from
one rising edge to the next; a cycle without exactly one falling edge, or much longer than those
near by, is a gap and not a low frequency.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from backprobe.core.waveform.toothed_wheel import require_rising
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

_MIN_CYCLES: Final = 4
_NEAR_BY: Final = 9
# A cycle this many times as long as those near by is a gap. No sensor slows down so much at once.
_GAP_FACTOR: Final = 1.8
# Above this share of cycles that jump, the edges don't tell a frequency.
_JUMP_SHARE: Final = 0.1
_JUMP: Final = 0.25
# Gaps of a wheel come after equal numbers of cycles.
_EVEN_GAPS: Final = 3


class ModulationVerdict(Enum):
    """What the switching says."""

    CLEAR = "frequency and duty told throughout"
    GAPS = "frequency told, with gaps"
    EVEN_GAPS = "gaps that come evenly, as on a toothed wheel"
    IRREGULAR = "cycles too uneven to tell a frequency: pulses carry something else"
    TOO_SHORT = "too short to tell"


@dataclass(frozen=True)
class ModulationGap:
    """A stretch without the expected edges.

    Parameters
    ----------
    start, stop : float
        Edges around it, s.
    cycles : float
        How many cycles of the frequency near by would have fitted in.
    """

    start: float
    stop: float
    cycles: float


@dataclass(frozen=True, eq=False)
class Modulation:
    """Frequency and duty against time.

    Parameters
    ----------
    verdict : ModulationVerdict
        Whether there is a frequency.
    instants : ndarray, shape (n,)
        Middle of each group of cycles, s.
    frequency : ndarray, shape (n,)
        Mean frequency of the group, Hz.
    duty : ndarray, shape (n,)
        Share of time at the high level in the group, 0 to 1.
    frequency_uncertainty : float
        Standard uncertainty of one value from the unevenness of neighbouring cycles, Hz.
    gaps : tuple of ModulationGap
        Where edges are missing.
    """

    verdict: ModulationVerdict
    instants: Array
    frequency: Array
    duty: Array
    frequency_uncertainty: float
    gaps: tuple[ModulationGap, ...]


def demodulated(rising: Array, falling: Array, n_cycle: int = 1) -> Modulation:
    """Find frequency and duty against time.

    Parameters
    ----------
    rising, falling : ndarray, shape (n_rising,), (n_falling,)
        Instants of the edges, s, each rising.
    n_cycle : int
        Cycles that each value is the mean of, 1 or more; no group reaches across a gap.

    Returns
    -------
    Modulation
        One value for each cycle that begins a whole group.

    Raises
    ------
    ValueOutOfRange
        The instants don't rise, or there are no cycles to group.
    """
    up = require_rising(rising, "frequency")
    down = require_rising(falling, "frequency")
    if n_cycle < 1:
        raise ValueOutOfRange(
            f"a mean of {n_cycle} cycles doesn't exist.", remedy="Take 1 or more."
        )
    if up.size < _MIN_CYCLES + 1 or down.size < _MIN_CYCLES:
        return _nothing(ModulationVerdict.TOO_SHORT)
    period = np.diff(up)  # (n_rising - 1,), s
    usual = median_filter(period, size=_NEAR_BY, mode="mirror")
    first_fall = np.searchsorted(down, up[:-1], side="right")
    n_fall = np.searchsorted(down, up[1:], side="left") - first_fall
    is_gap = (period > _GAP_FACTOR * usual) | (n_fall != 1)
    jumps = np.abs(period / usual - 1.0) > _JUMP
    if np.mean(jumps & ~is_gap) > _JUMP_SHARE or np.mean(is_gap) > 0.4:
        return _nothing(ModulationVerdict.IRREGULAR)
    high = np.where(is_gap, 0.0, down[np.minimum(first_fall, down.size - 1)] - up[:-1])
    instants, frequency, duty = _grouped(up, high, is_gap, n_cycle)
    gaps = tuple(
        ModulationGap(float(up[i]), float(up[i + 1]), float(period[i] / usual[i]))
        for i in np.flatnonzero(is_gap)
    )
    doubt = _unevenness(period, is_gap) * float(np.sqrt(2.0)) / n_cycle
    mean = float(frequency.mean()) if frequency.size else float("nan")
    return Modulation(_verdict(is_gap), instants, frequency, duty, mean**2 * doubt, gaps)


def _nothing(verdict: ModulationVerdict) -> Modulation:
    none = np.zeros(0)
    return Modulation(verdict, none, none, none, float("nan"), ())


def _verdict(is_gap: NDArray[np.bool_]) -> ModulationVerdict:
    places = np.flatnonzero(is_gap)
    if not places.size:
        return ModulationVerdict.CLEAR
    between = np.diff(places)
    if between.size >= _EVEN_GAPS - 1 and np.ptp(between) == 0 and between[0] > 1:
        return ModulationVerdict.EVEN_GAPS
    return ModulationVerdict.GAPS


def _grouped(
    up: Array, high: Array, is_gap: NDArray[np.bool_], n_cycle: int
) -> tuple[Array, Array, Array]:
    n_group = high.size - n_cycle + 1
    if n_group < 1:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    gaps_before = np.concatenate([[0], np.cumsum(is_gap)])
    high_before = np.concatenate([[0.0], np.cumsum(high)])
    first = np.arange(n_group)
    first = first[gaps_before[first + n_cycle] == gaps_before[first]]
    span = up[first + n_cycle] - up[first]
    duty = (high_before[first + n_cycle] - high_before[first]) / span
    return up[first] + 0.5 * span, n_cycle / span, duty


def _unevenness(period: Array, is_gap: NDArray[np.bool_]) -> float:
    """Standard deviation of an edge's instant, s, from second differences of the edges.

    Edges e with independent errors give periods whose differences e[i+2] - 2 e[i+1] + e[i] have
    six times the variance of one; a steady change of frequency drops out. The median keeps single
    jumps out (1.4826 makes it a standard deviation for normal errors).
    """
    ok = ~is_gap[1:] & ~is_gap[:-1]
    second = np.diff(period)[ok]
    if not second.size:
        return float("nan")
    return 1.4826 * float(np.median(np.abs(second))) / float(np.sqrt(6.0))
