"""Kernels wide enough that few samples stand for what lies between them.

A sample of a posterior predicts scattered numbers where the truth is a smooth density; taken with
the meter's uncertainty alone, each would be a peak of its own, and readings of different answers
would never meet. Each prediction is therefore widened to the distance of its k-th neighbour among
those of the same answer, k growing with the root of their number (variable kernels: Breiman,
Meisel and Purcell, Technometrics 19 (1977) 135-144; from memory). Where an answer's readings lie in
groups far apart, each group keeps its own width.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Found by trial on three connectors: 150 samples with these two agree within a tenth with 2560.
NEIGHBOUR_SHARE = 0.5  # k as a share of the root of the number of samples
DEVIATION_SHARE = 1.0 / 1.5  # standard deviation of the kernel as a share of that distance


def widened(question: IntArray, predicted: Array, uncertainty: Array) -> Array:
    """Uncertainties of predictions (n_candidate, n_samp), widened within each answer.

    ``question`` is the answer of each sample, (n_samp,); NaN predictions keep their uncertainty.
    """
    wide = uncertainty.copy()
    for answer in np.unique(question):
        own = np.flatnonzero(question == answer)
        if own.size > 1:
            distance = _to_neighbour(predicted[:, own])
            wide[:, own] = np.hypot(uncertainty[:, own], DEVIATION_SHARE * distance)
    return wide


def _to_neighbour(predicted: Array) -> Array:
    """Distance of each number to the k-th one above or below it in its row, the nearer of both."""
    n_samp = predicted.shape[1]
    k = int(np.ceil(NEIGHBOUR_SHARE * np.sqrt(n_samp)))
    order = np.argsort(predicted, axis=1)  # NaN last
    rising = np.take_along_axis(predicted, order, axis=1)
    gap = rising[:, k:] - rising[:, :-k]  # NaN where the upper one is no number
    distance = np.full(predicted.shape, np.inf)
    distance[:, :-k] = np.where(np.isnan(gap), np.inf, gap)
    distance[:, k:] = np.fmin(distance[:, k:], gap)
    distance[np.isinf(distance)] = 0.0  # fewer numbers than that: nothing to go by
    back = np.empty_like(distance)
    np.put_along_axis(back, order, distance, axis=1)
    return back
