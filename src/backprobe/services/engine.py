"""From a problem to weighted draws: screen, fit, widen the search, sample.

1. The bank says which hypotheses and assignments deserve a fit.
2. The best families are fitted with every one of their faults, and their best assignments with
   every exchange of two terminals, so that nearest rivals are always weighed.
3. The best groups are sampled; what trails far behind keeps Laplace's evidence.
4. The same for each way in which the measurement itself may be bad.
"""

from __future__ import annotations

from dataclasses import dataclass
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
from backprobe.services.problem import Condition, Problem
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_START = 40
N_START_ALTERNATIVE = 12
N_CARRIED = 10  # explanations of the plain sheet that each alternative is tried with
N_FAMILY = 2  # families that are fitted with all their faults
N_GROUP = 12  # groups that are sampled
N_GROUP_ALTERNATIVE = 4
N_DRAW = 48
FAR_BEHIND = 14.0  # nats; groups further behind the best are not sampled
SEVERITY_STARTS = (-1.1, 0.0, 1.2)
FIRST_STEPS, LAST_STEPS, WIDEN_STEPS = 3, 4, 1
ALTERNATIVE_STEPS = 6
N_FLIPPED = 4  # explanations whose choices are tried otherwise
N_REFINED = 20  # explanations whose fit is carried to the end
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
    plain = _explore(bench, problem.sheet)
    fits = [plain, *_alternatives(bench, problem, plain)]
    table = bench.hypotheses.table
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
    start = screen(bench.bank, table, sheet, N_START)
    z = _start_z(bench, sheet, start.particle)
    first = fit_split(bench, start.hypothesis, start.assigned, z, sheet, FIRST_STEPS)
    first = _refined(bench, sheet, first, N_REFINED)
    return fitting.concatenate([first, _widen(bench, sheet, first)])


def _refined(bench: Workbench, sheet: Sheet, fits: Fit, most: int) -> Fit:
    """The same fits, the most promising of them carried further."""
    table = bench.hypotheses.table
    order = np.argsort(-(fits.log_posterior + table.log_prior[fits.hypothesis]))
    best, rest = order[:most], order[most:]
    refined = fit_split(
        bench,
        fits.hypothesis[best],
        fits.assigned[best],
        fits.z[best],
        sheet,
        LAST_STEPS,
        fits.lead_bad[best],
        gentle=(),
    )
    return fitting.concatenate([refined, fits.rows(rest)])


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
    start = _best_severity(bench, hypothesis, wires, start, sheet)
    best = int(order[0])
    swapped = _exchanges(first.assigned[best])
    n_swap = len(swapped)
    chosen = _other_choices(bench, sheet, hypothesis, wires, start, first.rows(order[:N_FLIPPED]))
    tried = fit_split(
        bench,
        np.concatenate([hypothesis, np.full(n_swap, first.hypothesis[best]), chosen[0]]),
        np.concatenate([wires, swapped, chosen[1]]),
        np.concatenate([start, np.repeat(first.z[best : best + 1], n_swap, axis=0), chosen[2]]),
        sheet,
        WIDEN_STEPS,
        gentle=fitting.GENTLE[-1:],
    )
    return _refined(bench, sheet, tried, N_REFINED)


def _other_choices(
    bench: Workbench,
    sheet: Sheet,
    hypothesis: IntArray,
    wires: IntArray,
    start: Array,
    best: Fit,
) -> tuple[IntArray, IntArray, Array]:
    """The best explanations, and the sound circuits, with one choice each put otherwise.

    No fit moves a choice (is the input pulled up or down, did the wheel stop on a tooth?), so
    each is tried by itself.
    """
    sound = np.array([bench.hypotheses.pairs[int(h)][1].kind == NO_FAULT for h in hypothesis])
    origin = np.concatenate([best.hypothesis, hypothesis[sound]])
    assigned = np.concatenate([best.assigned, wires[sound]])
    z = np.concatenate([best.z, start[sound]])
    rows = bench.hypotheses.table.rows(origin)
    source, changed = fitting.other_choices(rows, layout_of(rows, sheet), z)
    return origin[source], assigned[source], changed


def _best_severity(
    bench: Workbench, hypothesis: IntArray, assigned: IntArray, z: Array, sheet: Sheet
) -> Array:
    """Starting coordinates with the severity that explains the readings best as they stand."""
    place = np.array([bench.hypotheses.severity_place(int(h)) for h in hypothesis])
    rows = np.arange(hypothesis.size)
    scores, tried = [], []
    for severity in SEVERITY_STARTS:
        some = z.copy()
        some[rows[place >= 0], place[place >= 0]] = severity
        scores.append(score(bench, hypothesis, assigned, some, sheet))
        tried.append(some)
    best = np.argmax(np.stack(scores), axis=0)
    return np.asarray(np.stack(tried)[best, rows])


def score(
    bench: Workbench, hypothesis: IntArray, assigned: IntArray, z: Array, sheet: Sheet
) -> Array:
    """Log likelihood of the readings at given coordinates, no slopes, (M,)."""
    table = bench.hypotheses.table
    n_switch = (table.circuits.switch_share[hypothesis] >= 0).sum(axis=1)
    found = np.empty(hypothesis.size)
    for count in np.unique(n_switch):
        index = np.flatnonzero(n_switch == count)
        rows = table.rows(hypothesis[index])
        prediction = predict(
            rows, z[index], sheet, assigned=assigned[index], ohm_rounds=sheet.ohm_rounds
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
            found.append(
                fit_split(
                    bench,
                    carried.hypothesis,
                    carried.assigned,
                    carried.z,
                    condition.sheet,
                    LAST_STEPS,
                )
            )
    return found


def _starts_without(
    bench: Workbench, condition: Condition, carried: Fit
) -> tuple[IntArray, IntArray, Array]:
    """Starts that the other rounds suggest, and what explained the plain sheet best."""
    table = bench.hypotheses.table
    start = screen(
        bench.bank,
        table,
        condition.sheet,
        N_START_ALTERNATIVE,
        per_hypothesis=1,
        skipped=condition.bad_lead,
    )
    z = _start_z(bench, condition.sheet, start.particle)
    return (
        np.concatenate([start.hypothesis, carried.hypothesis]),
        np.concatenate([start.assigned, carried.assigned]),
        np.concatenate([z, carried.z]),
    )


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
