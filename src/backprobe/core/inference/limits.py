"""Coordinates whose value stands at a limit that physics sets, such as a share of time of 0 or 1.

Beyond the point where a value reaches its limit, its coordinate changes nothing any more. A fit
has to know that: a step further out gains nothing, and the probability of all that lies beyond is
that of the tail, not of a bell around the point.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, base_index
from backprobe.core.inference.prior import PriorTable, to_values

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def limit_side(rows: HypothesisTable, layout: Layout, z: Array) -> IntArray:
    """Which coordinates are at or beyond a limit of their value, and on which side.

    Parameters
    ----------
    rows : HypothesisTable
        M hypotheses.
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)

    Returns
    -------
    ndarray of int, shape (M, n_z)
        1 at the highest value, -1 at the lowest, 0 between. A coordinate that several states
        share counts only where all of them are at the limit.
    """
    side = np.zeros(z.shape, dtype=np.int64)
    side[:, : layout.n_free] = _side(rows.static, z[:, : layout.n_free])
    row = np.arange(len(z))[:, None]
    for state in layout.states:
        prior = rows.driven_prior.in_states(np.array(state))
        at = base_index(rows, layout, state)
        own = at == layout.base(state).start + np.arange(layout.n_driven)
        here = _side(prior, z[row, at])
        side[row, at] = np.where(own | (side[row, at] == here), here, 0)
    return side


def _side(prior: PriorTable, z: Array) -> IntArray:
    value, slope = to_values(prior, z)
    there = (slope > 0).astype(np.int64)
    return np.asarray(there * ((value >= prior.highest).astype(np.int64) - (value <= prior.lowest)))


def log_tail(side: IntArray, z: Array) -> Array:
    """What Laplace's evidence lacks of coordinates at a limit, summed, shape (M,).

    The tail's probability Phi(-|z|) instead of exp(-z^2 / 2), which counts a whole bell.
    """
    beyond = side * z
    return np.asarray(np.where(side != 0, log_ndtr(-beyond) + 0.5 * beyond**2, 0.0).sum(axis=1))
