"""Explanations under a bad measurement: black leads on bad points, a key that is not on."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import fit_split, start_z
from backprobe.services.problem import Condition, Problem, corrected_sheets

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_START = 12
N_CARRIED = 10  # explanations of the plain sheet that each alternative is tried with
STEPS = 6


def alternatives(bench: Workbench, problem: Problem, plain: Fit) -> list[Fit]:
    """Fits of each condition but the plain one: bad black leads in one batch, then the key."""
    table = bench.hypotheses.table
    order = np.argsort(-(plain.log_evidence + table.log_prior[plain.hypothesis]))
    carried = plain.rows(order[:N_CARRIED])
    conditions = problem.conditions[1:]
    lead = [c for c in conditions if c.bad_lead]
    found: list[Fit] = []
    if lead:
        batch = [_starts_without(bench, c, carried) for c in lead]
        sizes = [b[0].size for b in batch]
        fits = fit_split(
            bench,
            np.concatenate([b[0] for b in batch]),
            np.concatenate([b[1] for b in batch]),
            np.concatenate([b[2] for b in batch]),
            problem.sheet,
            STEPS,
            np.repeat(np.stack([c.lead_bad for c in lead]), sizes, axis=0),
        )
        ends = np.cumsum([0, *sizes])
        found += [fits.rows(np.arange(a, b)) for a, b in pairwise(ends)]
    for condition in conditions:
        if condition.key_off:
            starts = _starts_without(bench, condition, carried)
            found.append(fit_split(bench, *starts, condition.sheet, STEPS))
    return found


def _starts_without(
    bench: Workbench, condition: Condition, carried: Fit
) -> tuple[IntArray, IntArray, Array]:
    """Starts that the readings suggest, and what explained the plain sheet best.

    The other rounds speak for themselves; where a check tells how much is missing, the doubtful
    rounds are looked at as if it were missing from every reading alike.
    """
    table, sheet = bench.hypotheses.table, condition.sheet
    views: list[tuple[Sheet, tuple[int, ...]]] = [(sheet, condition.bad_rounds)]
    views += [(s, ()) for s in corrected_sheets(sheet, condition.bad_lead)]
    hypothesis, assigned, z = [carried.hypothesis], [carried.assigned], [carried.z]
    for view, skipped in views:
        start = screen(
            bench.bank,
            table,
            view,
            N_START,
            per_hypothesis=1,
            skipped=skipped,
        )
        hypothesis.append(start.hypothesis)
        assigned.append(start.assigned)
        z.append(start_z(bench, sheet, start.particle))
    return np.concatenate(hypothesis), np.concatenate(assigned), np.concatenate(z)
