"""From a problem to weighted draws: screen, fit, widen the search, sample.

1. The bank says which hypotheses and assignments deserve a fit.
2. The best families are fitted with every one of their faults, and their best assignments with
   every exchange of two terminals, so that nearest rivals are always weighed.
3. The best groups are sampled; what trails far behind keeps Laplace's evidence.
4. The same for each way in which the measurement itself may be bad.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference import importance
from backprobe.core.inference.bank import start_coordinates
from backprobe.core.inference.fit import Fit, fit
from backprobe.core.inference.importance import Draws, Group
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.likelihood import indicate, log_likelihood
from backprobe.core.inference.predict import predict
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.problem import Condition, Problem, corrected_sheets
from backprobe.vocabulary import CONNECTOR_KINDS

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_START = 40
N_START_ALTERNATIVE = 12
N_CARRIED = 10  # explanations of the plain sheet that each alternative is tried with
N_FAMILY = 3  # families that are fitted with all their faults
N_GROUP = 12  # groups that are sampled
N_GROUP_ALTERNATIVE = 4
N_DRAW = 48
FAR_BEHIND = 14.0  # nats; groups further behind the best are not sampled
SEVERITY_STARTS = (-1.1, 0.0, 1.2)
FIRST_STEPS, LAST_STEPS, WIDEN_STEPS = 4, 5, 2
ALTERNATIVE_STEPS = 6
N_PARTICLE = 2  # starts of each explanation
N_REFINED = 30  # explanations whose fit is carried to the end
WORTH_WIDENING = 12.0  # nats behind the best within which a bad measurement is gone into
N_LAST = 15  # explanations that are gone over once more
N_UNFITTING = 5  # explanations with an odd reading whose other choices are all fitted
ODD_READING = -6.0  # log likelihood of a reading that looks like a mistake
HOPELESS = 80.0  # nats; explanations further behind the best are not carried on
KIND_RIGHT = 0.8  # probability that a connector is of the kind it is taken for (common practice)
SEED = 7


@dataclass(frozen=True, slots=True, eq=False)  # equal to itself alone, so that it can be a key
class Posterior:
    """Everything that is known after the readings.

    draws : weighted draws over all conditions.
    fits : fitted explanations by condition.
    groups : groups of them, best first, by condition.
    sampled : how many draws come from sampled groups (the rest are Laplace's).
    """

    problem: Problem
    bench: Workbench
    draws: Draws
    fits: tuple[Fit, ...]
    groups: tuple[tuple[Group, ...], ...]
    stable: bool

    @property
    def best_fit(self) -> tuple[int, int]:
        """Condition and row of the best explanation (posterior mass, then evidence)."""
        w = self.draws.weight
        scores: dict[tuple[int, int], float] = {}
        for c, g, x in zip(self.draws.condition, self.draws.group, w, strict=True):
            scores[(int(c), int(g))] = scores.get((int(c), int(g)), 0.0) + float(x)
        condition, group = max(scores, key=lambda k: scores[k])
        return condition, int(self.groups[condition][group].modes[0])


def infer(problem: Problem, bench: Workbench) -> Posterior:
    """Weigh all explanations of a problem."""
    rng = np.random.default_rng(SEED)
    bench = with_kind(bench, problem.job.connector.kind)
    table = bench.hypotheses.table
    plain = _explore(bench, problem.sheet)
    fits = [plain, *_alternatives(bench, problem, plain)]
    reached = [
        float((f.log_evidence + table.log_prior[f.hypothesis]).max()) + c.log_prior
        for f, c in zip(fits, problem.conditions, strict=True)
    ]
    fits[1:] = [
        _widened(bench, c.sheet, f) if x > max(reached) - WORTH_WIDENING else f
        for f, c, x in zip(fits[1:], problem.conditions[1:], reached[1:], strict=True)
    ]
    groups = [
        importance.group_modes(table, c.sheet, f)
        for c, f in zip(problem.conditions, fits, strict=True)
    ]
    best = max(
        g[0].log_evidence + c.log_prior for g, c in zip(groups, problem.conditions, strict=True)
    )
    parts: list[Draws] = []
    for number, condition in enumerate(problem.conditions):
        parts += _sample(bench, number, condition, fits[number], groups[number], best, rng)
    draws = importance.concatenate(parts)
    return Posterior(
        problem=problem,
        bench=bench,
        draws=draws,
        fits=tuple(fits),
        groups=tuple(tuple(g) for g in groups),
        stable=_is_stable(draws),
    )


def with_kind(bench: Workbench, kind: str) -> Workbench:
    """The same with what the technician takes the connector for, a witness that may be wrong."""
    if kind == "unknown":
        return bench
    hypotheses = bench.hypotheses
    said = np.array([family.kind == kind for family, _ in hypotheses.pairs])
    others = len(CONNECTOR_KINDS) - 2  # "unknown" is none
    shift = np.where(said, np.log(KIND_RIGHT), np.log((1.0 - KIND_RIGHT) / others))
    table = replace(hypotheses.table, log_prior=hypotheses.table.log_prior + shift)
    return replace(bench, hypotheses=replace(hypotheses, table=table))


def _is_stable(draws: Draws) -> bool:
    """Whether no single draw of a sampled group carries most of that group's weight."""
    w = draws.weight
    for group in np.unique(draws.group[draws.condition == 0]):
        mine = w[(draws.group == group) & (draws.condition == 0)]
        if mine.size > 1 and mine.sum() > 0.3 and mine.sum() ** 2 / np.sum(mine**2) < 5.0:
            return False
    return True


def _explore(bench: Workbench, sheet: Sheet) -> Fit:
    """Fits of the sheet taken at its word."""
    table = bench.hypotheses.table
    names = [family.id for family, _ in bench.hypotheses.pairs]
    kin = np.unique(names, return_inverse=True)[1]
    start = screen(bench.bank, table, sheet, N_START, per_assignment=N_PARTICLE, kin=kin)
    z = _start_z(bench, sheet, start.particle)
    first = fit_split(bench, start.hypothesis, start.assigned, z, sheet, FIRST_STEPS)
    return _widened(bench, sheet, _refined(bench, sheet, first, FIRST_STEPS))


def _widened(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits with their nearest rivals beside them, the best of all carried to the end."""
    wide = fitting.concatenate([fits, _widen(bench, sheet, fits)])
    near = _refined(bench, sheet, wide)
    return _refined(bench, sheet, near, most=N_LAST, within=FAR_BEHIND)


def _refined(
    bench: Workbench,
    sheet: Sheet,
    fits: Fit,
    steps: int = LAST_STEPS,
    most: int = N_REFINED,
    within: float = HOPELESS,
) -> Fit:
    """The same fits, the most promising of them with better choices and carried further."""
    table = bench.hypotheses.table
    fits = fits.rows(_distinct(fits))
    score = fits.log_posterior + table.log_prior[fits.hypothesis]
    order = np.argsort(-score)
    n_near = min(most, int(np.sum(score > score.max() - within)))
    best, rest = fits.rows(order[:n_near]), fits.rows(order[n_near:])
    z = _better_choices(bench, sheet, best)
    source, changed = _unfitting_choices(bench, sheet, best)
    refined = fit_split(
        bench,
        np.concatenate([best.hypothesis, best.hypothesis[source]]),
        np.concatenate([best.assigned, best.assigned[source]]),
        np.concatenate([z, changed]),
        sheet,
        steps,
        np.concatenate([best.lead_bad, best.lead_bad[source]]),
        gentle=fitting.GENTLE[-1:],
    )
    return fitting.concatenate([refined, rest])


def _distinct(fits: Fit) -> IntArray:
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


def _start_z(bench: Workbench, sheet: Sheet, particle: IntArray) -> Array:
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
    lead_bad: NDArray[np.bool_] | None = None,
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


def _widen(bench: Workbench, sheet: Sheet, first: Fit) -> Fit:
    """All faults of the best families, and all exchanges of two terminals of the best fit.

    Each fault is tried at several severities without fitting; its best one starts the fit.
    """
    table, hypotheses = bench.hypotheses.table, bench.hypotheses
    layout = layout_of(table, sheet)
    order = np.argsort(-(first.log_evidence + table.log_prior[first.hypothesis]))
    target, assigned, z = [], [], []
    families: list[str] = []
    for row in order:
        source = int(first.hypothesis[row])
        family = hypotheses.pairs[source][0].id
        if family in families:
            continue
        families.append(family)
        some = hypotheses.of_family(family)
        target.append(some)
        z.append(moved(bench, layout, source, first.z[row], some))
        assigned.append(np.repeat(first.assigned[row : row + 1], some.size, axis=0))
        if len(families) == N_FAMILY:
            break
    hypothesis, wires, start = np.concatenate(target), np.concatenate(assigned), np.concatenate(z)
    doubted = first.lead_bad[:1]
    start = _best_severity(bench, hypothesis, wires, start, sheet, doubted)
    best = int(order[0])
    swapped = _exchanges(first.assigned[best])
    n_swap = len(swapped)
    return fit_split(
        bench,
        np.concatenate([hypothesis, np.full(n_swap, first.hypothesis[best])]),
        np.concatenate([wires, swapped]),
        np.concatenate([start, np.repeat(first.z[best : best + 1], n_swap, axis=0)]),
        sheet,
        WIDEN_STEPS,
        np.repeat(doubted, hypothesis.size + n_swap, axis=0),
        gentle=fitting.GENTLE[-1:],
    )


def _best_severity(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_bad: NDArray[np.bool_],
) -> Array:
    """Starting coordinates with the severity that explains the readings best as they stand."""
    place = np.array([bench.hypotheses.severity_place(int(h)) for h in hypothesis])
    rows = np.arange(hypothesis.size)
    doubted = np.repeat(lead_bad, hypothesis.size, axis=0)
    scores, tried = [], []
    for severity in SEVERITY_STARTS:
        some = z.copy()
        some[rows[place >= 0], place[place >= 0]] = severity
        scores.append(score(bench, hypothesis, assigned, some, sheet, doubted))
        tried.append(some)
    best = np.argmax(np.stack(scores), axis=0)
    return np.asarray(np.stack(tried)[best, rows])


def score(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_bad: NDArray[np.bool_] | None = None,
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


def _exchanges(assigned: IntArray) -> IntArray:
    """An assignment with every two of its terminals exchanged, (n_pair, n_terminal)."""
    pairs = list(combinations(range(assigned.size), 2))
    swapped = np.repeat(assigned[None], len(pairs), axis=0)
    for k, (a, b) in enumerate(pairs):
        swapped[k, [a, b]] = swapped[k, [b, a]]
    return swapped


def moved(bench: Workbench, layout: Layout, source: int, z: Array, target: IntArray) -> Array:
    """Coordinates of one hypothesis carried over to others by the names of their values."""
    h = bench.hypotheses
    out = np.zeros((target.size, layout.size))
    free_from = {int(n): f for f, n in enumerate(h.free_name[source]) if n >= 0}
    driven_from = {int(n): q for q, n in enumerate(h.driven_name[source]) if n >= 0}
    fixed_part = slice(layout.lead(0)[0], layout.size)
    for k, t in enumerate(target):
        for f, name in enumerate(h.free_name[t]):
            if int(name) in free_from:
                out[k, f] = z[free_from[int(name)]]
        for q, name in enumerate(h.driven_name[t]):
            if int(name) not in driven_from:
                continue
            p = driven_from[int(name)]
            for state in layout.states:
                out[k, layout.base(state).start + q] = z[layout.base(state).start + p]
            for r in range(layout.n_round):
                out[k, layout.change(r).start + q] = z[layout.change(r).start + p]
        out[k, fixed_part] = z[fixed_part]
    return out


def _alternatives(bench: Workbench, problem: Problem, plain: Fit) -> list[Fit]:
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
            ALTERNATIVE_STEPS,
            np.repeat(np.stack([c.lead_bad for c in lead]), sizes, axis=0),
        )
        ends = np.cumsum([0, *sizes])
        found += [fits.rows(np.arange(a, b)) for a, b in pairwise(ends)]
    for condition in conditions:
        if condition.key_off:
            starts = _starts_without(bench, condition, carried)
            found.append(fit_split(bench, *starts, condition.sheet, ALTERNATIVE_STEPS))
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
            N_START_ALTERNATIVE,
            per_hypothesis=1,
            skipped=skipped,
        )
        hypothesis.append(start.hypothesis)
        assigned.append(start.assigned)
        z.append(_start_z(bench, sheet, start.particle))
    return np.concatenate(hypothesis), np.concatenate(assigned), np.concatenate(z)


def _sample(
    bench: Workbench,
    number: int,
    condition: Condition,
    fits: Fit,
    groups: list[Group],
    best: float,
    rng: np.random.Generator,
) -> list[Draws]:
    """Draws of the groups near the best, Laplace's evidence for the others."""
    table, sheet, log_prior = bench.hypotheses.table, condition.sheet, condition.log_prior
    most = N_GROUP if number == 0 else N_GROUP_ALTERNATIVE
    near = [g.log_evidence + log_prior > best - FAR_BEHIND for g in groups]
    sampled = [g for g, n in zip(groups, near, strict=True) if n][:most]
    laplace = importance.laplace_draws(
        table, sheet, fits, groups, condition=number, log_condition=log_prior
    )
    parts = []
    n_switch = (table.circuits.switch_share >= 0).sum(axis=1)
    count = [int(n_switch[fits.hypothesis[g.modes[0]]]) for g in sampled]
    start = 0
    while start < len(sampled):  # runs of groups with as many switching elements
        stop = start
        while stop < len(sampled) and count[stop] == count[start]:
            stop += 1
        parts.append(
            importance.sample_groups(
                table,
                sheet,
                fits,
                sampled[start:stop],
                N_DRAW,
                rng,
                laplace.log_weight[start:stop],
                condition=number,
                log_condition=log_prior,
                first_group=start,
            )
        )
        start = stop
    if len(sampled) < len(groups):
        parts.append(laplace.rows(np.arange(len(sampled), len(groups))))
    return parts
