"""Most probable values of many rival explanations, and Laplace's evidence of each.

An explanation here is a hypothesis with one assignment of wires to terminals. Its coordinates
have a standard normal prior, its readings are nearly linear in them, so the iterated update of
the extended Kalman filter [bell1993] finds the most probable point in a few steps; Student's t
enters as weights (iteratively reweighted least squares). All explanations are updated in one batch.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.choices import choice_bins, is_choice, track_of
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import (
    FREEDOM,
    OPEN_OHM,
    OPEN_WIDTH,
    SLIP_SHARE,
    Indicated,
    indicate,
    log_likelihood,
    readings_of,
    slopes_read,
    student_log_density,
    volts_log_density,
)
from backprobe.core.inference.limits import limit_side, log_tail
from backprobe.core.inference.predict import PredictionPlan, predict, prepare
from backprobe.core.inference.readings import Readings
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

LONGEST_STEP = 3.0  # in one coordinate, prior standard deviations
SMALLEST_DAMPING = 0.02
# In the first steps no reading counts as a slip of the pen, and outliers are judged with these
# factors on the uncertainties: from far away, every reading looks like a slip.
GENTLE = (12.0, 4.0)
INDIFFERENT = 0.05  # nats by which a choice may change a round's readings without being told by it
SURELY_OPEN = 3.0  # widths of the step beyond which OL is as good as certain (95 %)
WIDTH_CURVE = (0.6, 4.0)  # least and most curvature by the logarithm of one reading's deviation
# Of a reading by one coordinate, deviations by prior standard deviation: beyond this it tells the
# coordinate to all digits anyway, and two such readings would be one to the computer. The root mean
# square of a wire that alternates for no share of the time has no end of slope.
STEEPEST = 1e5
FURTHEST = 4.5  # prior standard deviations; beyond it a value is not believed


@dataclass(frozen=True, slots=True)
class Fit:
    """M fitted explanations.

    hypothesis : ndarray of int, shape (M,): rows of the whole table.
    assigned : ndarray of int, shape (M, n_terminal): wire at each terminal.
    z : ndarray, shape (M, n_z): most probable coordinates.
    log_posterior : ndarray, shape (M,): log likelihood and prior at z, normal constant left out.
    log_evidence : ndarray, shape (M,): Laplace's approximation, with the choices' probability.
    reading_log : ndarray, shape (M, n_read): log likelihood of each reading at z.
    residual : ndarray, shape (M, n_read): noted minus predicted, in deviations; NaN where none.
    jacobian : ndarray, shape (M, n_read, n_z), scaled rows are by / deviation.
    deviation : ndarray, shape (M, n_read): of each reading after reweighting.
    lead_kind : ndarray of int, shape (M, R): `LeadKind` that each round is taken to have.
    predicted : ndarray, shape (M, n_read): indication at z, log for hertz and ohm, NaN: none.
    log_choice : ndarray, shape (M,): log probability of the choices, summed over those that no
        reading depends on.
    told : ndarray of bool, shape (M, n_z): choices that some reading depends on; a fit counts
        those of the circuit all as such.
    """

    hypothesis: IntArray
    assigned: IntArray
    z: Array
    log_posterior: Array
    log_evidence: Array
    reading_log: Array
    residual: Array
    jacobian: Array
    deviation: Array
    lead_kind: IntArray
    predicted: Array
    log_choice: Array
    told: Bools

    def rows(self, index: IntArray) -> "Fit":
        """Some of the explanations."""
        return Fit(*(getattr(self, n)[index] for n in Fit.__dataclass_fields__))


def concatenate(fits: list[Fit]) -> Fit:
    """Fits one after the other."""
    return Fit(*(np.concatenate([getattr(f, n) for f in fits]) for n in Fit.__dataclass_fields__))


def fit(
    table: HypothesisTable,
    hypothesis: IntArray,
    assigned: IntArray,
    start: Array,
    sheet: Sheet,
    n_step: int = 6,
    lead_kind: IntArray | None = None,
    gentle: tuple[float, ...] = GENTLE,
) -> Fit:
    """Fit explanations from given starting coordinates.

    Parameters
    ----------
    table : HypothesisTable
        All hypotheses.
    hypothesis : ndarray of int, shape (M,)
        Hypothesis of each explanation.
    assigned : ndarray of int, shape (M, n_terminal)
        Wire at each terminal.
    start : ndarray, shape (M, n_z)
        Starting coordinates; coordinates of choices are kept.
    sheet : Sheet
        The readings.
    n_step : int
        Updates.
    lead_kind : ndarray of int, shape (M, R), optional
        `LeadKind` that an explanation takes each round to have; sound by default.
    gentle : tuple of float
        Factors on the uncertainties in the first steps; empty where the start is near.

    Returns
    -------
    Fit
        Best point found of each.
    """
    rows = table.rows(hypothesis)
    layout = layout_of(rows, sheet)
    held = is_choice(rows, layout)
    readings = readings_of(sheet)
    if lead_kind is None:
        lead_kind = np.zeros((start.shape[0], len(sheet.rounds)), dtype=np.int64)
    walk: dict[str, IntArray] = {}
    plan = prepare(
        rows,
        sheet,
        assigned=assigned,
        sensitivities=True,
        ohm_rounds=sheet.ohm_rounds,
        slopes=slopes_read(sheet),
    )
    z, best = start.copy(), start.copy()
    best_score = np.full(len(z), -np.inf)
    damping = np.ones(len(z))
    keep: _State | None = None
    for step in range(n_step + 1):
        state = _evaluate(rows, assigned, z, sheet, readings, lead_kind, walk, plan)
        score = state.reading_log.sum(axis=1) - 0.5 * np.sum(np.where(held, 0.0, z) ** 2, axis=1)
        better = score > best_score
        damping = np.where(better, np.minimum(1.0, damping * 2), damping / 3)
        best = np.where(better[:, None], z, best)
        best_score = np.where(better, score, best_score)
        keep = state if keep is None else keep.where(better, state)
        if step == n_step:
            break
        is_gentle = step < len(gentle)
        source, at = (state, z) if is_gentle else (keep, best)
        if is_gentle:
            damping = np.ones(len(z))
        knee = gentle[step] if is_gentle else None
        # What the readings say comes first, how well they agree after that.
        source = source if step % 2 else source.told_by_values()
        move = np.where(held, 0.0, _move(source, at, knee, plan))
        z = np.clip(at + np.maximum(damping, SMALLEST_DAMPING)[:, None] * move, -FURTHEST, FURTHEST)
    if keep is None:
        raise AssertionError  # the loop ran once at least; tells the type checker
    side = limit_side(plan.rounds, best)
    keep = keep.told_by(np.isfinite(readings.value)).without(side != 0)
    told = held & _told(table, hypothesis, assigned, best, sheet, lead_kind, keep.reading_log)
    _, log_choice = choice_bins(rows, layout, best, told)
    spread = log_determinant(keep.jacobian, keep.deviation)
    return Fit(
        hypothesis=hypothesis,
        assigned=assigned,
        z=best,
        log_posterior=best_score,
        log_evidence=best_score - 0.5 * spread + log_choice + log_tail(side, best),
        reading_log=keep.reading_log,
        residual=keep.residual,
        jacobian=keep.jacobian,
        deviation=keep.deviation,
        lead_kind=lead_kind,
        predicted=keep.predicted,
        log_choice=log_choice,
        told=told,
    )


def _told(
    table: HypothesisTable,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_kind: IntArray,
    reading_log: Array,
) -> Bools:
    """Which coordinates count, (M, n_z): all but driven choices in rounds that don't tell them.

    Each driven choice is put on its next option in all rounds; a round tells it where its readings
    become more or less likely.
    """
    told = np.ones(z.shape, dtype=bool)
    some = np.flatnonzero((table.choice_at[hypothesis] >= 0).any(axis=1))
    if not some.size:
        return told
    rows = table.rows(hypothesis[some])
    layout = layout_of(rows, sheet)
    track = track_of(rows, layout)
    places, count = track.places(z[some]), np.maximum(track.n_option, 1)
    for c in range(track.at.shape[1]):
        only = np.arange(track.at.shape[1]) == c
        shifted = track.moved(z[some], (places + 1) % count, track.used & only)
        found = readings_log(rows, assigned[some], shifted, sheet, lead_kind[some])
        change = by_round(found - reading_log[some], sheet)  # (m, R)
        depends = np.repeat(np.abs(change) > INDIFFERENT, layout.n_end, axis=1)
        told[some[:, None], track.at[:, c]] = depends
    return told


def readings_log(
    rows: HypothesisTable, assigned: IntArray, z: Array, sheet: Sheet, lead_kind: IntArray
) -> Array:
    """Log likelihood of each reading at given coordinates, no slopes, (M, n_read)."""
    prediction = predict(
        rows, z, sheet, assigned=assigned, ohm_rounds=sheet.ohm_rounds, lead_kind=lead_kind
    )
    readings = readings_of(sheet)
    shown = indicate(rows, sheet, prediction, pick=assigned, readings=readings)
    return np.asarray(log_likelihood(sheet, shown, readings)[:, :, 0])


def by_round(of_readings: Array, sheet: Sheet) -> Array:
    """Sums of a quantity of each reading (M, n_read) over the readings of each round, (M, R)."""
    mine = sheet.round[:, None] == np.arange(len(sheet.rounds))
    return np.asarray(of_readings @ mine)


@dataclass(frozen=True, slots=True)
class _State:
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

    def where(self, mask: Bools, other: "_State") -> "_State":
        """Rows of ``other`` where ``mask``, own rows elsewhere."""

        def choose(name: str) -> Array:
            mine, theirs = getattr(self, name), getattr(other, name)
            shaped = mask.reshape(-1, *([1] * (mine.ndim - 1)))
            return np.asarray(np.where(shaped, theirs, mine))

        return _State(*(choose(n) for n in _State.__dataclass_fields__))

    def without(self, fixed: Bools) -> "_State":
        """The same, no reading moving with the coordinates that are fixed, (M, n_z)."""
        moving = ~fixed[:, None]
        return replace(self, jacobian=self.jacobian * moving, width=self.width * moving)

    def told_by_values(self) -> "_State":
        """The same, how closely readings agree telling nothing."""
        return replace(self, width=np.zeros_like(self.width))

    def told_by(self, number: Bools) -> "_State":
        """The same, readings that are no number, (n_read,), telling nothing of how far beyond."""
        return replace(self, jacobian=np.where(number[None, :, None], self.jacobian, 0.0))


def _evaluate(
    rows: HypothesisTable,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    readings: Readings,
    lead_kind: IntArray,
    walk: dict[str, IntArray],
    plan: PredictionPlan,
) -> _State:
    prediction = predict(rows, z, sheet, lead_kind=lead_kind, walk=walk, plan=plan)
    shown = indicate(rows, sheet, prediction, pick=assigned, readings=readings)
    reading_log = log_likelihood(sheet, shown, readings)[:, :, 0]
    return _linearised(sheet, readings, shown, reading_log)


def _linearised(sheet: Sheet, readings: Readings, shown: Indicated, reading_log: Array) -> _State:
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
    return _State(
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


def _move(state: _State, z: Array, gentle: float | None, plan: PredictionPlan) -> Array:
    """Change of the coordinates (M, n_z) that one update asks for; none runs out of a limit."""
    towards = _update(state, z, gentle)
    outward = limit_side(plan.rounds, z) * (towards - z) > 0
    if outward.any():
        towards = _update(state.without(outward), z, gentle)
    return np.clip(np.where(outward, 0.0, towards - z), -LONGEST_STEP, LONGEST_STEP)


def _update(state: _State, z: Array, gentle: float | None) -> Array:
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
