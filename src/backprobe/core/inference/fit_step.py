"""Readings linearised at given coordinates, and the step of a fit that follows from them.

Near a point each reading moves in proportion to the coordinates, and its law, Student's t, counts
as a normal one whose width depends on how far off the reading is (iteratively reweighted least
squares). The step goes to the posterior mean of that linear-Gaussian problem.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.likelihood import (
    FREEDOM,
    OPEN_OHM,
    OPEN_WIDTH,
    SLIP_SHARE,
    Indicated,
    indicate,
    log_likelihood,
    student_log_density,
    volts_log_density,
)
from backprobe.core.inference.limits import limit_side
from backprobe.core.inference.predict import PredictionPlan, predict
from backprobe.core.inference.readings import Readings
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

LONGEST_STEP = 3.0  # in one coordinate, prior standard deviations
SURELY_OPEN = 3.0  # widths of the step beyond which OL is as good as certain (95 %)
WIDTH_CURVE = (0.6, 4.0)  # least and most curvature by the logarithm of one reading's deviation
# Of a reading by one coordinate, deviations by prior standard deviation: beyond this it tells the
# coordinate to all digits anyway, and two such readings would be one to the computer. The root mean
# square of a wire that alternates for no share of the time has no end of slope.
STEEPEST = 1e5


@dataclass(frozen=True, slots=True)
class State:
    """Readings of M explanations, linearised at some coordinates; arrays as in `Fit`.

    difference : ndarray, shape (M, n_read): noted minus predicted, 0 where none; of a reading that
        tells a limit alone, what the prediction lies short of it.
    own_deviation : ndarray, shape (M, n_read): of each reading before reweighting.
    width, width_missing, width_deviation : what the readings of each terminal ask of their own
        deviations, (M, T, n_z), (M, T) and (M, T).
    """

    reading_log: Array
    residual: Array
    difference: Array
    jacobian: Array
    deviation: Array
    own_deviation: Array
    predicted: Array
    width: Array
    width_missing: Array
    width_deviation: Array

    def where(self, mask: Bools, other: "State") -> "State":
        """Rows of ``other`` where ``mask``, own rows elsewhere."""

        def choose(name: str) -> Array:
            mine, theirs = getattr(self, name), getattr(other, name)
            shaped = mask.reshape(-1, *([1] * (mine.ndim - 1)))
            return np.asarray(np.where(shaped, theirs, mine))

        return State(*(choose(n) for n in State.__dataclass_fields__))

    def without(self, fixed: Bools) -> "State":
        """The same, no reading moving with the coordinates that are fixed, (M, n_z)."""
        moving = ~fixed[:, None]
        return replace(self, jacobian=self.jacobian * moving, width=self.width * moving)

    def told_by_values(self) -> "State":
        """The same, how closely readings agree telling nothing."""
        return replace(self, width=np.zeros_like(self.width))

    def told_by(self, number: Bools) -> "State":
        """The same, readings that are no number, (n_read,), telling nothing of how far beyond."""
        return replace(self, jacobian=np.where(number[None, :, None], self.jacobian, 0.0))


def evaluate(
    rows: HypothesisTable,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    readings: Readings,
    lead_kind: IntArray,
    walk: dict[str, IntArray],
    plan: PredictionPlan,
) -> State:
    """Linearise all readings at the coordinates ``z``, (M, n_z).

    ``walk`` keeps regions of piecewise-linear elements from step to step, for speed.
    """
    prediction = predict(rows, z, sheet, lead_kind=lead_kind, walk=walk, plan=plan)
    shown = indicate(rows, sheet, prediction, pick=assigned, readings=readings)
    reading_log = log_likelihood(sheet, shown, readings)[:, :, 0]
    return _linearised(sheet, readings, shown, reading_log)


def _linearised(sheet: Sheet, readings: Readings, shown: Indicated, reading_log: Array) -> State:
    value = readings.value
    mean, deviation = shown.mean[:, :, 0], shown.deviation[:, :, 0]
    use = np.isfinite(mean) & np.isfinite(value)[None]
    difference = np.where(use, value[None] - np.where(use, mean, 0.0), 0.0)
    scaled = difference / deviation
    # Share of the likelihood that is Student's t and not a slip of the pen.
    broad = np.log(SLIP_SHARE) + readings.log_broad
    good = student_log_density(difference, deviation)
    precision = _precision(difference, deviation)
    at = readings.at_wire
    if at.size:
        loud, quiet = deviation[:, at], shown.quiet[:, at, 0]
        good[:, at], part = volts_log_density(difference[:, at], (loud, quiet))
        precision[:, at] *= 1.0 - part
        precision[:, at] += part * _precision(difference[:, at], quiet)
    share = 1.0 / (1.0 + np.exp(np.clip(broad[None] - good, -60.0, 60.0)))
    weighted = 1.0 / np.sqrt(np.maximum(share * precision, 1e-4 / deviation**2))
    by = shown.by if shown.by is not None else np.zeros((*mean.shape, 0))
    steepest = STEEPEST * deviation[:, :, None]
    by = np.clip(by, -steepest, steepest)
    missing = _missing_to_open(readings, mean)
    pulls = missing > 0.0
    width = _widths(sheet, shown, scaled, np.where(use, share, 0.0))
    return State(
        reading_log=reading_log,
        residual=np.where(use, scaled, np.nan),
        difference=np.where(pulls, missing, difference),
        jacobian=np.where((use | pulls)[:, :, None], by, 0.0),
        deviation=np.where(pulls, OPEN_WIDTH, weighted),
        own_deviation=np.where(pulls, OPEN_WIDTH, deviation),
        predicted=mean,
        width=width[0],
        width_missing=width[1],
        width_deviation=width[2],
    )


def _precision(difference: Array, deviation: Array) -> Array:
    """What one step of least squares takes for Student's t: the weight of each error, 1/unit^2."""
    return np.asarray((FREEDOM + 1.0) / (FREEDOM * deviation**2 + difference**2))


def _widths(
    sheet: Sheet, shown: Indicated, scaled: Array, share: Array
) -> tuple[Array, Array, Array]:
    """How far the logarithms of the readings' deviations should move, a row for each terminal.

    Readings of a wire that agree better than its resistance lets expect speak for a lower one.
    With ``scaled`` = u, Student's t has the slope (f + 1) u^2 / (f + u^2) - 1 by log deviation;
    its curvature is taken as 2 u^2, not less than a floor, as in Newton's step.

    Returns
    -------
    slopes (M, T, n_z), what is missing (M, T), and its deviation (M, T).
    """
    n_m, n_t = scaled.shape[0], sheet.n_terminal
    if shown.deviation_by is None:
        return np.zeros((n_m, n_t, 0)), np.zeros((n_m, n_t)), np.ones((n_m, n_t))
    by = shown.deviation_by / shown.deviation
    square = scaled**2
    slope = share * ((FREEDOM + 1.0) * square / (FREEDOM + square) - 1.0)
    curve = share * np.clip(2.0 * square, *WIDTH_CURVE)
    mine = (sheet.terminal == np.arange(n_t)[:, None]) & by.any(axis=(0, 2))  # (T, n_read)
    count = np.maximum(mine.sum(axis=1), 1)
    rows = np.matmul(mine / count[:, None], by)
    curved = np.maximum(curve @ mine.T, WIDTH_CURVE[0])
    return rows, (slope @ mine.T) / curved, 1.0 / np.sqrt(curved)


def _missing_to_open(readings: Readings, mean: Array) -> Array:
    """Log ohm that predictions (M, n_read) lie short of an "OL" that was noted; 0 elsewhere.

    An ohmmeter that shows OL tells a limit and no value: below the limit a fit is drawn up to it,
    beyond it nothing is (a censored reading, [tobin1958]).
    """
    short = np.zeros(mean.shape)
    at = readings.ohms[np.isposinf(readings.value[readings.ohms])]
    if at.size:
        surely = np.log(OPEN_OHM) + SURELY_OPEN * OPEN_WIDTH
        predicted = mean[:, at]
        short[:, at] = np.where(np.isfinite(predicted), np.maximum(surely - predicted, 0.0), 0.0)
    return short


def move(state: State, z: Array, gentle: float | None, plan: PredictionPlan) -> Array:
    """Change of the coordinates (M, n_z) that one update asks for; none runs out of a limit."""
    towards = _update(state, z, gentle)
    outward = limit_side(plan.rounds, z) * (towards - z) > 0
    if outward.any():
        towards = _update(state.without(outward), z, gentle)
    return np.clip(np.where(outward, 0.0, towards - z), -LONGEST_STEP, LONGEST_STEP)


def _update(state: State, z: Array, gentle: float | None) -> Array:
    """Linear-Gaussian posterior mean of z, prior N(0, I): J' (J J' + R)^-1 (r + J z)."""
    j, difference, variance = state.jacobian, state.difference, state.deviation**2
    if gentle is not None:
        scaled = difference / (gentle * state.own_deviation)
        variance = state.own_deviation**2 * (FREEDOM + scaled**2) / (FREEDOM + 1.0)
    elif state.width.any():
        j = np.concatenate([j, state.width], axis=1)
        difference = np.concatenate([difference, state.width_missing], axis=1)
        variance = np.concatenate([variance, state.width_deviation**2], axis=1)
    target = difference + np.einsum("mnz,mz->mn", j, z)
    inner = j @ np.swapaxes(j, 1, 2)
    diagonal = np.arange(inner.shape[1])
    inner[:, diagonal, diagonal] += variance
    solved = np.linalg.solve(inner, target[:, :, None])
    return np.asarray((np.swapaxes(j, 1, 2) @ solved)[:, :, 0])


def log_determinant(jacobian: Array, deviation: Array) -> Array:
    """Log det (I + J' R^-1 J) of each explanation, shape (M,), in the readings' space."""
    scaled = jacobian / deviation[:, :, None]
    inner = scaled @ np.swapaxes(scaled, 1, 2)
    diagonal = np.arange(inner.shape[1])
    inner[:, diagonal, diagonal] += 1.0
    return np.asarray(np.linalg.slogdet(inner)[1])
