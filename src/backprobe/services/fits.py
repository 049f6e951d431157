"""Fits of many rivals at once: with better choices, without copies."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.bank import start_coordinates
from backprobe.core.inference.choices import (
    best_path,
    choice_log_probability,
    choice_places,
    other_circuit_choices,
    other_driven_choices,
    track_of,
)
from backprobe.core.inference.fit import Fit, by_round, fit, readings_log
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.held_still import held_still

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
    fits = fits.rows(distinct(bench, sheet, fits))
    score = fits.log_posterior + table.log_prior[fits.hypothesis]
    order = np.argsort(-score)
    n_near = min(most, int(np.sum(score > score.max() - within)))
    best, rest = fits.rows(order[:n_near]), fits.rows(order[n_near:])
    z = _better_choices(bench, sheet, best)
    source, changed = _worth_trying(bench, sheet, best)
    further = fit(
        bench.hypotheses.table,
        np.concatenate([best.hypothesis, best.hypothesis[source]]),
        np.concatenate([best.assigned, best.assigned[source]]),
        np.concatenate([z, changed]),
        sheet,
        steps,
        np.concatenate([best.lead_kind, best.lead_kind[source]]),
        gentle=fitting.GENTLE[-1:],
    )
    return fitting.concatenate([further, rest])


def distinct(bench: Workbench, sheet: Sheet, fits: Fit) -> IntArray:
    """Rows of a fit that are no copies of others: they explain the same in as good a way.

    What differs in a choice that some reading depends on is no copy, however alike it reads.
    """
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    bins = choice_places(rows, layout_of(rows, sheet), fits.z, fits.told)
    how_good = np.round(fits.log_posterior, 1)
    key = np.column_stack([fits.hypothesis, fits.assigned, bins, how_good])
    return np.sort(np.unique(key, axis=0, return_index=True)[1])


def _worth_trying(bench: Workbench, sheet: Sheet, fits: Fit) -> tuple[IntArray, Array]:
    """Other coordinates to fit from, beside those of the best explanations themselves.

    Returns which of them each comes from, and the coordinates.
    """
    found = [_unfitting_choices(bench, sheet, fits), held_still(bench, sheet, fits)]
    return np.concatenate([part[0] for part in found]), np.concatenate([part[1] for part in found])


def _unfitting_choices(bench: Workbench, sheet: Sheet, fits: Fit) -> tuple[IntArray, Array]:
    """Every other choice of the best explanations that take some reading for a mistake.

    Such a choice may have to be seen with all else fitted to it before it looks better.
    """
    odd = np.flatnonzero((fits.reading_log < ODD_READING).any(axis=1))[:N_UNFITTING]
    rows = bench.hypotheses.table.rows(fits.hypothesis[odd])
    layout = layout_of(rows, sheet)
    found = [
        other(rows, layout, fits.z[odd]) for other in (other_circuit_choices, other_driven_choices)
    ]
    source = np.concatenate([part[0] for part in found])
    return odd[source], np.concatenate([part[1] for part in found])


def _better_choices(bench: Workbench, sheet: Sheet, fits: Fit) -> Array:
    """Coordinates with choices put otherwise where the readings are better explained so.

    No fit moves a choice (is the input pulled up or down, did the wheel stop on a tooth?), so each
    is tried by itself, everything else as it stands: the driven ones in all rounds at once, as a
    round's readings depend on its own alone, then those of the circuit one at a time.
    """
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    layout = layout_of(rows, sheet)
    z, likelihood = _better_driven_choices(bench, sheet, fits, rows)
    best = likelihood + choice_log_probability(rows, layout, z)
    source, changed = other_circuit_choices(rows, layout, z)
    if not source.size:
        return z
    tried = score(
        bench,
        fits.hypothesis[source],
        fits.assigned[source],
        changed,
        sheet,
        fits.lead_kind[source],
    ).sum(axis=1)
    tried += choice_log_probability(rows.rows(source), layout, changed)
    for k in np.argsort(tried):
        row = source[k]
        if tried[k] > best[row]:
            z[row], best[row] = changed[k], tried[k]
    return z


def _better_driven_choices(
    bench: Workbench, sheet: Sheet, fits: Fit, rows: HypothesisTable
) -> tuple[Array, Array]:
    """Coordinates with the driven choices of each round as they explain its readings best.

    Returns them, (M, n_z), and the log likelihood there, (M,). Where a round has two ends, what
    one of them would change is looked at with the other one as it stands.
    """
    layout = layout_of(rows, sheet)
    now = fits.reading_log.sum(axis=1)
    some = np.flatnonzero(track_of(rows, layout).used.any(axis=(1, 2)))
    if not some.size:
        return fits.z.copy(), now
    own, track = fits.rows(some), track_of(rows.rows(some), layout)
    gain = np.where(np.isnan(track.middle), -np.inf, 0.0)
    places, count = track.places(own.z), track.n_option
    n_end, shape = layout.n_end, places.shape
    row, place = np.arange(len(some))[:, None], np.arange(shape[1])
    for c, end in product(range(shape[2]), range(n_end)):
        moving = track.used & (place % n_end == end)[:, None] & (np.arange(shape[2]) == c)
        for shift in range(1, int(count.max(initial=1, where=moving))):
            option = (places + shift) % np.maximum(count, 1)
            changed = track.moved(own.z, option, moving)
            found = score(bench, own.hypothesis, own.assigned, changed, sheet, own.lead_kind)
            better = np.repeat(by_round(found - own.reading_log, sheet), n_end, axis=1)
            at = (row, place, c, option[:, :, c])
            there = moving[:, :, c] & (shift < count[:, :, c])
            gain[at] = np.where(there, better, gain[at])
    best = track.moved(own.z, best_path(track, gain), track.used)
    found = score(bench, own.hypothesis, own.assigned, best, sheet, own.lead_kind).sum(axis=1)
    layout_rows = rows.rows(some)
    is_better = found + choice_log_probability(layout_rows, layout, best) > now[
        some
    ] + choice_log_probability(layout_rows, layout, own.z)
    z = fits.z.copy()
    z[some] = np.where(is_better[:, None], best, own.z)
    now[some] = np.where(is_better, found, now[some])
    return z, now


def start_z(bench: Workbench, sheet: Sheet, particle: IntArray) -> Array:
    """Coordinates of particles of the bank, laid out for a sheet."""
    table = bench.hypotheses.table
    whole, layout = layout_of(table, bench.sheet), layout_of(table, sheet)
    return start_coordinates(bench.bank, table, particle, whole, layout)


def score(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_kind: IntArray,
) -> Array:
    """Log likelihood of each reading at given coordinates, no slopes, (M, n_read)."""
    if not hypothesis.size:
        return np.zeros((0, sheet.n_read))
    return readings_log(bench.hypotheses.table.rows(hypothesis), assigned, z, sheet, lead_kind)
