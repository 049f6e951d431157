"""The use case: a job in, an answer out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from backprobe.core.inference.screen import needed_rounds
from backprobe.job import Job
from backprobe.services.answer import Answer, Measurement
from backprobe.services.bank_cache import Shelf, Workbench
from backprobe.services.carry import Known
from backprobe.services.costs import DEFAULT_COSTS, Costs
from backprobe.services.depth import Depth
from backprobe.services.engine import Posterior, infer, infer_at_a_glance
from backprobe.services.estimates import estimates
from backprobe.services.limits import DEFAULT_LIMITS, Limits
from backprobe.services.misfit import misfit
from backprobe.services.planning import plan_of
from backprobe.services.problem import Problem, problem_of
from backprobe.services.reasons import (
    evidence_tables,
    main_reasons,
    own_reasons,
    ruled_out,
)
from backprobe.services.remarks import remarks
from backprobe.services.summary import (
    best_roles,
    circuit_answers,
    fault_answers,
    terminal_answers,
    trust,
)
from backprobe.services.unavailable import Unavailable
from backprobe.services.weighing import Weigher

Progress = Callable[[str, float], None]


@cache
def default_shelf() -> Shelf:
    """The workbenches of this process."""
    return Shelf()


def posterior_of(
    job: Job,
    shelf: Shelf | None = None,
    progress: Progress | None = None,
    earlier: Known | None = None,
    depth: Depth = Depth.WHOLE,
) -> Posterior:
    """Weigh all explanations of a job.

    ``earlier`` is what was kept of the answer before its last readings; the search goes on from
    there. A quick search from the start leaves out its widest part. Both take a third of the
    time, and may in rare cases overlook what the whole search would find.
    """
    problem = problem_of(job)
    return infer(problem, _bench(problem, shelf, progress), earlier, depth)


def glanced_at(
    job: Job,
    shelf: Shelf | None = None,
    progress: Progress | None = None,
    earlier: Known | None = None,
) -> Posterior | None:
    """What the latest readings say to what is known, in a tenth of a whole search's time.

    None where they surprise: then a search has to tell.
    """
    problem = problem_of(job)
    return infer_at_a_glance(problem, _bench(problem, shelf, progress), earlier)


def _bench(problem: Problem, shelf: Shelf | None, progress: Progress | None) -> Workbench:
    chosen = shelf if shelf is not None else default_shelf()
    return chosen.bench(problem.sheet.n_terminal, needed_rounds(problem.sheet), progress)


def explain(
    job: Job,
    file: str = "",
    shelf: Shelf | None = None,
    progress: Progress | None = None,
) -> Answer:
    """Explain a job: what each wire is, what is wrong, how sure, why, and what to read next."""
    return answer_of(posterior_of(job, shelf, progress), file)


def answer_of(
    posterior: Posterior,
    file: str = "",
    limits: Limits = DEFAULT_LIMITS,
    costs: Costs = DEFAULT_COSTS,
    without: Sequence[Unavailable] = (),
) -> Answer:
    """Put a posterior into words and numbers.

    ``limits`` and ``costs`` are those of this workshop; ``without`` are readings that can't be had.
    """
    planned = plan_of(posterior, costs=costs, without=without)
    found = _in_words(posterior, file, limits)
    return replace(
        found,
        estimates=estimates(posterior),
        next=planned.readings,
        settled=planned.settled,
    )


def glance_in_words(posterior: Posterior, limits: Limits = DEFAULT_LIMITS) -> Answer:
    """Put a glance into words: without estimates and next readings, which take a closer look."""
    return _in_words(posterior, "", limits)


def _in_words(posterior: Posterior, file: str, limits: Limits) -> Answer:
    """All but estimates and next readings."""
    roles, pins = best_roles(posterior), posterior.problem.job.connector.pins
    faults, trusted, fit = fault_answers(posterior), trust(posterior), misfit(posterior)
    weigher, terminals = Weigher(posterior), terminal_answers(posterior)
    tables = evidence_tables(weigher, roles)
    return Answer(
        file=file,
        terminals=terminals,
        circuits=circuit_answers(posterior),
        faults=faults,
        measurement=Measurement(
            trusted.whole, trusted.rounds, remarks(posterior, trusted, fit.probability, limits)
        ),
        estimates=(),
        misfit=fit,
        reasons=(
            *main_reasons(tables, roles, pins, faults[0].fault),
            *own_reasons(weigher, roles, np.array([said.probability for said in terminals])),
        ),
        next=(),
        ruled_out=ruled_out(weigher, {f.fault: f.probability for f in faults}),
        evidence=tables,
        effective_sample_size=posterior.draws.effective_sample_size,
        stable=posterior.stable,
    )
