"""Fits of many rivals at once: in batches of like size, with better choices, without copies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.bank import start_coordinates
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import indicate, log_likelihood
from backprobe.core.inference.predict import predict
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

LAST_STEPS = 5
N_REFINED = 30  # explanations whose fit is carried to the end
N_UNFITTING = 5  # explanations with an odd reading whose other choices are all fitted
ODD_READING = -6.0  # log likelihood of a reading that looks like a mistake
HOPELESS = 80.0  # nats; explanations further behind the best are not carried on


def refined(
    bench: Workbench,
    sheet: Sheet,
    fits: Fit,
    steps: int = LAST_STEPS,
    most: int = N_REFINED,
    within: float = HOPELESS,
) -> Fit:
    """The same fits, the most promising of them with better choices and carried further."""
    table = bench.hypotheses.table
    fits = fits.rows(distinct(fits))
    score = fits.log_posterior + table.log_prior[fits.hypothesis]
    order = np.argsort(-score)
    n_near = min(most, int(np.sum(score > score.max() - within)))
    best, rest = fits.rows(order[:n_near]), fits.rows(order[n_near:])
    z = _better_choices(bench, sheet, best)
    source, changed = _unfitting_choices(bench, sheet, best)
    further = fit_split(
        bench,
        np.concatenate([best.hypothesis, best.hypothesis[source]]),
        np.concatenate([best.assigned, best.assigned[source]]),
        np.concatenate([z, changed]),
        sheet,
        steps,
        np.concatenate([best.lead_bad, best.lead_bad[source]]),
        gentle=fitting.GENTLE[-1:],
    )
    return fitting.concatenate([further, rest])


def distinct(fits: Fit) -> IntArray:
    """Rows of a fit that are no copies of others: they explain the same in as good a way."""
    key = np.column_stack([fits.hypothesis, fits.assigned, np.round(fits.log_posterior, 1)])
    return np.sort(np.unique(key, axis=0, return_index=True)[1])


def _unfitting_choices(bench: Workbench, sheet: Sheet, fits: Fit) -> tuple[IntArray, Array]:
    """Every other choice of the best explanations that take some reading for a mistake.

    Such a choice may have to be seen with all else fitted to it before it looks better.
    """
    odd = np.flatnonzero((fits.reading_log < ODD_READING).any(axis=1))[:N_UNFITTING]
    rows = bench.hypotheses.table.rows(fits.hypothesis[odd])
    source, changed = fitting.other_choices(rows, layout_of(rows, sheet), fits.z[odd])
    return odd[source], changed


def _better_choices(bench: Workbench, sheet: Sheet, fits: Fit) -> Array:
    """Coordinates with one choice put otherwise where the readings are better explained so.

    No fit moves a choice (is the input pulled up or down, did the wheel stop on a tooth?), so
    each is tried by itself, everything else as it stands.
    """
    table = bench.hypotheses.table
    rows = table.rows(fits.hypothesis)
    layout = layout_of(rows, sheet)
    source, changed = fitting.other_choices(rows, layout, fits.z)
    z = fits.z.copy()
    if not source.size:
        return z
    best = fits.reading_log.sum(axis=1) + fitting.choice_log_probability(rows, layout, fits.z)
    tried = score(
        bench,
        fits.hypothesis[source],
        fits.assigned[source],
        changed,
        sheet,
        fits.lead_bad[source],
    )
    tried += fitting.choice_log_probability(rows.rows(source), layout, changed)
    for k in np.argsort(tried):
        row = source[k]
        if tried[k] > best[row]:
            z[row], best[row] = changed[k], tried[k]
    return z


def start_z(bench: Workbench, sheet: Sheet, particle: IntArray) -> Array:
    """Coordinates of particles of the bank, laid out for a sheet."""
    table = bench.hypotheses.table
    whole, layout = layout_of(table, bench.sheet), layout_of(table, sheet)
    return start_coordinates(bench.bank, table, particle, whole, layout)


def fit_split(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    steps: int,
    lead_bad: Bools | None = None,
    gentle: tuple[float, ...] = fitting.GENTLE,
) -> Fit:
    """Fit explanations in batches of like number of switching elements (less padding)."""
    table = bench.hypotheses.table
    n_switch = (table.circuits.switch_share[hypothesis] >= 0).sum(axis=1)
    parts, order = [], []
    for count in np.unique(n_switch):
        index = np.flatnonzero(n_switch == count)
        bad = None if lead_bad is None else lead_bad[index]
        parts.append(
            fit(table, hypothesis[index], assigned[index], z[index], sheet, steps, bad, gentle)
        )
        order.append(index)
    joined = fitting.concatenate(parts)
    return joined.rows(np.argsort(np.concatenate(order)))


def score(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_bad: Bools | None = None,
) -> Array:
    """Log likelihood of the readings at given coordinates, no slopes, (M,)."""
    table = bench.hypotheses.table
    n_switch = (table.circuits.switch_share[hypothesis] >= 0).sum(axis=1)
    found = np.empty(hypothesis.size)
    for count in np.unique(n_switch):
        index = np.flatnonzero(n_switch == count)
        rows = table.rows(hypothesis[index])
        prediction = predict(
            rows,
            z[index],
            sheet,
            assigned=assigned[index],
            ohm_rounds=sheet.ohm_rounds,
            lead_bad=None if lead_bad is None else lead_bad[index],
        )
        shown = indicate(rows, sheet, prediction, pick=assigned[index])
        found[index] = log_likelihood(sheet, shown)[:, :, 0].sum(axis=1)
    return found
