"""How far up the truth stood in lists, the likeliest entry first.

Not in the bibliography, from memory: E. M. Voorhees, TREC-8 (1999) 77-82 (reciprocal rank).
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.scoring import Share, wilson_share
from backprobe.errors import ValueOutOfRange

IntArray: TypeAlias = NDArray[np.intp]


def mean_reciprocal_rank(positions: IntArray) -> float:
    """Mean of one over the place at which the truth stood in each list.

    Parameters
    ----------
    positions : ndarray of int, shape (n,)
        Place of the truth in each list, from 1; 0 = not in the list, which counts as 0.

    Returns
    -------
    float
        1 where the truth always stood first.

    Raises
    ------
    ValueOutOfRange
        No list, or a negative place.

    Notes
    -----
    Voorhees 1999, section 3.
    """
    place = _require_positions(positions)
    return float(np.mean(np.divide(1.0, place, out=np.zeros(place.size), where=place > 0)))


def top_share(positions: IntArray, k: int, confidence: float = 0.95) -> Share:
    """Share of lists with the truth among their first ``k`` entries.

    Parameters
    ----------
    positions : ndarray of int, shape (n,)
        As for `mean_reciprocal_rank`.
    k : int
        Entries looked at, 1 or more.
    confidence : float
        Level of the Wilson interval.

    Returns
    -------
    Share
        The share and its limits.

    Raises
    ------
    ValueOutOfRange
        No list, a negative place, or ``k`` below 1.
    """
    place = _require_positions(positions)
    if k < 1:
        raise ValueOutOfRange(
            f"the first {k} entries hold nothing.",
            where="places in a list",
            remedy="Look at one entry or more.",
        )
    return wilson_share(int(((place > 0) & (place <= k)).sum()), place.size, confidence)


def _require_positions(positions: IntArray) -> IntArray:
    place: IntArray = np.asarray(positions, dtype=np.intp)
    if place.ndim != 1 or not place.size or place.min() < 0:
        raise ValueOutOfRange(
            "places have to be a list of whole numbers from 0 on, with one entry at least.",
            where="places in a list",
            remedy="Count from 1 and give 0 where the truth was not in the list.",
        )
    return place
