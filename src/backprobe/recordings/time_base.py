"""Whether instants are evenly spaced: found in one pass, whatever the number of samples."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError

JITTER: Final = 0.01
"""Instants within this share of the interval from an even comb count as even: what a time base of a
recorder may wander without moving any edge by more than it (this project's choice)."""

_OFFSETS: Final = np.linspace(-1.0, 1.0, 7)  # of the comb from the first instant, in tolerances
_MARGIN: Final = 7 / 6  # the true offset may lie half a step from the nearest of these

_SAME_TIMES: Final = (
    "Neighbouring samples carry the same time since it is written with few digits;"
    " the samples are taken as evenly spaced."
)
_EPSILON: Final = 8 * np.finfo(np.float64).eps


@dataclass(frozen=True, slots=True)
class TimeBase:
    """What is known of the instants of a recording.

    Parameters
    ----------
    n_sample : int
        How many there are.
    start : float
        The first one, s.
    interval : float
        From one to the next, s; the mean one where they aren't evenly spaced.
    is_even : bool
        Whether they are.
    remarks : tuple of str
        What was assumed.
    """

    n_sample: int
    start: float
    interval: float
    is_even: bool
    remarks: tuple[str, ...] = ()


class TimeBaseFinder:
    """Takes instants block by block.

    An even comb ``a + i d`` that passes each instant within a tolerance exists where, for some
    ``a`` near the first instant, the slopes that the single instants allow have a common part.

    Parameters
    ----------
    resolution : float
        Step in which the times are written, s; 0 where it isn't known.
    file_name : str
        For errors.
    is_uneven : bool
        The file tells that its samples aren't evenly spaced, however they look.
    """

    def __init__(self, resolution: float, file_name: str, *, is_uneven: bool = False) -> None:
        self._is_uneven = is_uneven
        self._resolution = resolution
        self._file_name = file_name
        self._n = 0
        self._first = self._last = 0.0
        self._tolerance = 0.0
        self._low = np.full(_OFFSETS.size, -np.inf)  # of the slope, for each offset
        self._high = np.full(_OFFSETS.size, np.inf)
        self._stuck_at = 0  # row that isn't later than the one before it, counted from one
        self._stuck = (0.0, 0.0)

    def add(self, times: NDArray[np.float64]) -> None:
        """Take further instants, s.

        Raises
        ------
        RecordingError
            One isn't a number.
        """
        unknown = np.flatnonzero(~np.isfinite(times))
        if unknown.size:
            raise RecordingError(
                f"The time of sample {self._n + int(unknown[0]) + 1} isn't a number.",
                where=self._file_name,
                remedy="Give the interval between samples instead.",
            )
        if times.size == 0:
            return
        self._note_stuck(times)
        joined = times
        if self._n == 0:
            self._first = float(times[0])
        if self._n == 1:
            joined = np.concatenate([[self._first], times])
        if self._n < 2 <= joined.size:
            mean = float(joined[-1] - joined[0]) / (joined.size - 1)
            self._tolerance = max(JITTER * mean, 0.51 * self._resolution)
        if self._n + times.size >= 2:
            self._narrow(joined, self._n + times.size - joined.size)
        self._n += times.size
        self._last = float(times[-1])

    def _narrow(self, times: NDArray[np.float64], before: int) -> None:
        """Leave the slopes that these instants allow as well; ``before`` have come before them."""
        own = slice(1 if before == 0 else 0, None)  # the first instant allows any slope
        per_index = 1.0 / np.arange(before, before + times.size, dtype=np.float64)[own]
        rounding = _EPSILON * max(abs(self._first), float(np.abs(times).max()))
        allowed = self._tolerance + rounding
        slopes = (times[own] - self._first) * per_index
        for at, offset in enumerate(_OFFSETS):
            below, above = (offset + _MARGIN) * allowed, (offset - _MARGIN) * allowed
            self._low[at] = max(self._low[at], float((slopes - below * per_index).max()))
            self._high[at] = min(self._high[at], float((slopes - above * per_index).min()))

    def _note_stuck(self, times: NDArray[np.float64]) -> None:
        if self._stuck_at:
            return
        before = times[0] - 1.0 if self._n == 0 else self._last
        steps = np.diff(times, prepend=before)
        stuck = np.flatnonzero(steps <= 0.0)
        if stuck.size:
            at = int(stuck[0])
            self._stuck_at = self._n + at + 1
            self._stuck = (float(times[at - 1]) if at else float(before), float(times[at]))

    def found(self) -> TimeBase:
        """Tell what all instants together are.

        Raises
        ------
        RecordingError
            There are fewer than two, or they don't rise.
        """
        if self._n < 2:
            raise RecordingError(
                "There is only one sample." if self._n else "There are no samples with a time.",
                where=self._file_name,
                remedy="A capture needs two or more; export the whole recording.",
            )
        interval = (self._last - self._first) / (self._n - 1)
        is_even = bool((self._low <= self._high).any()) and interval > 0.0
        is_even &= not self._is_uneven
        if not is_even and self._stuck_at:
            raise self._not_rising()
        if not is_even:
            return TimeBase(self._n, self._first, interval, is_even=False)
        remarks = (_SAME_TIMES,) if self._stuck_at else ()
        return TimeBase(self._n, self._first, self._round(interval), is_even=True, remarks=remarks)

    def _round(self, interval: float) -> float:
        """The interval with the fewest digits that explain the first and the last instant."""
        largest = max(abs(self._first), abs(self._last))
        off = (0.51 * self._resolution + 2.0 * _EPSILON * largest) / (self._n - 1)
        for digits in range(1, 17):
            rounded = float(f"{interval:.{digits}g}")
            if rounded > 0.0 and abs(rounded - interval) <= off:
                return rounded
        return interval

    def _not_rising(self) -> RecordingError:
        before, after = self._stuck
        how = "goes back" if after < before else "stands still"
        return RecordingError(
            f"The time {how} at sample {self._stuck_at}: {after:.9g} s after {before:.9g} s.",
            where=self._file_name,
            remedy="Cut the file there if it holds several recordings, or give the interval"
            " between samples instead of the time column.",
        )
