"""What every reader of a recording offers: channels known at once, samples block by block."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class ChannelHead:
    """A channel before its samples are read.

    Parameters
    ----------
    name : str
        As the file has it, or "channel 1" where it has none.
    unit : str
        Without prefix: "V"; "" unknown.
    is_double : bool
        Whether its samples need float64; else float32 holds them exactly.
    """

    name: str
    unit: str = ""
    is_double: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Some samples in a row.

    Parameters
    ----------
    samples : tuple of ndarray, shape (n_samp,)
        One a channel, float32 or float64.
    times : ndarray, shape (n_samp,), or None
        Instants, s; None where the interval is known.
    share : float
        Share of the file that has been read, 0 to 1.
    """

    samples: tuple[NDArray[np.floating], ...]
    times: NDArray[np.float64] | None
    share: float


class Source(Protocol):
    """A recording that is open for reading, more than once from its start.

    Attributes
    ----------
    channels : tuple of ChannelHead
        At least one.
    interval : float or None
        Time from sample to sample, s; None where the blocks carry times.
    start : float
        Instant of the first sample, s, where the interval is known.
    time_resolution : float
        Step in which the file writes its times, s; 0 where it isn't known.
    is_uneven : bool
        The file tells that samples aren't evenly spaced, however its times look.
    remarks : list of str
        Grows while blocks are read; complete after the last one.
    """

    channels: tuple[ChannelHead, ...]
    interval: float | None
    start: float
    time_resolution: float
    is_uneven: bool
    remarks: list[str]

    def blocks(self, *, only_times: bool = False) -> Iterator[Block]:
        """Read from the start; ``only_times`` leaves ``samples`` empty."""
        ...
