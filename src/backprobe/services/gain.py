"""Bits that each candidate reading is expected to tell about the open question."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.information import expected_information_of_readings
from backprobe.core.inference.likelihood import HIDDEN, NOTHING_COUNTED
from backprobe.services.candidate_readings import Candidates
from backprobe.services.foresight import Foresight
from backprobe.services.open_question import Question
from backprobe.services.smoothing import widened

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_CELL = 32
MISCOUNTED = 0.5 * (HIDDEN + 1.0 - NOTHING_COUNTED)
ALIKE = 0.1  # readings that lie within this share of an uncertainty are the same
# What a meter shows that should count nothing but does: middle and spread of log Hz, of a share.
STRAY = {"hertz": (4.5, 3.0), "duty_percent": (0.5, 0.3)}


def expected_bits(
    candidates: Candidates, question: Question, weight: Array, foresight: Foresight
) -> Array:
    """Expected information of every candidate, bit, (n_candidate,).

    About the whole question, or about the role of the terminal that is measured where that is
    more: with many wires open, few samples hold too many answers to tell them all apart, and what
    is told of a part is told of the whole.
    """
    bits = _bits(candidates, question.label, weight, foresight)
    at = np.array([c.at if c.other < 0 else -1 for c in candidates.readings])
    for t in np.unique(at[at >= 0]):
        rows = np.flatnonzero(at == t)
        if np.ptp(question.role[:, t]) > 0:
            bits[rows] = np.maximum(
                bits[rows], _bits(candidates, question.role[:, t], weight, foresight, rows)
            )
    return bits


def _bits(
    candidates: Candidates,
    answer: IntArray,
    weight: Array,
    foresight: Foresight,
    rows: IntArray | None = None,
) -> Array:
    """Expected information of some candidates about the answer of each sample, bit."""
    every = np.arange(len(candidates.readings)) if rows is None else rows
    _, label = np.unique(answer, return_inverse=True)
    predicted = foresight.predicted[every]
    uncertainty = widened(label, predicted, foresight.uncertainty[every])
    quantities = np.array([candidates.readings[k].quantity for k in every])
    bits = np.zeros(every.size)
    plain = np.flatnonzero(~np.isin(quantities, list(STRAY)))
    bits[plain] = _information(weight, label, predicted[plain], uncertainty[plain])
    for quantity, stray in STRAY.items():
        some = np.flatnonzero(quantities == quantity)
        some = some[np.isfinite(predicted[some]).any(axis=1)]  # else it never shows a number
        if some.size:
            bits[some] = _of_counts(weight, label, predicted[some], uncertainty[some], stray)
    return bits


def _of_counts(
    weight: Array, label: IntArray, predicted: Array, uncertainty: Array, stray: tuple[float, float]
) -> Array:
    """Information of readings that now and then show a number where none belongs, or none.

    Each sample counts twice: as it should show, and as it shows now and then.
    """
    number = np.isfinite(predicted)
    middle, spread = stray
    return _information(
        np.concatenate([weight * (1.0 - MISCOUNTED), weight * MISCOUNTED]),
        np.concatenate([label, label]),
        np.hstack([predicted, np.where(number, np.nan, middle)]),
        np.hstack([uncertainty, np.full(predicted.shape, spread)]),
    )


def _information(weight: Array, label: IntArray, predicted: Array, uncertainty: Array) -> Array:
    """Information of rows of predictions; none where all samples predict alike."""
    bits = np.zeros(len(predicted))
    number = np.isfinite(predicted)
    x = np.where(number, predicted, 0.0)
    mixed = number.any(axis=1) & ~number.all(axis=1)
    finest = np.where(number, uncertainty, np.inf).min(axis=1, initial=np.inf)
    rows = np.flatnonzero(mixed | (np.ptp(x, axis=1) > ALIKE * finest))
    if rows.size:
        bits[rows] = expected_information_of_readings(
            weight, label, predicted[rows], uncertainty[rows], n_cell=N_CELL
        )
    return bits
