"""Draws from the best groups of explanations, Laplace's evidence for those that trail behind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import draws, importance
from backprobe.core.inference import fit as fitting
from backprobe.core.inference.draws import Draws
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.grouped_modes import Group
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.conditions import Condition

IntArray = NDArray[np.int64]

N_GROUP = 16  # groups that are sampled, of all conditions together
N_DRAW = 48  # of each
# Nats behind the best within which groups are sampled. Sampling moved an evidence by less than
# three nats in all of 671 groups of 60 simulated vehicles.
FAR_BEHIND = 6.0
NEGLIGIBLE = 40.0  # nats; groups further behind have no weight that anyone could notice


def draws_of(
    bench: Workbench,
    conditions: Sequence[Condition],
    fits: Sequence[Fit],
    groups: Sequence[Sequence[Group]],
    rng: np.random.Generator,
    *,
    sampled: bool = True,
) -> Draws:
    """Weighted draws of the groups of all conditions.

    Parameters
    ----------
    bench : Workbench
        Of the sheets.
    conditions, fits, groups : sequences of the same length
        Each condition, what was fitted under it, and the groups of these fits.
    rng : numpy.random.Generator
        Source of randomness.
    sampled : bool
        Whether the best groups are sampled; else all of them keep Laplace's evidence.
    """
    known = [group for own in groups for group in own]
    best = max(group.log_mass for group in known)
    order = sorted((g for g in known if g.log_mass > best - NEGLIGIBLE), key=lambda g: -g.log_mass)
    leading = [g for g in order[:N_GROUP] if sampled and g.log_mass > best - FAR_BEHIND]
    near = {(g.condition, g.number) for g in leading}
    parts = []
    for sheet, which in _by_sheet(conditions):
        joined, some = _joined(fits, [g for g in order if g.condition in which])
        if some:
            parts += _draws(bench, sheet, joined, some, near, rng)
    return draws.concatenate(parts)


def _by_sheet(conditions: Sequence[Condition]) -> Iterator[tuple[Sheet, list[int]]]:
    """Sheets, and the conditions that share each one: all but those of the key share the plain."""
    left = list(range(len(conditions)))
    while left:
        sheet = conditions[left[0]].sheet
        yield sheet, [n for n in left if conditions[n].sheet is sheet]
        left = [n for n in left if conditions[n].sheet is not sheet]


def _joined(fits: Sequence[Fit], groups: Sequence[Group]) -> tuple[Fit, list[Group]]:
    """The modes of some groups as one fit, and the groups as they are numbered there."""
    if not groups:
        return fits[0], []
    parts, start, first = [], 0, {}
    for condition in dict.fromkeys(g.condition for g in groups):
        modes = np.concatenate([g.modes for g in groups if g.condition == condition])
        parts.append(fits[condition].rows(modes))
        first[condition], start = start, start + modes.size
    moved = []
    for group in groups:
        at = first[group.condition]
        first[group.condition] += group.modes.size
        moved.append(replace(group, modes=np.arange(at, first[group.condition])))
    return fitting.concatenate(parts), moved


def _draws(
    bench: Workbench,
    sheet: Sheet,
    fits: Fit,
    groups: list[Group],
    near: set[tuple[int, int]],
    rng: np.random.Generator,
) -> list[Draws]:
    """Of groups that share a sheet."""
    table = bench.hypotheses.table
    laplace = importance.laplace_draws(table, sheet, fits, groups)
    is_near = np.array([(g.condition, g.number) in near for g in groups])
    some = np.flatnonzero(is_near)
    parts = [laplace.rows(np.flatnonzero(~is_near))]
    if some.size:
        first = fits.hypothesis[[g.modes[0] for g in groups]]
        n_switch = (table.circuits.switch_share[first] >= 0).sum(axis=1)
        # Any order will do; this one gives every group the random numbers that it always had.
        some = some[np.argsort(n_switch[some], kind="stable")]
        own, log_laplace = [groups[k] for k in some], laplace.log_weight[some]
        parts.append(importance.sample_groups(table, sheet, fits, own, N_DRAW, rng, log_laplace))
    return parts
