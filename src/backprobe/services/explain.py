"""The use case: a job in, an answer out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

from backprobe.core.inference.screen import needed_rounds
from backprobe.job import Job
from backprobe.services.answer import Answer, Measurement
from backprobe.services.bank_cache import Shelf
from backprobe.services.carry import Known
from backprobe.services.costs import DEFAULT_COSTS, Costs
from backprobe.services.engine import Posterior, infer
from backprobe.services.estimates import estimates
from backprobe.services.limits import DEFAULT_LIMITS, Limits
from backprobe.services.misfit import misfit
from backprobe.services.planning import plan_of
from backprobe.services.problem import problem_of
from backprobe.services.reasons import Weigher, evidence_tables, main_reasons, ruled_out
from backprobe.services.remarks import remarks
from backprobe.services.summary import (
    best_roles,
    circuit_answers,
    fault_answers,
    terminal_answers,
    trust,
)
from backprobe.services.unavailable import Unavailable

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
    *,
    quick: bool = False,
) -> Posterior:
    """Weigh all explanations of a job.

    ``earlier`` is what was kept of the answer before its last readings; the search goes on from
    there. ``quick`` leaves out the widest part of a search from the start. Both take a third of the
    time, and may in rare cases overlook what the whole search would find.
    """
    problem = problem_of(job)
    chosen = shelf if shelf is not None else default_shelf()
    bench = chosen.bench(problem.sheet.n_terminal, needed_rounds(problem.sheet), progress)
    return infer(problem, bench, earlier, quick=quick)


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
    roles, pins = best_roles(posterior), posterior.problem.job.connector.pins
    faults, trusted, fit = fault_answers(posterior), trust(posterior), misfit(posterior)
    weigher = Weigher(posterior)
    tables = evidence_tables(weigher, roles)
    planned = plan_of(posterior, costs=costs, without=without)
    return Answer(
        file=file,
        terminals=terminal_answers(posterior),
        circuits=circuit_answers(posterior),
        faults=faults,
        measurement=Measurement(
            trusted.whole, trusted.rounds, remarks(posterior, trusted, fit.probability, limits)
        ),
        estimates=estimates(posterior),
        misfit=fit,
        reasons=main_reasons(tables, roles, pins, faults[0].fault),
        next=planned.readings,
        ruled_out=ruled_out(weigher, {f.fault: f.probability for f in faults}),
        evidence=tables,
        settled=planned.settled,
        effective_sample_size=posterior.draws.effective_sample_size,
        stable=posterior.stable,
    )
