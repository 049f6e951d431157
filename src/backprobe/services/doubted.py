"""Explanations under a bad measurement: black leads on bad points, a key that is not on."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import start_z
from backprobe.services.problem import Condition, corrected_sheets

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_START = 12
N_CARRIED = 10  # explanations of the plain sheet that each alternative is tried with
STEPS = 6
WORTH_WIDENING = 4.0  # nats behind the best within which a bad measurement is gone into


def alternatives(
    bench: Workbench, sheet: Sheet, conditions: Sequence[Condition], plain: Fit
) -> list[Fit]:
    """Fits of conditions other than the plain one: bad black leads in one batch, then the key.

    Parameters
    ----------
    bench : Workbench
        Of the sheet.
    sheet : Sheet
        Taken at its word.
    conditions : sequence of Condition
        Bad measurements, those of the black lead before those of the key.
    plain : Fit
        What explains the sheet taken at its word.
    """
    carried = plain.rows(leading(bench, plain)[:N_CARRIED])
    lead = [c for c in conditions if c.bad_lead]
    found: list[Fit] = []
    if lead:
        batch = [_starts_without(bench, c, carried) for c in lead]
        sizes = [b[0].size for b in batch]
        fits = fit(
            bench.hypotheses.table,
            np.concatenate([b[0] for b in batch]),
            np.concatenate([b[1] for b in batch]),
            np.concatenate([b[2] for b in batch]),
            sheet,
            STEPS,
            np.repeat(np.stack([c.lead_bad for c in lead]), sizes, axis=0),
        )
        ends = np.cumsum([0, *sizes])
        found += [fits.rows(np.arange(a, b)) for a, b in pairwise(ends)]
    for condition in conditions:
        if condition.key_off:
            starts = _starts_without(bench, condition, carried)
            found.append(fit(bench.hypotheses.table, *starts, condition.sheet, STEPS))
    return found


def leading(bench: Workbench, fits: Fit) -> IntArray:
    """Rows of a fit, the most probable explanation first."""
    prior = bench.hypotheses.table.log_prior[fits.hypothesis]
    return np.argsort(-(fits.log_evidence + prior))


def reached(bench: Workbench, conditions: Sequence[Condition], fits: Sequence[Fit]) -> Array:
    """Log evidence with priors of the best explanation of each condition."""
    prior = bench.hypotheses.table.log_prior
    best = [(f.log_evidence + prior[f.hypothesis]).max() for f in fits]
    return np.array(best) + [c.log_prior for c in conditions]


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
