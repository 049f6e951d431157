"""Bits that each candidate reading is expected to tell about the open question."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.information import expected_information_of_readings
from backprobe.core.inference.likelihood import HIDDEN, NOTHING_COUNTED
from backprobe.services.candidate import Candidates
from backprobe.services.foresight import Foresight
from backprobe.services.open_question import Question
from backprobe.services.smoothing import widened

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_CELL = 32
MISCOUNTED = 0.5 * (HIDDEN + 1.0 - NOTHING_COUNTED)
# Probability of answers too rare to be told apart from which on they hide what readings tell.
MOST_TOGETHER = 0.1
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
    readings = candidates.readings
    bits = _bits(np.arange(len(readings)), candidates, question.label, weight, foresight)
    together = question.label == len(question.claims)
    if float(weight[together].sum()) <= MOST_TOGETHER:
        return bits
    at = np.array([c.at if c.other < 0 else -1 for c in readings])
    for t in np.unique(at[at >= 0]):
        rows = np.flatnonzero(at == t)
        if np.ptp(question.role[:, t]) > 0:
            of_role = _bits(rows, candidates, question.role[:, t], weight, foresight)
            bits[rows] = np.maximum(bits[rows], of_role)
    return bits


def _bits(
    rows: IntArray, candidates: Candidates, answer: IntArray, weight: Array, foresight: Foresight
) -> Array:
    """Expected information of some candidates about the answer of each sample, bit."""
    _, label = np.unique(answer, return_inverse=True)
    predicted = foresight.predicted[rows]
    uncertainty = widened(label, predicted, foresight.uncertainty[rows])
    quantities = [candidates.readings[k].quantity for k in rows]
    counted = np.isin(quantities, list(STRAY))
    bits = np.zeros(rows.size)
    plain = np.flatnonzero(~counted)
    bits[plain] = _information(weight, label, predicted[plain], uncertainty[plain])
    some = np.flatnonzero(counted & np.isfinite(predicted).any(axis=1))  # others never show any
    if some.size:
        stray = np.array([STRAY[quantities[k]] for k in some])
        bits[some] = _of_counts(weight, label, predicted[some], uncertainty[some], stray)
    return bits


def _of_counts(
    weight: Array, label: IntArray, predicted: Array, uncertainty: Array, stray: Array
) -> Array:
    """Information of readings that now and then show a number where none belongs, or none.

    Each sample counts twice: as it should show, and as it shows now and then. ``stray`` holds
    middle and spread of the numbers that do not belong, (n_candidate, 2).
    """
    number = np.isfinite(predicted)
    middle, spread = stray[:, :1], stray[:, 1:]
    return _information(
        np.concatenate([weight * (1.0 - MISCOUNTED), weight * MISCOUNTED]),
        np.concatenate([label, label]),
        np.hstack([predicted, np.where(number, np.nan, middle)]),
        np.hstack([uncertainty, np.broadcast_to(spread, predicted.shape)]),
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
