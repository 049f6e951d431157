"""Options of a circuit (is the input pulled up to 5 V or to the sensor supply?) as masses that add.

A fit stands on one option of each choice. What the readings can't tell from it belongs to the same
explanation and its probability is added; another option that explains them about as well is fitted
beside it, a mode of its own. Without this a circuit would pay for every choice that its file lists:
written with two options that read the same, it would count half.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.choices import (
    choice_bins,
    choice_places,
    other_circuit_choices,
)
from backprobe.core.inference.fit import INDIFFERENT, Fit, fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import distinct, score

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

NOTICED = 10.0  # nats behind the best; what the options of others weigh changes nothing
BESIDE = 4.0  # nats behind the best within which other options are fitted
NEAR_OPTION = 8.0  # nats that another option may cost as all else stands, to be worth a fit
STEPS = 3
N_FITTED = 40  # other options that are fitted, at most


@dataclass(frozen=True, slots=True)
class _Others:
    """Every other option of each choice of some circuits, one at a time, all else as it stands.

    source : ndarray of int, shape (n,): fit that each comes from.
    place : ndarray of int, shape (n,): which coordinate is the choice.
    z : ndarray, shape (n,): what it is put on.
    cost : ndarray, shape (n,): by how much that makes the readings less likely, nats.
    """

    source: IntArray
    place: IntArray
    z: Array
    cost: Array


def with_options(bench: Workbench, sheet: Sheet, fits: Fit, ahead: float = 0.0) -> Fit:
    """The same fits with the mass of their circuits' other options.

    Parameters
    ----------
    bench : Workbench
        Of the sheet.
    sheet : Sheet
        What was fitted.
    fits : Fit
        Explanations.
    ahead : float
        Nats by which the best of another condition leads the best of these.
    """
    table = bench.hypotheses.table
    fits = fits.rows(distinct(bench, sheet, fits))
    reached = fits.log_evidence + table.log_prior[fits.hypothesis]
    behind = reached.max() + ahead - reached
    has_choice = table.static.is_choice[fits.hypothesis].any(axis=1)
    noticed = has_choice & (behind < NOTICED)
    if not noticed.any():
        return fits
    kin = np.isin(fits.hypothesis, fits.hypothesis[noticed])
    own, rest = fits.rows(np.flatnonzero(kin)), fits.rows(np.flatnonzero(~kin))
    behind, noticed = behind[kin], noticed[kin]
    others = _others(bench, sheet, own, np.flatnonzero(noticed))
    own = _counting(bench, sheet, own, _told(bench, own, others))
    beside = _beside(bench, sheet, own, others, behind)
    return fitting.concatenate([own, rest, *beside])


def _others(bench: Workbench, sheet: Sheet, fits: Fit, some: IntArray) -> _Others:
    """Of some of the fits."""
    rows = bench.hypotheses.table.rows(fits.hypothesis[some])
    source, changed = other_circuit_choices(rows, layout_of(rows, sheet), fits.z[some])
    source = some[source]
    found = score(
        bench,
        fits.hypothesis[source],
        fits.assigned[source],
        changed,
        sheet,
        fits.lead_kind[source],
    )
    place = np.argmax(changed != fits.z[source], axis=1)  # the only one that differs
    cost = (fits.reading_log[source] - found).sum(axis=1)
    return _Others(source, place, changed[np.arange(place.size), place], cost)


def _told(bench: Workbench, fits: Fit, others: _Others) -> Bools:
    """Which choices count: those of a circuit only where its readings depend on them.

    A draw's likelihood sums over all wirings; what counts in one wiring therefore does in all
    of that hypothesis. A wiring far behind its best one has no say.
    """
    n_h = bench.hypotheses.table.n_wire.size
    is_choice = bench.hypotheses.table.static.is_choice
    best = np.full(n_h, -np.inf)
    np.maximum.at(best, fits.hypothesis, fits.log_evidence)
    has_say = fits.log_evidence > best[fits.hypothesis] - NEAR_OPTION
    matters = (np.abs(others.cost) > INDIFFERENT) & has_say[others.source]
    counts = np.zeros_like(is_choice)
    counts[fits.hypothesis[others.source[matters]], others.place[matters]] = True
    told = fits.told.copy()
    told[:, : is_choice.shape[1]] = counts[fits.hypothesis]
    return told


def _counting(bench: Workbench, sheet: Sheet, fits: Fit, told: Bools) -> Fit:
    """The same fits with the choices that are ``told`` counted, the others summed over."""
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    log_choice = choice_bins(rows, layout_of(rows, sheet), fits.z, told)[1]
    log_evidence = fits.log_evidence - fits.log_choice + log_choice
    return replace(fits, told=told, log_choice=log_choice, log_evidence=log_evidence)


def _beside(bench: Workbench, sheet: Sheet, fits: Fit, others: _Others, behind: Array) -> list[Fit]:
    """Other options of the nearest explanations, all else fitted to them."""
    source, z, cost = _combinations(fits, others, behind < BESIDE)
    keys = _keys(bench, sheet, fits.rows(source), z)
    # One that ended far from its best says nothing of its option.
    known = fits.rows(np.flatnonzero(behind < NOTICED))
    known_keys = set(_keys(bench, sheet, known, known.z))
    new = [k for k in np.argsort(behind[source] + cost, kind="stable") if keys[k] not in known_keys]
    if not new:
        return []
    chosen = np.array(new[:N_FITTED])
    source = source[chosen]
    found = fit(
        bench.hypotheses.table,
        fits.hypothesis[source],
        fits.assigned[source],
        z[chosen],
        sheet,
        STEPS,
        fits.lead_kind[source],
        gentle=(),
    )
    # What is summed over in the one is not counted again in the other.
    told, n_free = found.told.copy(), bench.hypotheses.table.static.is_choice.shape[1]
    told[:, :n_free] = fits.told[source, :n_free]
    return [_counting(bench, sheet, found, told)]


def _combinations(fits: Fit, others: _Others, near: Bools) -> tuple[IntArray, Array, Array]:
    """Options of the choices that the readings tell, taken together in every way.

    Only those that alone cost little. Returns the fit that each comes from, its coordinates, and
    its cost as if costs added up.
    """
    worth = near[others.source] & (others.cost < NEAR_OPTION)
    worth &= fits.told[others.source, others.place]
    source, z, cost = [], [np.zeros((0, fits.z.shape[1]))], []
    for row in np.unique(others.source[worth]):
        mine = np.flatnonzero(worth & (others.source == row))
        places = np.unique(others.place[mine])
        options = [[None, *mine[others.place[mine] == place]] for place in places]
        for combination in product(*options):
            moved = [k for k in combination if k is not None]
            if moved:
                changed = fits.z[row : row + 1].copy()
                changed[0, others.place[moved]] = others.z[moved]
                source.append(row)
                z.append(changed)
                cost.append(others.cost[moved].sum())
    return np.array(source, dtype=np.int64), np.concatenate(z), np.array(cost)


def _keys(bench: Workbench, sheet: Sheet, fits: Fit, z: Array) -> list[bytes]:
    """What tells explanations apart, at other coordinates: hypothesis, wires and choices."""
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    bins = choice_places(rows, layout_of(rows, sheet), z, fits.told)
    return [k.tobytes() for k in np.column_stack([fits.hypothesis, fits.assigned, bins])]
