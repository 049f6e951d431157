"""How many independent values a logged series is worth: neighbours in time resemble each other."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]


def effective_samples(values: Array) -> float:
    """Number of independent values with the same uncertainty of the mean.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In the order in which they were logged.

    Returns
    -------
    float
        From 1 to n; n where all are equal, since the mean is then as sure as its resolution.

    Notes
    -----
    n / (1 + 2 sum rho_k), summed while pairs of neighbouring autocorrelations stay above zero
    [geyer1992, section 3.3, initial positive sequence]. Negative sums don't raise it above n.
    """
    n = len(values)
    centred = values - values.mean() if n else values
    power = float(centred @ centred)
    if n < 4 or power <= 0.0:
        return float(max(n, 1))
    # By the transform, padded so that the ends don't meet.
    spectrum = np.abs(np.fft.rfft(centred, 2 * n)) ** 2
    rho = np.fft.irfft(spectrum)[:n] / power
    n_pair = (n - 1) // 2
    pairs = rho[1 : 2 * n_pair : 2] + rho[2 : 2 * n_pair + 1 : 2]
    stop = np.flatnonzero(pairs <= 0.0)
    total = pairs[: stop[0] if stop.size else len(pairs)].sum()
    return float(np.clip(n / (1.0 + 2.0 * max(total, 0.0)), 1.0, n))
