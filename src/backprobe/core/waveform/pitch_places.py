"""Places of a wheel's edges in pitches, from the times between them.

Most times are one pitch long, so the median of the times near by is a pitch, which follows a
changing speed. A place without a tooth makes a time of two or more pitches; an edge between two
teeth divides a pitch.
"""

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

Array: TypeAlias = NDArray[np.float64]

# Times that the local pitch is the median of: two gaps with one tooth between leave a majority.
_PITCH_WINDOW: Final = 5
# A time is a whole number of pitches if it is this near to one, in pitches.
_NEAR: Final = 0.3
# A time shorter than this, in pitches, has no tooth at one of its ends: no tooth is displaced by so
# much.
_SHORT: Final = 0.6
_DISPLACED: Final = 0.4


def pitch_places(edges: Array) -> tuple[Array, float]:
    """Place of each edge in pitches from the first.

    Parameters
    ----------
    edges : ndarray, shape (n_edge,)
        Instants, s, rising; two or more.

    Returns
    -------
    place : ndarray, shape (n_edge,)
        Places; a fraction is an edge between two teeth.
    share : float
        Share of the times that fit a whole number of pitches.

    Raises
    ------
    Nothing
        Times without a pitch give a small share.

    Notes
    -----
    A time much shorter than a pitch ends or begins at an edge between two teeth: it makes a whole
    number of pitches with the time before or after it, whichever fits better.
    """
    times = np.diff(edges)  # (n_edge - 1,), s
    pitch = median_filter(times, size=_PITCH_WINDOW, mode="mirror")
    share = [*(times / pitch).tolist(), 1.0, 1.0]  # two more to look ahead to
    place = [0.0]
    n_fit = number = 0
    while number < times.size:
        here, after, then = share[number : number + 3]
        whole = place[-1]
        if number + 1 < times.size and _belong_together(here, after, then):
            pitches = max(1, round(here + after))
            place += [whole + _between(here, after, pitches), whole + pitches]
            n_fit += 2 * _fits(here + after)
            number += 2
        else:
            place.append(whole + max(1, round(here)))
            n_fit += _fits(here)
            number += 1
    return np.array(place), n_fit / times.size


def _belong_together(here: float, after: float, then: float) -> bool:
    if here < _SHORT or _is_divided_gap(here, after):
        return True
    if after >= _SHORT:
        return False
    return _off(here + after) + _off(then) < _off(here) + _off(after + then)


def _is_divided_gap(here: float, after: float) -> bool:
    """Tell whether an edge divides a longer time so that neither part is a number of pitches."""
    apart = min(_off(here), _off(after))
    return min(here, after) > 1.0 and apart > _NEAR and _off(here + after) < apart


def _between(here: float, after: float, pitches: int) -> float:
    """Place of the edge within the joint time: a displaced tooth's own place, else a fraction."""
    if _off(here) < _DISPLACED and here > 1.0 and after > 1.0:
        return float(min(round(here), pitches - 1))
    return here / (here + after) * pitches


def _off(pitches: float) -> float:
    """Departure from the nearest whole number of pitches, one at least."""
    return abs(pitches - max(1, round(pitches)))


def _fits(pitches: float) -> bool:
    return _off(pitches) <= _NEAR * max(1.0, 0.5 * round(pitches))


def marks_between(place: Array) -> tuple[Array, Array]:
    """Whole places without an edge, and edges between whole places.

    Parameters
    ----------
    place : ndarray, shape (n_edge,)
        Places in pitches, from `pitch_places`.

    Returns
    -------
    missing, extra : ndarray
        Places, pitches.

    Raises
    ------
    Nothing
        All places may be filled.
    """
    is_whole = place == np.round(place)
    present = place[is_whole]
    missing = np.setdiff1d(np.arange(place[-1] + 1.0), present)
    return missing, place[~is_whole]
