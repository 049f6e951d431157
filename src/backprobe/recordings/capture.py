"""What an oscilloscope recorded: channels on one time base."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class CaptureChannel:
    """One channel of a capture.

    Parameters
    ----------
    name : str
        As the file has it, or "channel 1" where it has none.
    unit : str
        Unit of the samples after conversion to one without prefix: "V", "A", ...; "" unknown.
    samples : ndarray, shape (n_samp,)
        float32 or float64; NaN where nothing was recorded.
    """

    name: str
    unit: str
    samples: NDArray[np.floating]


@dataclass(frozen=True, eq=False)
class Capture:
    """Channels on one time base.

    Parameters
    ----------
    channels : tuple of CaptureChannel
        At least one, all of one length.
    interval : float
        Time from sample to sample, s, > 0; the mean one where ``times`` is given.
    start : float
        Instant of the first sample, s, from the file's own zero (often its trigger).
    times : ndarray, shape (n_samp,), or None
        Instants, s, rising, where samples are not evenly spaced; None where they are.
    source : str
        Name of the file.
    remarks : tuple of str
        What the reader had to leave out or assume, as whole sentences.
    """

    channels: tuple[CaptureChannel, ...]
    interval: float
    start: float = 0.0
    times: NDArray[np.float64] | None = None
    source: str = ""
    remarks: tuple[str, ...] = ()
