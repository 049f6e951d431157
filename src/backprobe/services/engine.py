"""From a problem to weighted draws: search, fit, weigh.

1. The plain sheet is explained (`search`), then the same for each way in which the measurement
   itself may be bad (`doubted`).
2. The best groups are sampled; what trails far behind keeps Laplace's evidence.

An answer may start from an earlier one on the same connector (`carry`): a reading more seldom
changes everything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from backprobe.core.inference import importance
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.importance import Draws, Group
from backprobe.services.bank_cache import Workbench
from backprobe.services.carry import go_on, grew_out_of
from backprobe.services.doubted import alternatives
from backprobe.services.options import with_options
from backprobe.services.problem import Condition, Problem
from backprobe.services.search import explore, widened
from backprobe.vocabulary import CONNECTOR_KINDS

N_GROUP = 12  # groups that are sampled
N_GROUP_ALTERNATIVE = 4
N_DRAW = 48
FAR_BEHIND = 14.0  # nats; groups further behind the best are not sampled
NEGLIGIBLE = 40.0  # nats; groups further behind have no weight that anyone could notice
WORTH_WIDENING = 4.0  # nats behind the best within which a bad measurement is gone into
KIND_RIGHT = 0.8  # probability that a connector is of the kind it is taken for (common practice)
SEED = 7


@dataclass(frozen=True, slots=True, eq=False)  # equal to itself alone, so that it can be a key
class Posterior:
    """Everything that is known after the readings.

    draws : weighted draws over all conditions.
    fits : fitted explanations by condition.
    groups : groups of them, best first, by condition.
    stable : whether no single draw carries most of what a group weighs.
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


def infer(problem: Problem, bench: Workbench, earlier: Posterior | None = None) -> Posterior:
    """Weigh all explanations of a problem, going on from an earlier answer where there is one."""
    rng = np.random.default_rng(SEED)
    bench = with_kind(bench, problem.job.connector.kind)
    table = bench.hypotheses.table
    plain = _from_earlier(problem, bench, earlier)
    if plain is None:
        plain = explore(bench, problem.sheet)
    fits = [plain, *alternatives(bench, problem, plain)]
    reached = _reached(table, problem, fits)
    fits[1:] = [
        widened(bench, c.sheet, f) if x > max(reached) - WORTH_WIDENING else f
        for f, c, x in zip(fits[1:], problem.conditions[1:], reached[1:], strict=True)
    ]
    reached = _reached(table, problem, fits)
    fits = [
        with_options(bench, c.sheet, f, max(reached) - x)
        for f, c, x in zip(fits, problem.conditions, reached, strict=True)
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


def _reached(table: HypothesisTable, problem: Problem, fits: list[Fit]) -> list[float]:
    """Log evidence with priors of the best explanation of each condition."""
    return [
        float((f.log_evidence + table.log_prior[f.hypothesis]).max()) + c.log_prior
        for f, c in zip(fits, problem.conditions, strict=True)
    ]


def _from_earlier(problem: Problem, bench: Workbench, earlier: Posterior | None) -> Fit | None:
    """Fits of the plain sheet that an earlier answer leads to, None where it can't serve."""
    if earlier is None or earlier.bench.hypotheses.pairs is not bench.hypotheses.pairs:
        return None
    old = earlier.problem.sheet
    if old.n_read == 0 or not grew_out_of(problem.sheet, old):
        return None
    return go_on(bench, problem.sheet, earlier.fits[0], old)


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
    groups = [g for g in groups if g.log_evidence + log_prior > best - NEGLIGIBLE]
    if not groups:
        return []
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
