"""Coordinates whose value stands at a limit that physics sets, such as a share of time of 0 or 1.

Beyond the point where a value reaches its limit, its coordinate changes nothing any more. A fit
has to know that: a step further out gains nothing, and the probability of all that lies beyond is
that of the tail, not of a bell around the point.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from backprobe.core.inference.prior import to_values
from backprobe.core.inference.round_values import RoundPlan

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def limit_side(plan: RoundPlan, z: Array) -> IntArray:
    """Which coordinates are at or beyond a limit of their value, and on which side.

    Parameters
    ----------
    plan : RoundPlan
        Of M hypotheses.
    z : ndarray, shape (M, n_z)

    Returns
    -------
    ndarray of int, shape (M, n_z)
        1 at the highest value, -1 at the lowest, 0 between. A coordinate that several states
        share counts only where all of them are at the limit.
    """
    prior, at = plan.prior, plan.at.ravel()
    value, slope = to_values(prior, z.ravel().take(plan.at))
    side = np.where(slope > 0, (value >= prior.highest) * 1.0 - (value <= prior.lowest), 0.0)
    total = np.bincount(at, weights=side.ravel(), minlength=z.size)
    agreed = np.abs(total) == np.bincount(at, minlength=z.size)
    return np.where(agreed, total, 0.0).astype(np.int64).reshape(z.shape)


def log_tail(side: IntArray, z: Array) -> Array:
    """What Laplace's evidence lacks of coordinates at a limit, summed, shape (M,).

    The tail's probability Phi(-|z|) instead of exp(-z^2 / 2), which counts a whole bell.
    """
    beyond = side * z
    return np.asarray(np.where(side != 0, log_ndtr(-beyond) + 0.5 * beyond**2, 0.0).sum(axis=1))
