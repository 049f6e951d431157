"""Most probable values of many rival explanations, and Laplace's evidence of each.

An explanation here is a hypothesis with one assignment of wires to terminals. Its coordinates
have a standard normal prior, its readings are nearly linear in them, so the iterated update of
the extended Kalman filter [bell1993] finds the most probable point in a few steps; Student's t
enters as weights (iteratively reweighted least squares). All explanations are updated in one batch.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.choices import choice_bins, is_choice, track_of
from backprobe.core.inference.fit_step import State, evaluate, log_determinant, move
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import (
    indicate,
    log_likelihood,
    readings_of,
    slopes_read,
)
from backprobe.core.inference.limits import limit_side, log_tail
from backprobe.core.inference.predict import PredictionPlan, predict, prepare
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

SMALLEST_DAMPING = 0.02
# In the first steps no reading counts as a slip of the pen, and outliers are judged with these
# factors on the uncertainties: from far away, every reading looks like a slip.
GENTLE = (12.0, 4.0)
INDIFFERENT = 0.05  # nats by which a choice may change a round's readings without being told by it
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
    plan = _plan(rows, assigned, sheet)
    state_at = partial(
        evaluate,
        rows,
        assigned,
        sheet=sheet,
        readings=readings,
        lead_kind=lead_kind,
        walk={},
        plan=plan,
    )
    best, best_score, keep = _climbed(state_at, start, held, plan, n_step, gentle)
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


def _plan(rows: HypothesisTable, assigned: IntArray, sheet: Sheet) -> PredictionPlan:
    """What all steps have in common, with the slopes that they need."""
    return prepare(
        rows,
        sheet,
        assigned=assigned,
        sensitivities=True,
        ohm_rounds=sheet.ohm_rounds,
        slopes=slopes_read(sheet),
    )


def _climbed(
    state_at: Callable[[Array], State],
    start: Array,
    held: Bools,
    plan: PredictionPlan,
    n_step: int,
    gentle: tuple[float, ...],
) -> tuple[Array, Array, State]:
    """Best point found of each explanation (M, n_z), its score (M,), and the state there.

    A step that makes an explanation worse is taken back and tried again, shorter.
    """
    z, best = start.copy(), start.copy()
    best_score = np.full(len(z), -np.inf)
    damping = np.ones(len(z))
    keep: State | None = None
    for step in range(n_step + 1):
        state = state_at(z)
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
        asked = np.where(held, 0.0, move(source, at, knee, plan))
        z = np.clip(
            at + np.maximum(damping, SMALLEST_DAMPING)[:, None] * asked, -FURTHEST, FURTHEST
        )
    if keep is None:
        raise AssertionError  # the loop ran once at least; tells the type checker
    return best, best_score, keep


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
