"""Predicted meter readings, each smeared by its uncertainty, spread over cells of the display.

To compare what different explanations predict for one reading, their predictions have to be put
into common cells: not finer than the meter can tell apart, not so many that each holds no sample,
and placed where they matter. For every candidate reading on its own

- the scale is asinh(x / x0): linear where the meter's error is constant, logarithmic where it grows
  with the reading, so that 12 mV and 40 mV are as far apart as 1.2 V and 4 V;
- distance along the scale is counted in standard uncertainties, a gap of more than four as four:
  what lies further apart is told apart anyway;
- cells are laid in proportion to (density of samples)**(1/3), the rule by which a given number of
  cells loses least (Panter and Dite 1951), and no more than 0.7 for each uncertainty;
- each sample is spread with the Epanechnikov kernel of its own standard uncertainty: a parabola
  that ends at sqrt(5) standard uncertainties. Like the rectangle behind a data-sheet limit it ends
  somewhere, and its distribution function is a cubic.

Not in the bibliography, both from memory: P. F. Panter, W. Dite, Proceedings of the IRE 39 (1951)
44-48 (cells); V. A. Epanechnikov, Theory of Probability and its Applications 14 (1969) 153-158
(kernel).
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.intp]

_KERNEL_END = np.sqrt(5.0)
"""Half-width of the Epanechnikov kernel in standard deviations: its variance is half-width**2 /
5."""

_CELLS_PER_UNCERTAINTY = 0.7
"""Wider cells lose information, narrower ones cost time. At 0.7 two fixed values one uncertainty or
more apart keep about nine tenths of the information between their kernels."""

_FULL_GAP = 4.0
"""Standard uncertainties between neighbours from which on they count as fully told apart."""


@dataclass(frozen=True, slots=True)
class Sampled:
    """Weighted samples with what each predicts.

    Attributes
    ----------
    weights : ndarray, shape (n_samp,)
        Weights > 0 that sum to 1.
    question : ndarray of int, shape (n_samp,)
        Answer of each sample, below ``n_question``.
    n_question : int
        Number of answers.
    predicted, uncertainty : ndarray, shape (n_candidate, n_samp)
        Predicted readings (not finite: no number) and their standard uncertainties.
    """

    weights: Array
    question: IntArray
    n_question: int
    predicted: Array
    uncertainty: Array


@dataclass(frozen=True, slots=True)
class _Scaled:
    """Predictions on the scale, sorted along it; no-numbers stand last, at infinity."""

    place: Array  # (n_candidate, n_samp)
    width: Array  # half-width of the kernel on the scale, > 0
    order: IntArray  # sample at each rank
    is_number: NDArray[np.bool_]


def spread_over_cells(sampled: Sampled, n_cell: int) -> tuple[Array, Array]:
    """Table of answers and cells for each candidate reading.

    Parameters
    ----------
    sampled : Sampled
        Weighted predictions, ``n_samp`` >= 1.
    n_cell : int
        Largest number of cells for numbers, >= 2.

    Returns
    -------
    joint : ndarray, shape (n_candidate, n_question, n_cell + 1)
        Sum of weight times share in the cell; each candidate's table sums to 1. The last cell holds
        the readings that are not a number. Cells of one candidate are in rising order.
    squares : ndarray, same shape
        Sum of the squares of weight times share, from which the variance of ``joint`` follows.

    Raises
    ------
    Nothing
        The callers have checked their arguments.
    """
    scaled = _on_scale(sampled)
    cell, edges = _lay_cells(scaled, sampled.weights, n_cell)
    n_candidate, n_samp = scaled.place.shape
    row = np.repeat(np.arange(n_candidate), n_samp)
    order = scaled.order.ravel()
    first_bin = (row * sampled.n_question + sampled.question[order]) * (n_cell + 1)
    number = scaled.is_number.ravel()
    bins, samples, shares = _shares(
        scaled.place.ravel()[number],
        scaled.width.ravel()[number],
        cell.ravel()[number] + row[number] * (n_cell + 1),
        edges.ravel(),
    )
    # Edges and bins both have n_cell + 1 entries a candidate: only the answer has to be put
    # between.
    shift = (first_bin - row * (n_cell + 1))[number]
    other = ~number
    all_bins = np.concatenate([bins + shift[samples], first_bin[other] + n_cell])
    weight = sampled.weights[order]
    values = np.concatenate([shares * weight[number][samples], weight[other]])
    shape = (n_candidate, sampled.n_question, n_cell + 1)
    size = int(np.prod(shape))
    joint = np.bincount(all_bins, weights=values, minlength=size).reshape(shape)
    squares = np.bincount(all_bins, weights=values**2, minlength=size).reshape(shape)
    return np.asarray(joint, dtype=np.float64), np.asarray(squares, dtype=np.float64)


def _on_scale(sampled: Sampled) -> _Scaled:
    is_number = np.isfinite(sampled.predicted)
    x: Array = np.where(is_number, sampled.predicted, 0.0)
    size = np.abs(x)
    # A prediction without any uncertainty still needs a kernel, far below what a display resolves.
    least = 1e-9 * size.max(axis=1, keepdims=True) + 1e-30
    u: Array = np.maximum(np.where(is_number, sampled.uncertainty, np.inf), least)
    # Where an uncertainty a + b|x| turns from constant to proportional: a / b.
    smallest: Array = u.min(axis=1, keepdims=True)
    smallest[np.isinf(smallest)] = 1.0  # no number in the whole row
    turn = smallest * np.maximum((size / u).max(axis=1, keepdims=True), 1.0)
    x /= turn
    stretch = np.sqrt(x * x + 1.0)
    # asinh by its definition: four times as fast as the library's, and exact where it has to be.
    place = np.where(is_number, np.copysign(np.log(np.abs(x) + stretch), x), np.inf)
    width: Array = np.where(is_number, u * (_KERNEL_END / turn) / stretch, _KERNEL_END)
    order = np.argsort(place, axis=1)
    n_candidate, n_samp = place.shape
    flat = order + np.arange(n_candidate)[:, None] * n_samp
    return _Scaled(place.take(flat), width.take(flat), order, is_number.take(flat))


def _lay_cells(scaled: _Scaled, weights: Array, n_cell: int) -> tuple[IntArray, Array]:
    """Cell of each sample (n_candidate, n_samp) and edges of the cells (n_candidate, n_cell + 1).

    Cell k lies between edges k and k + 1; the first edge is -inf, the last one used +inf.
    """
    row = np.arange(scaled.place.shape[0])
    knots, steps, last = _knots(scaled)
    # What lies within a tenth of an uncertainty tells less than 0.002 bit: one cell, and no work.
    inner = steps[:, 1:].sum(axis=1) - steps[row, last]
    useful = np.ceil(_CELLS_PER_UNCERTAINTY * steps.sum(axis=1)) + 1.0
    wanted = np.where(inner > 0.1, np.minimum(useful, n_cell), 1.0)
    density: Array = np.zeros_like(steps)  # weight of the sample at the upper end of each step
    density[:, :-1] = weights[scaled.order]
    density[row, last] = density[
        row, np.maximum(last - 1, 0)
    ]  # beyond the largest number there is none
    measure: Array = np.zeros_like(knots)
    measure[:, 1:] = np.cbrt(steps**2 * density)
    np.cumsum(measure, axis=1, out=measure)
    scale = wanted / np.where(measure[:, -1] > 0.0, measure[:, -1], 1.0)
    measure *= scale[:, None]  # now in cells
    cell = np.minimum(measure[:, 1:-1].astype(np.intp), (wanted.astype(np.intp) - 1)[:, None])
    cell[~scaled.is_number] = n_cell
    return cell, _edges(knots, measure, cell, wanted, n_cell)


def _knots(scaled: _Scaled) -> tuple[Array, Array, IntArray]:
    """Places between which edges may lie, with the reach of the kernel beyond both ends.

    Returns the places (n_candidate, n_samp + 2), the steps between them in standard uncertainties
    (n_candidate, n_samp + 1), 0 from the end of the numbers on, and the last step that is not 0.
    """
    n_candidate, n_samp = scaled.place.shape
    knots: Array = np.full((n_candidate, n_samp + 2), np.inf)
    knots[:, 1:-1] = scaled.place
    knots[:, 0] = scaled.place[:, 0] - scaled.width[:, 0]
    last = scaled.is_number.sum(axis=1)  # knot of the largest number; 0 where there is none
    row = np.arange(n_candidate)
    end_width = scaled.width[row, np.maximum(last - 1, 0)]
    knots[row, last + 1] = knots[row, last] + end_width
    with np.errstate(invalid="ignore"):  # inf - inf among the readings that are not numbers
        steps: Array = np.diff(knots, axis=1)
    steps[:, :-1] *= _KERNEL_END / scaled.width
    steps[row, last] = _KERNEL_END
    steps = np.where(np.arange(n_samp + 1) <= last[:, None], np.minimum(steps, _FULL_GAP), 0.0)
    return knots, steps, last


def _edges(knots: Array, measure: Array, cell: IntArray, wanted: Array, n_cell: int) -> Array:
    """Edges (n_candidate, n_cell + 1) at whole numbers of the measure, between two knots each."""
    n_candidate = cell.shape[0]
    row = np.arange(n_candidate)[:, None]
    counts = np.bincount((cell + row * (n_cell + 1)).ravel(), minlength=n_candidate * (n_cell + 1))
    # Number of samples below edge k = 1 ... n_cell - 1, which is the knot just below it.
    below = np.cumsum(counts.reshape(n_candidate, -1)[:, : n_cell - 1], axis=1)
    level = np.arange(1.0, n_cell)
    used = level < wanted[:, None]
    low, high = measure[row, below], measure[row, below + 1]
    left, right = knots[row, below], knots[row, below + 1]
    edges: Array = np.full((n_candidate, n_cell + 1), np.inf)
    edges[:, 0] = -np.inf
    with np.errstate(invalid="ignore", divide="ignore"):  # where no edge is used
        edges[:, 1:-1] = np.where(
            used, left + (right - left) * (level - low) / (high - low), np.inf
        )
    return edges


def _shares(
    place: Array, width: Array, cell: IntArray, edges: Array
) -> tuple[IntArray, IntArray, Array]:
    """Share of each sample in its own cell and outward, as long as its kernel reaches further.

    All flat: ``cell`` numbers cells over all candidates, with the edges below and above it at
    ``edges[cell]`` and ``edges[cell + 1]``. Returns cells, sample numbers and shares of equal
    length.
    """
    narrow = 1.0 / width
    at = place * narrow
    low = _kernel_integral(edges.take(cell), narrow, at)
    high = _kernel_integral(edges.take(cell + 1), narrow, at)
    cells, samples, shares = [cell], [np.arange(place.size)], [high - low]
    for direction, reached, end in ((1, high, 1.0), (-1, low, 0.0)):
        active = np.flatnonzero(reached != end)
        done, here = reached.take(active), cell.take(active)
        while active.size:
            here = here + direction
            edge = edges.take(here + 1 if direction > 0 else here)
            now = _kernel_integral(edge, narrow.take(active), at.take(active))
            cells.append(here)
            samples.append(active)
            shares.append(now - done if direction > 0 else done - now)
            further = np.flatnonzero(now != end)
            active, done, here = active.take(further), now.take(further), here.take(further)
    return np.concatenate(cells), np.concatenate(samples), np.concatenate(shares)


def _kernel_integral(edge: Array, narrow: Array, at: Array) -> Array:
    """Share of a kernel below ``edge``: Epanechnikov 1969, integrated; exactly 0 or 1 beyond it."""
    t = edge * narrow
    t -= at
    np.clip(t, -1.0, 1.0, out=t)
    return np.asarray(0.5 + t * (0.75 - 0.25 * t * t), dtype=np.float64)
