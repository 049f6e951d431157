"""How much a reading would tell: entropy and mutual information, in bits.

The next reading is the one from which the open question is expected to lose most of its uncertainty
([lindley1956]; [dekleer1987]). Where the outcomes of a test can be listed, that is the
mutual information of a table. Where the outcome is a number on a meter, the readings predicted by
samples of each explanation are spread over cells of the display (module `outcome_cells`), and the
upward bias that a small number of samples gives to such a table is taken off.

Not in the bibliography: C. E. Shannon, Bell System Technical Journal 27 (1948) 379-423 (entropy);
G. A. Miller, in Information Theory in Psychology, Free Press 1955, 95-100 (bias for counts);
S. Panzeri, A. Treves, Network 7 (1996) 87-107 (bias of information). All from memory.
"""

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from backprobe.core.inference.outcome_cells import Sampled, spread_over_cells
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.intp]

_SUM_TOLERANCE = 1e-6
"""How far given probabilities may be from a sum of 1: they were added up in float64 somewhere."""

_CHUNK_NUMBERS = 1 << 15
"""Predictions that are worked on together: small arrays stay in the cache and cost no new pages."""


def entropy(probabilities: Array) -> Array:
    """Entropy of distributions, in bits.

    Parameters
    ----------
    probabilities : ndarray, shape (..., n)
        Probabilities >= 0; each distribution along the last axis sums to 1.

    Returns
    -------
    ndarray, shape (...)
        Entropy, bit; from 0 to log2 n.

    Raises
    ------
    ValueOutOfRange
        A probability is negative or NaN, or a sum is not 1.

    Notes
    -----
    Shannon 1948; [cover2006, (2.1)], with 0 log 0 = 0.
    """
    p = _require_distributions(probabilities, axes=(-1,))
    return _entropy_sum(p, axes=(-1,))


def mutual_information(joint: Array) -> Array:
    """Mutual information between the two variables of a table, in bits.

    Parameters
    ----------
    joint : ndarray, shape (..., n_row, n_column)
        Joint probabilities >= 0; each table sums to 1.

    Returns
    -------
    ndarray, shape (...)
        Mutual information, bit; never negative, never above either entropy.

    Raises
    ------
    ValueOutOfRange
        A probability is negative or NaN, a table does not sum to 1, or there is only one axis.

    Notes
    -----
    [cover2006, (2.45)]: H(row) + H(column) - H(row, column).
    """
    table: Array = np.asarray(joint, dtype=np.float64)
    if table.ndim < 2:
        raise ValueOutOfRange(
            f"a joint table needs two axes, this one has the shape {table.shape}.",
            where="joint probabilities",
            remedy="Give one row a value of the first variable, one column a value of the second.",
        )
    p = _require_distributions(table, axes=(-2, -1))
    by_row = _entropy_sum(p.sum(axis=-1), axes=(-1,))
    by_column = _entropy_sum(p.sum(axis=-2), axes=(-1,))
    both = _entropy_sum(p, axes=(-2, -1))
    # Rounding may leave -1e-16 where the variables are independent.
    return np.clip(by_row + by_column - both, 0.0, np.minimum(by_row, by_column))


def expected_information(question_weights: Array, outcome_probabilities: Array) -> Array:
    """Bits that a test is expected to tell about a question, its outcomes being listed.

    Parameters
    ----------
    question_weights : ndarray, shape (n_question,)
        Probability of each answer to the question, >= 0; any positive sum, it is scaled to 1.
    outcome_probabilities : ndarray, shape (..., n_question, n_outcome)
        Probability of each outcome of the test under each answer; each row sums to 1. Leading axes
        hold several candidate tests.

    Returns
    -------
    ndarray, shape (...)
        Expected information, bit: entropy of the answer before the test less its expected entropy
        after it.

    Raises
    ------
    ValueOutOfRange
        A weight or probability is negative or NaN, no weight is positive, a row does not sum to 1,
        or the numbers of answers differ.

    Notes
    -----
    [lindley1956, definition 2]; [dekleer1987, section 4], where it is written as an
    expected entropy.
    """
    weights = _require_weights(question_weights)
    outcomes = _require_distributions(outcome_probabilities, axes=(-1,))
    if outcomes.ndim < 2 or outcomes.shape[-2] != weights.size:
        raise ValueOutOfRange(
            f"{weights.size} answers have a weight, but outcomes have the shape {outcomes.shape}.",
            where="outcome probabilities",
            remedy="Give one row of outcomes an answer.",
        )
    joint: Array = weights[:, None] * outcomes
    return mutual_information(joint / joint.sum(axis=(-2, -1), keepdims=True))


def expected_information_of_readings(
    weights: Array,
    question: IntArray,
    predicted: Array,
    uncertainty: Array,
    *,
    n_cell: int = 40,
) -> Array:
    """Bits that meter readings are expected to tell about a question, from sampled predictions.

    Parameters
    ----------
    weights : ndarray, shape (n_samp,)
        Weight of each sample, >= 0; any positive sum, it is scaled to 1.
    question : ndarray of int, shape (n_samp,)
        Answer that each sample gives to the open question, 0, 1, 2 ...
    predicted : ndarray, shape (n_candidate, n_samp)
        Reading that each sample predicts for each candidate measurement, in any one unit a
        candidate; NaN = the meter shows no number ("OL"), which is an outcome of its own.
    uncertainty : ndarray, shape (n_candidate, n_samp)
        Standard uncertainty of that reading, same unit, >= 0; not looked at where the prediction
        is NaN.
    n_cell : int
        Cells for numbers, 2 or more. More cells cost time and bring more of the bias that has to
        be taken off.

    Returns
    -------
    ndarray, shape (n_candidate,)
        Expected information, bit; from 0 to the entropy of the question.

    Raises
    ------
    ValueOutOfRange
        Shapes do not fit, a weight is negative or NaN, no weight is positive, a label is negative,
        an uncertainty is negative or NaN, or ``n_cell`` is below 2.

    Notes
    -----
    The table of answers and cells, p, is a sum over samples of weight w times the share m of the
    sample's reading in the cell. Estimated from few samples it differs between answers by chance,
    and by a second-order expansion its information is too high by the sum of variance(p) / p over
    cells of the table less the same over cells of its margin, over 2 ln 2 (Miller 1955 for counts,
    Panzeri and Treves 1996 for information). The variance within each answer is estimated by the
    sum of w**2 (m - mean)**2, times n/(n - 1) with n its effective number of samples.

    Where answers predict alike and samples are few, most of the cells that an answer might fill are
    empty and the first sum, over cells that are not, is too small; the variance over the p that
    would stand there if the reading told nothing is right then, and too large where answers differ.
    Each answer takes a mean of the two, weighted with the part of its chi-square distance from the
    margin that chance explains. In trials with 5 to 60 answers and 600 samples in all the remaining
    error was below 0.15 bit up to 1 bit, and mostly too low, by up to a fifth, above. The
    correction vanishes where all samples of every answer agree.
    """
    sampled = _require_samples(weights, question, predicted, uncertainty, n_cell)
    answers = _answers(sampled)
    used = _affordable_cells(answers, n_cell)
    bits: Array = np.empty(sampled.predicted.shape[0])
    step = max(1, _CHUNK_NUMBERS // sampled.weights.size)
    for start in range(0, bits.size, step):
        part = slice(start, start + step)
        some = replace(
            sampled, predicted=sampled.predicted[part], uncertainty=sampled.uncertainty[part]
        )
        bits[part] = _information_of_table(answers, *spread_over_cells(some, used))
    limit = _entropy_sum(answers.weight, axes=(0, 1))
    return np.clip(bits, 0.0, limit)


@dataclass(frozen=True, slots=True)
class _Answers:
    """What the samples say of the answers alone, shapes (n_question, 1)."""

    weight: Array
    one_over_n: Array  # one over the effective number of samples
    bessel: Array  # n / (n - 1)


def _answers(sampled: Sampled) -> _Answers:
    weight: Array = np.asarray(np.bincount(sampled.question, weights=sampled.weights), np.float64)
    squares = np.bincount(sampled.question, weights=sampled.weights**2)
    one_over_n = np.divide(squares, weight**2, out=np.zeros_like(weight), where=weight > 0.0)
    # An answer with a single sample says nothing of its own spread; 4 stands for "a lot".
    bessel = np.minimum(1.0 / (1.0 - np.minimum(one_over_n, 0.999)), 4.0)
    return _Answers(weight[:, None], one_over_n[:, None], bessel[:, None])


def _affordable_cells(answers: _Answers, n_cell: int) -> int:
    """Cells that the samples of an average answer can fill: one and a half a sample, 8 at least.

    Found by trial on normal, log-normal and two-peaked predictions of 5 to 60 answers with 5 to 400
    samples each: more cells make the estimate of the bias too large, fewer lose separated answers.
    """
    noise = float((answers.weight * answers.one_over_n).sum())
    return min(n_cell, max(8, int(np.ceil(1.5 / noise))))


def _information_of_table(answers: _Answers, joint: Array, squares: Array) -> Array:
    """Information of tables (n_candidate, n_question, n_cell + 1) less its bias, (n_candidate,)."""
    by_cell = joint.sum(axis=1, keepdims=True)  # (n_candidate, 1, n_cell + 1)
    # Rounding must not leave less than nothing.
    variance = np.maximum((squares - joint**2 * answers.one_over_n) * answers.bessel, 0.0)
    expected = answers.weight * by_cell  # the table if the reading told nothing
    share = np.divide(joint, expected, out=np.ones_like(joint), where=joint > 0.0)
    divergence = (joint * np.log(share)).sum(axis=2)  # (n_candidate, n_question)
    own = np.divide(variance, joint, out=np.zeros_like(joint), where=joint > 0.0).sum(axis=2)
    ratio = np.divide(variance, expected, out=np.zeros_like(joint), where=expected > 0.0)
    pooled = ratio.sum(axis=2)
    distance = (joint * (share - 1.0)).sum(axis=2)
    noise = np.divide(pooled, distance, out=np.zeros_like(pooled), where=distance > pooled)
    noise[distance <= pooled] = 1.0
    bias = 0.5 * (noise * pooled + (1.0 - noise) * own).sum(axis=1)
    together = variance.sum(axis=1) / np.where(by_cell > 0.0, by_cell, np.inf)[:, 0]
    bias -= 0.5 * together.sum(axis=1)
    return np.asarray((divergence.sum(axis=1) - bias) / np.log(2.0), dtype=np.float64)


def _entropy_sum(p: Array, axes: tuple[int, ...]) -> Array:
    return np.asarray(-xlogy(p, p).sum(axis=axes) / np.log(2.0), dtype=np.float64)


def _require_distributions(probabilities: Array, axes: tuple[int, ...]) -> Array:
    p: Array = np.asarray(probabilities, dtype=np.float64)
    if p.ndim == 0 or not np.all(p >= 0.0):  # NaN fails the comparison too
        raise ValueOutOfRange(
            "a probability is negative or NaN.",
            where="probabilities",
            remedy="Give numbers from 0 to 1, leaving out what is not known.",
        )
    off = np.abs(p.sum(axis=axes) - 1.0).max(initial=0.0)
    if off > _SUM_TOLERANCE:
        raise ValueOutOfRange(
            f"probabilities miss a sum of 1 by {off:.2g}.",
            where="probabilities",
            remedy="Divide them by their sum.",
        )
    return p


def _require_weights(weights: Array) -> Array:
    w: Array = np.asarray(weights, dtype=np.float64)
    total = w.sum()
    if w.ndim != 1 or not np.all(w >= 0.0) or not 0.0 < total < np.inf:
        raise ValueOutOfRange(
            "weights have to be one list of numbers >= 0 with a positive, finite sum.",
            where="weights",
            remedy="Subtract the largest logarithm before taking exponentials of log weights.",
        )
    return np.asarray(w / total, dtype=np.float64)


def _require_samples(
    weights: Array, question: IntArray, predicted: Array, uncertainty: Array, n_cell: int
) -> Sampled:
    w = _require_weights(weights)
    labels: IntArray = np.asarray(question, dtype=np.intp)
    x: Array = np.asarray(predicted, dtype=np.float64)
    u: Array = np.asarray(uncertainty, dtype=np.float64)
    if labels.shape != w.shape or x.ndim != 2 or x.shape != u.shape or x.shape[1] != w.size:
        raise ValueOutOfRange(
            f"weights {w.shape}, answers {labels.shape}, predictions {x.shape} and uncertainties "
            f"{u.shape} do not fit together.",
            where="predicted readings",
            remedy="Give (n_samp,), (n_samp,), (n_candidate, n_samp) and (n_candidate, n_samp).",
        )
    if labels.min() < 0 or n_cell < 2:
        raise ValueOutOfRange(
            f"the smallest answer is {labels.min()} and there are {n_cell} cells.",
            where="predicted readings",
            remedy="Number the answers from 0 and take 2 cells or more.",
        )
    is_number = np.isfinite(x)
    if not np.all(np.where(is_number, u, 0.0) >= 0.0) or np.any(is_number & np.isinf(u)):
        raise ValueOutOfRange(
            "a standard uncertainty is negative, infinite or NaN.",
            where="predicted readings",
            remedy="Give each predicted number an uncertainty; predict NaN where none is shown.",
        )
    kept = w > 0.0
    return Sampled(w[kept], labels[kept], int(labels[kept].max()) + 1, x[:, kept], u[:, kept])
