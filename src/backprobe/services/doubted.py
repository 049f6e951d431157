"""Explanations under a bad measurement (black leads on bad points, a key that is not on).

And those of a fault that comes and goes, there only while wire and connector were wiggled.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import lifted_alike
from backprobe.core.inference.fit import Fit, concatenate, fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.conditions import Condition
from backprobe.services.depth import Depth
from backprobe.services.fits import refined, start_z
from backprobe.services.lead_guesses import lead_guesses, no_guess
from backprobe.services.nearby import all_faults, nearest_rivals
from backprobe.services.search import explore, widened

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Starts = tuple[IntArray, IntArray, Array]  # hypotheses, their wires, coordinates

N_START = 12
N_STEADY = 12  # explanations behind a wandering lead that a steady one goes on from
N_RESTING = 5  # families that explain the rounds at rest, all faults of which may come and go
N_CARRIED = 10  # explanations of the plain sheet that each alternative is tried with
STEPS = 6
WORTH_WIDENING = 4.0  # nats behind the best within which a bad measurement is gone into


def alternatives(
    bench: Workbench, sheet: Sheet, conditions: Sequence[Condition], plain: Fit
) -> list[Fit]:
    """Fits of conditions other than the plain one, in their order.

    Bad black leads in one batch, then key and connector, then a fault that comes and goes.

    Parameters
    ----------
    bench : Workbench
        Of the sheet.
    sheet : Sheet
        Taken at its word.
    conditions : sequence of Condition
        Bad measurements, those of the black lead first.
    plain : Fit
        What explains the sheet taken at its word.
    """
    carried = plain.rows(leading(bench, plain)[:N_CARRIED])
    found = _behind_bad_leads(bench, sheet, [c for c in conditions if c.bad_lead], carried)
    for condition in conditions:
        if condition.key_off or condition.apart:
            starts = _starts_without(bench, condition, carried)
            found.append(fit(bench.hypotheses.table, *starts, condition.sheet, STEPS))
        elif condition.comes_and_goes:
            found.append(_while_wiggled(bench, condition.sheet, carried))
    return found


def _while_wiggled(bench: Workbench, sheet: Sheet, carried: Fit) -> Fit:
    """Fits of faults that are there in wiggled rounds only.

    What explains the other rounds is the circuit without them; its faults, tried on all rounds,
    are what may have come.
    """
    resting = explore(bench, sheet.only(sheet.spared[sheet.round]), Depth.QUICK)
    best = resting.rows(leading(bench, resting)[:N_START])
    starts = joined([(f.hypothesis, f.assigned, f.z) for f in (best, carried)])
    found = fit(bench.hypotheses.table, *starts, sheet, STEPS)
    rivals = nearest_rivals(bench, sheet, resting), all_faults(bench, sheet, resting, N_RESTING)
    return refined(bench, sheet, concatenate([found, *rivals]))


def _behind_bad_leads(
    bench: Workbench, sheet: Sheet, conditions: Sequence[Condition], carried: Fit
) -> list[Fit]:
    """Fits of bad black leads; steady ones go on from where wandering ones led, which pull less."""
    if not conditions:
        return []
    sets = list(dict.fromkeys(c.bad_lead for c in conditions))
    wandering = [Condition(sheet, 0.0, which, wanders=True) for which in sets]
    first = in_one_batch(
        bench, sheet, wandering, [_starts_without(bench, c, carried) for c in wandering]
    )
    by_set = dict(zip(sets, first, strict=True))
    steady = [c for c in conditions if not c.wanders]
    starts = [_steady(bench, sheet, by_set[c.bad_lead], c) for c in steady]
    of_steady = iter(in_one_batch(bench, sheet, steady, starts))
    return [by_set[c.bad_lead] if c.wanders else next(of_steady) for c in conditions]


def _steady(bench: Workbench, sheet: Sheet, wandering: Fit, condition: Condition) -> Starts:
    """The best explanations behind a wandering lead as starts behind a steady one."""
    best = wandering.rows(leading(bench, wandering)[:N_STEADY])
    kind = np.repeat(condition.lead_kind[None], len(best.z), axis=0)
    layout = layout_of(bench.hypotheses.table.rows(best.hypothesis), sheet)
    return best.hypothesis, best.assigned, lifted_alike(layout, best.z, best.lead_kind, kind)


def with_rivals(
    bench: Workbench, conditions: Sequence[Condition], fits: Sequence[Fit], which: Sequence[int]
) -> list[Fit]:
    """The same fits of all conditions, those of some with their nearest rivals beside them.

    To a steady bad lead come the rivals found behind the same lead wandering: what it leaves room
    for is within reach of more starts.
    """
    found = list(fits)
    for n in sorted(which, key=lambda n: not conditions[n].wanders):
        condition = conditions[n]
        twin = next(
            (k for k, c in enumerate(conditions) if c.wanders and c.bad_lead == condition.bad_lead),
            n,
        )
        if twin != n:
            wide = found[twin] if twin in which else widened(bench, condition.sheet, fits[twin])
            starts = _steady(bench, condition.sheet, wide, condition)
            more = in_one_batch(bench, condition.sheet, [condition], [starts])
            found[n] = concatenate([found[n], *more])
        found[n] = widened(bench, condition.sheet, found[n])
    return found


def in_one_batch(
    bench: Workbench,
    sheet: Sheet,
    conditions: Sequence[Condition],
    starts: Sequence[Starts],
    n_step: int = STEPS,
) -> list[Fit]:
    """Fits of conditions that share a sheet, each from its own starts."""
    if not conditions:
        return []
    sizes = [own[0].size for own in starts]
    kind = np.repeat(np.stack([c.lead_kind for c in conditions]), sizes, axis=0)
    fits = fit(bench.hypotheses.table, *joined(starts), sheet, n_step, kind)
    ends = np.cumsum([0, *sizes])
    return [fits.rows(np.arange(a, b)) for a, b in pairwise(ends)]


def joined(parts: Sequence[Starts]) -> Starts:
    """Starts one after the other."""
    hypothesis, assigned, z = zip(*parts, strict=True)
    return np.concatenate(hypothesis), np.concatenate(assigned), np.concatenate(z)


def leading(bench: Workbench, fits: Fit) -> IntArray:
    """Rows of a fit, the most probable explanation first."""
    prior = bench.hypotheses.table.log_prior[fits.hypothesis]
    return np.argsort(-(fits.log_evidence + prior))


def reached(bench: Workbench, conditions: Sequence[Condition], fits: Sequence[Fit]) -> Array:
    """Log evidence with priors of the best explanation of each condition."""
    prior = bench.hypotheses.table.log_prior
    best = [(f.log_evidence + prior[f.hypothesis]).max() for f in fits]
    return np.array(best) + [c.log_prior for c in conditions]


def _starts_without(bench: Workbench, condition: Condition, carried: Fit) -> Starts:
    """Starts that the readings suggest, and what explained the plain sheet best.

    The other rounds speak for themselves; where a check tells how much is missing, the doubtful
    rounds are looked at as if it were missing from every reading alike.
    """
    table, sheet, bad = bench.hypotheses.table, condition.sheet, condition.bad_lead
    unknown = no_guess(sheet)
    views = [(unknown, condition.bad_rounds), *((guess, ()) for guess in lead_guesses(sheet, bad))]
    z = unknown.behind(layout_of(table, sheet), carried.z, bad)
    starts = [(carried.hypothesis, carried.assigned, z)]
    for guess, skipped in views:
        start = screen(bench.bank, table, guess.sheet, N_START, per_hypothesis=1, skipped=skipped)
        z = start_z(bench, sheet, start.particle)
        z = guess.behind(layout_of(table, sheet), z, bad)
        starts.append((start.hypothesis, start.assigned, z))
    return joined(starts)
