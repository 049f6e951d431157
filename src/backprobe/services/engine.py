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

from backprobe.core.inference.draws import Draws
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.grouped_modes import Group, group_modes
from backprobe.services.bank_cache import Workbench
from backprobe.services.carry import FEW, Known, go_on, grew_out_of, known_of, worth_a_glance
from backprobe.services.depth import Depth
from backprobe.services.doubted import WORTH_WIDENING, alternatives, reached, with_rivals
from backprobe.services.options import with_options
from backprobe.services.problem import Problem
from backprobe.services.sampling import draws_of
from backprobe.services.search import explore, first_sight, without_mistakes
from backprobe.vocabulary import CONNECTOR_KINDS

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
        draws, n_group = self.draws, int(self.draws.group.max()) + 1
        mass = np.bincount(draws.condition * n_group + draws.group, weights=draws.weight)
        condition, group = divmod(int(np.argmax(mass)), n_group)
        return condition, int(self.groups[condition][group].modes[0])

    @property
    def known(self) -> Known:
        """What to keep of this to go on from; a small part of it."""
        return known_of(self.bench, self.problem, self.fits)


def infer(
    problem: Problem, bench: Workbench, earlier: Known | None = None, depth: Depth = Depth.WHOLE
) -> Posterior:
    """Weigh all explanations of a problem, going on from what is known where there is something."""
    bench = with_kind(bench, problem.job.connector.kind)
    gone_on = None
    if earlier is not None and _leads_on(problem, bench, earlier):
        gone_on = go_on(bench, problem, earlier, depth)
    fits = _searched(problem, bench, depth) if gone_on is None else gone_on
    behind = reached(bench, problem.conditions, fits)
    behind = behind.max() - behind
    fits = [
        with_options(bench, c.sheet, f, float(x))
        for f, c, x in zip(fits, problem.conditions, behind, strict=True)
    ]
    return _weighed(problem, bench, fits)


def infer_at_a_glance(
    problem: Problem, bench: Workbench, earlier: Known | None = None
) -> Posterior | None:
    """Weigh what is known of a problem against its latest readings, or a first reading or two.

    None where a glance can't tell: readings that surprise, or more of them than were ever searched.
    """
    bench = with_kind(bench, problem.job.connector.kind)
    if earlier is not None and _leads_on(problem, bench, earlier):
        narrowed = worth_a_glance(bench, problem, earlier)
        gone_on = go_on(bench, narrowed, earlier, Depth.GLANCE)
        if gone_on is not None:
            return _weighed(narrowed, bench, gone_on, sampled=False)
    if problem.sheet.n_read > FEW:
        return None
    plain = first_sight(bench, problem.sheet)
    fits = [plain, *alternatives(bench, problem.sheet, problem.conditions[1:], plain)]
    return _weighed(problem, bench, fits, sampled=False)


def _weighed(
    problem: Problem, bench: Workbench, fits: list[Fit], *, sampled: bool = True
) -> Posterior:
    """The posterior over some fits of each condition."""
    groups = [
        group_modes(bench.hypotheses.table, c.sheet, f, number, c.log_prior)
        for number, (c, f) in enumerate(zip(problem.conditions, fits, strict=True))
    ]
    rng = np.random.default_rng(SEED)
    draws = draws_of(bench, problem.conditions, fits, groups, rng, sampled=sampled)
    return Posterior(
        problem=problem,
        bench=bench,
        draws=draws,
        fits=tuple(fits),
        groups=tuple(tuple(g) for g in groups),
        stable=_is_stable(draws),
    )


def _searched(problem: Problem, bench: Workbench, depth: Depth) -> list[Fit]:
    """Fits of each condition, searched from the start."""
    plain = explore(bench, problem.sheet, depth)
    doubted = alternatives(bench, problem.sheet, problem.conditions[1:], plain)
    fits = [plain, *doubted]
    score = reached(bench, problem.conditions, fits)
    if depth is Depth.WHOLE and score[0] == score.max():
        fits[0] = plain = without_mistakes(bench, problem.sheet, plain)
    near = np.flatnonzero(score > score.max() - WORTH_WIDENING)
    return with_rivals(bench, problem.conditions, fits, near[near > 0].tolist())


def _leads_on(problem: Problem, bench: Workbench, earlier: Known) -> bool:
    """Whether what is known of an earlier sheet serves to go on from."""
    old = earlier.problem.sheet
    return (
        earlier.numbering == bench.hypotheses.numbering
        and old.n_read > 0
        and grew_out_of(problem.sheet, old)
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
