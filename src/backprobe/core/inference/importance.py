"""Evidence and posterior of explanations by importance sampling around their fits.

For one hypothesis (with one choice of its options) the fitted assignments are modes. Draws come
from the mixture of the modes' Gaussian approximations, widened by treating every reading as less
certain than it is; each draw's likelihood sums over *all* assignments of wires. Weights divide
by the mixture's density, so that no assignment is counted twice (multiple importance sampling
with the balance heuristic [veach1995]; particles adapted to the posterior as in [cappe2004]).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.assignment import log_sum_with_pairs
from backprobe.core.inference.choices import is_choice
from backprobe.core.inference.draws import Draws
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.fit_step import log_determinant
from backprobe.core.inference.grouped_modes import Group
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import (
    assignment_tables,
    indicate,
    log_likelihood,
    pair_tables,
    readings_of,
)
from backprobe.core.inference.log_sum import log_sum_exp
from backprobe.core.inference.predict import Prediction, predict, prepare
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEWEST_CARRYING = 10.0  # effective draws of a group below which its weights are steadied
# The same where they say less than Laplace: draws that missed the peak are carried well by what
# they hit. In 45 such groups of simulated sheets 8192 draws came to Laplace's evidence.
MANY_CARRYING = 100.0
N_CORRECTION = 3  # corrections of draws for what the linear model leaves out
FURTHEST_DRAW = 5.5  # prior standard deviations; no correction goes beyond
LARGEST_MISS = 30.0  # uncertainties that one correction bridges at most
BETTER = 0.5  # nats by which one assignment explains the readings better than another
WIDENED = 1.7  # factor on the readings' variances in the proposal


def sample_groups(
    table: HypothesisTable,
    sheet: Sheet,
    fits: Fit,
    groups: list[Group],
    n_draw: int,
    rng: np.random.Generator,
    log_laplace: Array,
) -> Draws:
    """Draw from each group and weigh.

    Parameters
    ----------
    table, sheet, fits : the hypotheses, the readings, the fitted modes.
    groups : list of Group
        Those to draw from.
    n_draw : int
        Draws of each group.
    rng : numpy.random.Generator
        Source of randomness.
    log_laplace : ndarray, shape (n_group,)
        Log weight of each group by Laplace's approximation.

    Returns
    -------
    Draws
        ``n_draw`` of each group; the sum of a group's weights is its evidence times priors.
    """
    z, log_q = [], []
    firsts = np.array([group.modes[0] for group in groups], dtype=np.int64)
    held = is_choice(table.rows(fits.hypothesis[firsts]), layout_of(table, sheet))
    for group, own in zip(groups, held, strict=True):
        drawn, density = _propose(fits, group, own, n_draw, rng)
        z.append(drawn)
        log_q.append(density)
    draws_z, density = np.concatenate(z), np.concatenate(log_q)
    weighed = weigh(table, sheet, fits, groups, draws_z, density)
    steadied = _steadied(weighed.log_weight.reshape(len(groups), n_draw), log_laplace)
    weighed = replace(weighed, log_weight=steadied.ravel())
    return _as_draws(weighed, fits, groups, draws_z)


def _steadied(log_weight: Array, log_laplace: Array) -> Array:
    """Weights of each group, made steady where few draws carry them.

    A group's evidence is the mean of its weights where enough draws carry it; with fewer, it
    leans towards Laplace's, and the more so where the draws found less than that. Within the
    group, weights are flattened (raised to a power below one) until `FEWEST_CARRYING` draws carry
    them, so that intervals do not collapse on one draw.
    """
    n_draw = log_weight.shape[1]
    log_mean = log_sum_exp(log_weight) - np.log(n_draw)
    size = effective_size(log_weight)
    needed = np.where(log_mean < log_laplace, MANY_CARRYING, FEWEST_CARRYING)
    trust = np.clip((size - 2.0) / (needed - 2.0), 0.0, 1.0)
    mixed = trust * log_mean + (1.0 - trust) * log_laplace
    evidence = np.where(np.isfinite(log_mean) & np.isfinite(log_laplace), mixed, log_mean)
    power = np.ones(len(log_weight))
    centred = log_weight - log_weight.max(axis=1, keepdims=True)
    for _ in range(12):
        low = effective_size(centred * power[:, None]) < min(FEWEST_CARRYING, 0.5 * n_draw)
        power = np.where(low, 0.7 * power, power)
    flat = centred * power[:, None]
    return np.asarray(flat - log_sum_exp(flat)[:, None] + evidence[:, None])


def effective_size(log_weight: Array) -> Array:
    """Effective sample size of each row of log weights [kong1994], (n_row,)."""
    first = log_sum_exp(log_weight)
    return np.asarray(np.exp(2.0 * first - log_sum_exp(2.0 * log_weight)))


def _propose(
    fits: Fit, group: Group, held: NDArray[np.bool_], n_draw: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draws of one group and the log density of the mixture that they come from.

    Densities leave out (2 pi)^(-n/2), as the prior does.
    """
    n_mode, n_z = group.modes.size, fits.z.shape[1]
    which = np.arange(n_draw) % n_mode
    z = np.empty((n_draw, n_z))
    jacobian = fits.jacobian[group.modes]
    spread = fits.deviation[group.modes] * np.sqrt(WIDENED)
    scaled = jacobian / spread[:, :, None]  # (n_mode, n_read, n_z)
    for k in range(n_mode):
        mine = which == k
        z[mine] = fits.z[group.modes[k]] + _off_mode(scaled[k], int(mine.sum()), rng)
    z[:, held] = fits.z[group.modes[0]][held]
    half_log_det = 0.5 * log_determinant(jacobian, spread)
    parts = np.empty((n_mode, n_draw))
    for k in range(n_mode):
        off = np.where(held, 0.0, z - fits.z[group.modes[k]])
        quadratic = np.sum(off**2, axis=1) + np.sum((off @ scaled[k].T) ** 2, axis=1)
        parts[k] = half_log_det[k] - 0.5 * quadratic - np.log(n_mode)
    return z, log_sum_exp(parts, axis=0)


def _off_mode(scaled: Array, n_draw: int, rng: np.random.Generator) -> Array:
    """Draws from N(0, (I + J' J)^-1), J given in units of the readings' uncertainties.

    A draw from the prior is updated on readings with drawn errors (sampling by perturbation).
    """
    n_read, n_z = scaled.shape
    e1, e2 = rng.standard_normal((n_draw, n_z)), rng.standard_normal((n_draw, n_read))
    gain = np.linalg.solve(scaled @ scaled.T + np.eye(n_read), scaled).T
    return np.asarray(e1 - (e1 @ scaled.T + e2) @ gain.T)


def gaussian_draws(
    table: HypothesisTable,
    sheet: Sheet,
    fits: Fit,
    mode: IntArray,
    n_draw: IntArray,
    rng: np.random.Generator,
) -> tuple[Array, Prediction]:
    """Equally weighted draws around some modes, one mode after the other, (n_draw.sum(), n_z).

    Drawn by Laplace's approximation, then moved so that the readings they predict are as far off
    as the linear model says: what bends between mode and draw would else throw them away from
    readings that are known well. All modes are moved in one batch. Returns what the draws predict
    beside them.
    """
    each = np.repeat(mode, n_draw)
    place = np.repeat(np.arange(mode.size), n_draw)
    rows = table.rows(fits.hypothesis[each])
    held = is_choice(rows, layout_of(table, sheet))
    deviation = fits.deviation[mode]
    jacobian = fits.jacobian[mode]
    scaled = jacobian / deviation[:, :, None]
    inner = scaled @ np.swapaxes(scaled, 1, 2) + np.eye(deviation.shape[1])
    gain = np.linalg.solve(inner, scaled)  # (n_mode, n_read, n_z)
    own = [_off_mode(scaled[k], int(n), rng) for k, n in enumerate(n_draw)]
    off = np.where(held, 0.0, np.concatenate(own))
    wanted = fits.predicted[each] + (jacobian[place] @ off[:, :, None])[:, :, 0]
    assigned, lead_kind = fits.assigned[each], fits.lead_kind[each]
    plan = prepare(rows, sheet, assigned=assigned, ohm_rounds=sheet.ohm_rounds)
    readings = readings_of(sheet)
    z = np.clip(fits.z[each] + off, -FURTHEST_DRAW, FURTHEST_DRAW)
    for _ in range(N_CORRECTION):
        prediction = predict(rows, z, sheet, lead_kind=lead_kind, plan=plan)
        shown = indicate(rows, sheet, prediction, assigned, readings).mean[:, :, 0]
        both = np.isfinite(wanted) & np.isfinite(shown)
        miss = np.where(both, wanted, 0.0) - np.where(both, shown, 0.0)
        miss = np.clip(miss / deviation[place], -LARGEST_MISS, LARGEST_MISS)
        moved = (miss[:, None] @ gain[place])[:, 0]
        z = np.where(held, z, np.clip(z + moved, -FURTHEST_DRAW, FURTHEST_DRAW))
    return z, predict(rows, z, sheet, lead_kind=lead_kind, plan=plan)


@dataclass(frozen=True, slots=True)
class Weighed:
    """Weights and assignments of some coordinates."""

    log_weight: Array
    marginal: Array
    best: IntArray
    values: Array
    log_likelihood: Array  # of the readings, summed over all assignments
    best_log: Array  # of the best one


def weigh(
    table: HypothesisTable,
    sheet: Sheet,
    fits: Fit,
    groups: list[Group],
    z: Array,
    log_q: Array,
) -> Weighed:
    """Posterior over proposal of coordinates, summed over all assignments.

    Parameters
    ----------
    groups : list of Group
        Groups that the coordinates belong to, as many of each, one group after the other.
    z : ndarray, shape (n, n_z)
    log_q : ndarray, shape (n,)
        Log density of the proposal, normal constant left out.

    Returns
    -------
    Weighed
        Log weights, wire marginals and best assignments.
    """
    first = np.array([group.modes[0] for group in groups], dtype=np.int64)
    times = len(z) // len(groups)
    rows, mode = table.repeated(fits.hypothesis[first], times), np.repeat(first, times)
    layout = layout_of(table, sheet)
    assigned = fits.assigned[mode]
    prediction = predict(
        rows,
        z,
        sheet,
        assigned=assigned,
        ohm_rounds=sheet.ohm_rounds,
        lead_kind=fits.lead_kind[mode],
    )
    readings = readings_of(sheet)
    shown = indicate(rows, sheet, prediction, readings=readings)
    log_like = log_likelihood(sheet, shown, readings)
    unary, common = assignment_tables(rows, sheet, log_like)
    _tie_fitted(sheet, assigned, unary)
    pairs = pair_tables(rows, sheet, prediction)
    total = log_sum_with_pairs(unary, pairs, marginals=True, best=True)
    held = is_choice(rows, layout)
    log_prior_z = -0.5 * np.sum(np.where(held, 0.0, z) ** 2, axis=1)
    log_choice = fits.log_choice[mode]
    log_condition = np.repeat([g.log_condition for g in groups], times)
    log_prior = log_prior_z + log_choice + rows.log_prior + log_condition
    log_weight = total.log_sum + common + log_prior - log_q
    if total.marginals is None or total.best is None or total.best_log is None:
        raise AssertionError  # asked for above; tells the type checker
    return Weighed(
        log_weight=log_weight,
        marginal=total.marginals,
        best=total.best,
        values=prediction.values,
        log_likelihood=total.log_sum + common,
        best_log=total.best_log + common,
    )


def _tie_fitted(sheet: Sheet, assigned: IntArray, unary: Array) -> None:
    """Where a resistor is fitted, its terminals keep the wires it was solved with."""
    for t in {t for r in sheet.rounds for f in r.fitted for t in f[:2] if t >= 0}:
        keep = np.arange(unary.shape[2])[None] == assigned[:, t, None]
        unary[:, t] = np.where(keep, unary[:, t], -np.inf)


def laplace_draws(table: HypothesisTable, sheet: Sheet, fits: Fit, groups: list[Group]) -> Draws:
    """One draw a group at its most probable point, with Laplace's evidence as its weight.

    The evidence is that of the assignment that was fitted; others that explain the readings as well
    there are as likely, and are added. Where another one explains them better, it is not at its own
    most probable point, and nothing is known of how far around it lies: it is left to its own fit.
    """
    mode = np.array([g.modes[0] for g in groups], dtype=np.int64)
    z, own = fits.z[mode], fits.reading_log[mode].sum(axis=1)
    found = weigh(table, sheet, fits, groups, z, np.zeros(len(groups)))
    alone = found.best_log > own + BETTER
    others = np.where(alone, 0.0, found.log_likelihood - own)
    assigned = fits.assigned[mode]
    certain = assigned[:, :, None] == np.arange(assigned.shape[1])
    found = replace(
        found,
        log_weight=np.array([g.log_mass for g in groups]) + others,
        marginal=np.where(alone[:, None, None], certain, found.marginal),
        best=np.where(alone[:, None], assigned, found.best),
    )
    return _as_draws(found, fits, groups, z)


def _as_draws(weighed: Weighed, fits: Fit, groups: list[Group], z: Array) -> Draws:
    times = len(z) // len(groups)
    return Draws(
        hypothesis=np.repeat(fits.hypothesis[[g.modes[0] for g in groups]], times),
        condition=np.repeat([g.condition for g in groups], times),
        group=np.repeat([g.number for g in groups], times),
        z=z,
        log_weight=weighed.log_weight,
        marginal=weighed.marginal,
        best=weighed.best,
        values=weighed.values,
    )
