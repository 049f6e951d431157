"""Where a signal turns back by more than a given amount."""

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]

# More samples than this place a turning point no better than it matters here.
_MAX_SAMPLES: Final = 20_000


def turning_points(values: Array, least: float) -> list[int]:
    """Samples at which the values turn back by more than a given amount.

    Parameters
    ----------
    values : ndarray, shape (n_samp,)
        Any unit; n_samp >= 1.
    least : float
        How far they must go back, same unit, > 0.

    Returns
    -------
    list of int
        Places of the extremes, highs and lows in turn. Long records are thinned before.

    Raises
    ------
    Nothing
        NaN is never an extreme.
    """
    step = max(1, values.size // _MAX_SAMPLES)
    thinned = values[::step].tolist()
    found: list[int] = []
    high = low = thinned[0]
    at_high = at_low = 0
    direction = 0  # 0 = not known yet
    for place, value in enumerate(thinned):
        if value > high:
            high, at_high = value, place
        if value < low:
            low, at_low = value, place
        if direction >= 0 and high - value > least:
            if direction:
                found.append(at_high * step)
            direction, low, at_low, high = -1, value, place, value
        elif direction <= 0 and value - low > least:
            if direction:
                found.append(at_low * step)
            direction, high, at_high, low = 1, value, place, value
    return found
