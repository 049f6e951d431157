"""A search that goes on from an earlier answer on the same connector.

Between two readings little changes: the explanations that were near are fitted again to the sheet
with the new reading, those under a bad measurement beside them, and a few that the bank suggests
afresh. Where another explanation takes the lead, its own rivals are looked for as in a first
search; a bad measurement that becomes likely is searched as if it were looked at for the first
time. At a glance neither is done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import carry_bases, last_choices, layout_of
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.conditions import Condition
from backprobe.services.depth import Depth
from backprobe.services.doubted import (
    WORTH_WIDENING,
    Starts,
    alternatives,
    in_one_batch,
    joined,
    leading,
    reached,
    with_rivals,
)
from backprobe.services.fits import LAST_STEPS, distinct, refined, start_z
from backprobe.services.problem import Problem
from backprobe.services.search import NEAR, widened
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Most = tuple[int, int]

TAKEN_OVER = (10, 20)  # explanations that are kept: without a fault and with one
OF_DOUBTED = (2, 3)  # those of each bad measurement
OF_FAR = (1, 1)  # those of each that was far behind
OF_PLAIN = (1, 2)  # those of the plain sheet that each bad measurement is tried with, too
N_FRESH = 8  # explanations that the bank suggests
STEPS = 3
FAR_BEHIND = 8.0  # nats behind the best from which a bad measurement is hardly looked at again
FEW = 5  # readings, those of battery and lead check too, that leave more than was kept of before
SURPRISE = 4.0  # nats that a new reading may cost the best explanation before all is reconsidered


@dataclass(frozen=True, slots=True)
class _Extent:
    """How much is looked at again.

    taken_over : explanations without a fault and with one.
    n_again, steps : explanations that are gone over once more, and how far.
    """

    taken_over: Most
    n_again: int
    steps: int


USUAL = _Extent(TAKEN_OVER, 12, LAST_STEPS)
AT_A_GLANCE = _Extent((6, 12), 8, 3)


@dataclass(frozen=True, slots=True)
class Known:
    """What is kept of an older sheet to go on from.

    problem : the older one.
    fits : the best ones of each of its conditions.
    numbering : of the hypotheses that they are numbered by.
    """

    problem: Problem
    fits: tuple[Fit, ...]
    numbering: str


def known_of(bench: Workbench, problem: Problem, fits: Sequence[Fit]) -> Known:
    """What to keep of the fits of a problem's conditions: as much as `go_on` takes over."""
    kept: list[Fit] = []
    for condition, own in zip(problem.conditions, fits, strict=True):
        rows = _taken_over(bench, condition.sheet, own, *(OF_DOUBTED if kept else TAKEN_OVER))
        kept.append(own.rows(np.union1d(rows, np.argmax(own.log_posterior))))
    return Known(problem, tuple(kept), bench.hypotheses.numbering)


def go_on(
    bench: Workbench, problem: Problem, known: Known, depth: Depth = Depth.QUICK
) -> list[Fit] | None:
    """Fits of each condition of a problem that grew out of an older one.

    Parameters
    ----------
    bench : Workbench
        Of both.
    problem : Problem
        As it is now.
    known : Known
        What explained the older one; its readings are among those of now.
    depth : Depth
        At a glance no rivals are looked for beside those that are known or that the bank suggests.

    Returns
    -------
    list of Fit, or None
        None where the sheet has to be searched anew.
    """
    is_glance = depth is Depth.GLANCE
    if not is_glance and problem.sheet.n_read <= FEW:
        return None
    extent = AT_A_GLANCE if is_glance else USUAL
    conditions, older = problem.conditions, _older(problem, known)
    carried = [
        n for n, at in enumerate(older) if at is not None and not conditions[n].has_own_sheet
    ]
    of_plain = known.fits[0].rows(_rows_taken_over(bench, known, 0, OF_PLAIN))
    fitted = {n: older[n] or 0 for n in carried}
    found = _fitted_together(bench, problem, known, fitted, of_plain, extent.taken_over)
    before = known.fits[0]
    plain = refined(
        bench, problem.sheet, found[0], extent.steps, most=extent.n_again, within=2 * NEAR
    )
    if _odd_readings_cost(plain) > _odd_readings_cost(before) + SURPRISE:
        return None
    if not is_glance and _leader(bench, plain) != _leader(bench, before):
        plain = widened(bench, problem.sheet, plain)
    found[0] = plain
    for n, condition in enumerate(conditions):
        at = older[n]
        if condition.has_own_sheet and at is not None:
            own = known.fits[at].rows(_rows_taken_over(bench, known, at, OF_DOUBTED))
            starts = [
                _starts(bench, condition, known, at, own),
                _starts(bench, condition, known, 0, of_plain),
            ]
            found[n] = fit(bench.hypotheses.table, *joined(starts), condition.sheet, STEPS)
    new = [n for n in range(len(conditions)) if n not in found]
    searched = alternatives(bench, problem.sheet, [conditions[n] for n in new], plain)
    found |= dict(zip(new, searched, strict=True))
    fits = [found[n] for n in range(len(conditions))]
    if is_glance:
        return fits
    return _gone_into(bench, problem, known, fits, older)


def worth_a_glance(bench: Workbench, problem: Problem, known: Known) -> Problem:
    """The problem without bad measurements that were far behind, or that a closer look tells apart.

    Of bad leads thought of for the first time the wandering ones are left: they explain what steady
    ones do, less surely.
    """
    near = _near(bench, known)
    plain, *doubted = problem.conditions
    kept = [
        c
        for c, at in zip(doubted, _older(problem, known)[1:], strict=True)
        if (near[at] if at is not None else c.wanders or bool(c.key_off or c.apart))
    ]
    return replace(problem, conditions=(plain, *kept))


def _older(problem: Problem, known: Known) -> list[int | None]:
    """Number of each condition among those of the older problem; None where it is new."""

    def named(whole: Problem, c: Condition) -> tuple[object, ...]:
        names = [r.name for r in whole.rounds]
        bad = tuple(tuple(names[i] for i in some) for some in (c.bad_lead, c.key_off, c.apart))
        return bad, c.wanders, c.comes_and_goes

    old = {named(known.problem, c): n for n, c in enumerate(known.problem.conditions)}
    return [old.get(named(problem, c)) for c in problem.conditions]


def _fitted_together(
    bench: Workbench,
    problem: Problem,
    known: Known,
    older: dict[int, int],
    of_plain: Fit,
    most: Most,
) -> dict[int, Fit]:
    """Fits of the conditions that share the plain sheet, the plain one first, in one batch.

    To a bad measurement that was near come the best explanations of the plain sheet.
    """
    table, sheet, conditions = bench.hypotheses.table, problem.sheet, problem.conditions
    fresh = screen(bench.bank, table, sheet, N_FRESH, per_hypothesis=1)
    plain = (fresh.hypothesis, fresh.assigned, start_z(bench, sheet, fresh.particle))
    own = known.fits[0].rows(_rows_taken_over(bench, known, 0, most))
    parts = [joined([plain, _starts(bench, conditions[0], known, 0, own)])]
    beside = _starts(bench, conditions[0], known, 0, of_plain)
    near = _near(bench, known)
    for n, at in older.items():
        if n > 0:
            some = OF_DOUBTED if near[at] else OF_FAR
            own = known.fits[at].rows(_rows_taken_over(bench, known, at, some))
            starts = _starts(bench, conditions[n], known, at, own)
            parts.append(joined([starts, beside]) if near[at] else starts)
    fits = in_one_batch(bench, sheet, [conditions[n] for n in older], parts, STEPS)
    return dict(zip(older, fits, strict=True))


def _near(bench: Workbench, known: Known) -> NDArray[np.bool_]:
    """Whether each condition was near the best, (n_condition,)."""
    before = reached(bench, known.problem.conditions, known.fits)
    return np.asarray(before > before.max() - FAR_BEHIND)


def _starts(bench: Workbench, condition: Condition, known: Known, at: int, best: Fit) -> Starts:
    """Fits of an older condition as starts on the sheet of another one now."""
    old = known.problem.conditions[at].sheet
    return best.hypothesis, best.assigned, recast(bench, best, old, condition.sheet)


def _rows_taken_over(bench: Workbench, known: Known, at: int, most: Most) -> IntArray:
    return _taken_over(bench, known.problem.conditions[at].sheet, known.fits[at], *most)


def _taken_over(bench: Workbench, sheet: Sheet, fits: Fit, n_sound: int, n_faulty: int) -> IntArray:
    """Rows of the best explanations without a fault, and of the best one of each of some faults.

    After few readings very many sound circuits explain them alike: the best of all would leave no
    fault among them, as if there could be none.
    """
    order = leading(bench, fits)
    score = (fits.log_evidence + bench.hypotheses.table.log_prior[fits.hypothesis])[order]
    order = order[score > score[0] - 2 * NEAR]
    order = order[distinct(bench, sheet, fits.rows(order))]
    kinds = [bench.hypotheses.pairs[h][1].kind for h in fits.hypothesis[order]]
    is_sound = np.array([kind == NO_FAULT for kind in kinds])
    faulty = order[~is_sound]
    first = np.sort(np.unique(fits.hypothesis[faulty], return_index=True)[1])
    return np.concatenate([order[is_sound][:n_sound], faulty[first][:n_faulty]])


def _gone_into(
    bench: Workbench,
    problem: Problem,
    known: Known,
    fits: list[Fit],
    older: Sequence[int | None],
) -> list[Fit]:
    """The same fits, bad measurements near the best gone into where they were not before."""
    score = reached(bench, problem.conditions, fits)
    before = reached(bench, known.problem.conditions, known.fits)
    found, unseen = list(fits), []
    for n, condition in enumerate(problem.conditions):
        if n == 0 or score[n] <= score.max() - WORTH_WIDENING:
            continue
        at = older[n]
        was_near = at is not None and before[at] > before.max() - WORTH_WIDENING
        if at is not None and not was_near:
            found[n] = alternatives(bench, problem.sheet, [condition], fits[0])[0]
        if at is None or not was_near or _leader(bench, fits[n]) != _leader(bench, known.fits[at]):
            unseen.append(n)
    return with_rivals(bench, problem.conditions, found, unseen)


def _leader(bench: Workbench, fits: Fit) -> int:
    """Hypothesis of the most probable explanation."""
    return int(fits.hypothesis[leading(bench, fits)[0]])


def _odd_readings_cost(fits: Fit) -> float:
    """Log likelihood that the readings which the best explanation misses cost it."""
    row = int(np.argmax(fits.log_posterior))
    return float(-np.minimum(fits.reading_log[row], 0.0).sum())


def recast(bench: Workbench, fits: Fit, old: Sheet, new: Sheet) -> Array:
    """Coordinates of fits to an older sheet, laid out for a new one; what is new starts at 0."""
    rows = bench.hypotheses.table.rows(fits.hypothesis)
    before, after = layout_of(rows, old), layout_of(rows, new)
    z = np.zeros((len(fits.hypothesis), after.size))
    z[:, : after.n_free] = fits.z[:, : before.n_free]
    z = carry_bases(rows, fits.z, before, after, z)
    known = {r.name: number for number, r in enumerate(old.rounds)}
    for number, ends in enumerate(after.ends):
        for end, state in enumerate(ends):
            before_it, at = last_choices(rows, fits.z, before, state)
            base = _choice_bases(rows, z[:, after.base(state)])
            z[:, after.choice(number, end)] = np.where(at >= 0, before_it, base)
    for number, item in enumerate(new.rounds):
        if item.name in known:
            earlier = known[item.name]
            z[:, after.change(number)] = fits.z[:, before.change(earlier)]
            for end in range(min(before.n_end, after.n_end)):
                z[:, after.choice(number, end)] = fits.z[:, before.choice(earlier, end)]
            z[:, list(after.lead(number))] = fits.z[:, list(before.lead(earlier))]
            point = before.point(old.rounds[earlier].point)
            z[:, after.point(item.point)] = fits.z[:, point]
    n_meter = before.point(0) - before.meter
    z[:, after.meter : after.meter + n_meter] = fits.z[:, before.meter : before.meter + n_meter]
    return z


def _choice_bases(rows: HypothesisTable, base: Array) -> Array:
    """Coordinates of the driven choices (M, C) among those of all driven quantities (M, Q)."""
    return np.take_along_axis(base, np.maximum(rows.choice_at, 0), axis=1)


def grew_out_of(sheet: Sheet, old: Sheet) -> bool:
    """Whether a sheet holds all that an older one held: connector, meter, rounds and readings."""
    now = {r.name: replace(r, point=0) for r in sheet.rounds}
    return (
        sheet.n_terminal == old.n_terminal
        and sheet.input_ohm == old.input_ohm
        and np.array_equal(sheet.role_log, old.role_log)
        and all(now.get(r.name) == replace(r, point=0) for r in old.rounds)
        and _readings(old) <= _readings(sheet)
    )


def _readings(sheet: Sheet) -> set[tuple[str, float]]:
    return set(zip(sheet.label, sheet.value.tolist(), strict=True))
