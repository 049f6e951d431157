"""Which reading to take next: the most information about what is open, per minute of work.

The expected information of a reading is the mutual information between it and the open question
([lindley1956], [dekleer1987]): roles of all terminals, fault, and how far the measurement is what
the file says. Minutes are those of the steps from the present state of the vehicle. Before a
circuit is called sound, it is read once with the connector plugged in (module `proof_reading`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.services.answer import NextReading
from backprobe.services.candidate import Candidate, Candidates, Setting, code_of, goal_of
from backprobe.services.candidate_readings import candidates_of, present_state
from backprobe.services.costs import DEFAULT_COSTS, PACE, Costs
from backprobe.services.engine import Posterior
from backprobe.services.foresight import (
    Foresight,
    foresee,
    load_ohms,
)
from backprobe.services.gain import expected_bits
from backprobe.services.misfit import misfit
from backprobe.services.open_question import (
    Question,
    merged_roles,
    question_of,
    role_certainty,
)
from backprobe.services.planning_words import (
    proof_sentence,
)
from backprobe.services.posterior_sample import Samples, sample
from backprobe.services.proof_reading import is_unproved, proving_reading
from backprobe.services.reading_text import named_place, reading_text
from backprobe.services.split import Split, Splitter
from backprobe.services.steps import cost_minutes, plan_steps
from backprobe.services.summary import fault_answers, trust
from backprobe.services.unavailable import Unavailable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SETTLED = 0.99
TRUSTED = 0.95
FITS = 0.001  # probability of readings so surprising below which they fit nothing
# Readings that tell less are not proposed. Measured by following the proposals on 40 simulated
# vehicles, in readings of the full sheet: 0.04 took 59 %, 0.1 takes 51 %, this 50 % and 0.2 47 %.
# The right fault leads as often with all of them; with 0.2 it has the least probability.
LEAST_BITS = 0.15
# Nor those that tell less a minute of a workshop of usual pace, bit. By 150 simulated vehicles, in
# readings of the full sheet: 54 % without, 53 % with 0.1, 51 % with this and 49 % with 0.2; the
# right fault leads on 100, 100, 99 and 96 of them.
LEAST_RATE = 0.15
LEAST_OF_BEST = 0.1  # nor those that tell less a minute than this share of what the best one does
# Voltages that all lie within this are not measured to tell answers apart; with the key off only
# whether there is any voltage at all.
LEAST_VOLT, LEAST_VOLT_OFF = 0.04, 0.5
SEED = 11


@dataclass(frozen=True, slots=True)
class Plan:
    """Readings worth taking, best first, and whether the question is settled without any."""

    readings: tuple[NextReading, ...]
    settled: bool


def plan(posterior: Posterior, limit: int = 6) -> tuple[NextReading, ...]:
    """Readings worth taking next, most information a minute first; none when settled."""
    return plan_of(posterior, limit).readings


def is_settled(posterior: Posterior) -> bool:
    """Whether roles and fault are settled as far as any reading can settle them."""
    return plan_of(posterior, 0).settled


def plan_of(
    posterior: Posterior,
    limit: int = 6,
    costs: Costs = DEFAULT_COSTS,
    without: Sequence[Unavailable] = (),
) -> Plan:
    """Readings worth taking next, and whether there is anything left to settle.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    limit : int
        Most readings that are told.
    costs : Costs
        Minutes of this workshop's steps.
    without : sequence of Unavailable
        Readings that can't be had. While some are left out, what is open does not become settled
        by there being no reading left.
    """
    roles = merged_roles(posterior.bench.hypotheses, posterior.draws)
    certain = _is_certain(posterior, roles)
    unproved = is_unproved(posterior)
    answered = certain and fault_answers(posterior)[0].probability >= SETTLED
    if answered and not unproved:
        return Plan((), settled=True)
    candidates = candidates_of(posterior, without)
    if not candidates.readings:
        return Plan((), settled=certain and not candidates.withheld)
    outlook = _outlook(posterior, candidates, roles, costs)
    told = [] if answered else list(_told(posterior, outlook, max(1, limit)))
    if unproved and not told:
        told = list(_proof(posterior, outlook))
    # What no reading can separate is as settled as it gets.
    return Plan(tuple(told[:limit]), settled=certain and not told and not candidates.withheld)


def _told(posterior: Posterior, outlook: _Outlook, limit: int) -> Iterator[NextReading]:
    """The best readings in words, those left out that set no two answers apart."""
    splitter = Splitter(outlook.question, outlook.samples.weight)
    told, worth = 0, outlook.worth()
    for start in range(0, len(worth), limit):
        some = worth[start : start + limit]
        for k, split in zip(some, outlook.splits(splitter, some), strict=True):
            candidate = outlook.candidates.readings[k]
            if told == limit:
                return
            if split is not None or candidate.first or candidate.again:
                yield _reading(posterior, outlook, split, k)
                told += 1


def _proof(posterior: Posterior, outlook: _Outlook) -> Iterator[NextReading]:
    """The reading that a sound circuit still needs, where it can be had."""
    number = proving_reading(outlook.candidates, outlook.bits)
    if number is not None:
        reading = _reading(posterior, outlook, None, number)
        yield replace(reading, text=proof_sentence(reading.quantity, reading.terminal))


def _is_certain(posterior: Posterior, roles: IntArray) -> bool:
    """Whether measurement, fit and roles leave nothing open."""
    return (
        _measurement_known(posterior)
        and bool(role_certainty(posterior, roles).min() >= SETTLED)
        and misfit(posterior).probability >= FITS
    )


def _measurement_known(posterior: Posterior) -> bool:
    """Whether all rounds are sound; or it is known which are not, and the last one is."""
    trusted, rounds = trust(posterior), posterior.problem.rounds
    if trusted.whole >= TRUSTED or not rounds:
        return trusted.whole >= TRUSTED
    draws = posterior.draws
    said = posterior.problem.verdict[draws.condition]
    surest = float(np.bincount(said, weights=draws.weight).max())
    return surest >= TRUSTED and trusted.rounds[rounds[-1].name] >= TRUSTED


@dataclass(frozen=True, slots=True)
class _Outlook:
    """Candidate readings with what they would show, tell and cost."""

    candidates: Candidates
    samples: Samples
    question: Question
    foresight: Foresight
    bits: Array
    minutes: Array
    costs: Costs

    @property
    def rate(self) -> Array:
        """Bits a minute, (n_candidate,)."""
        return self.bits / self.minutes

    def worth(self) -> list[int]:
        """Candidates that tell enough, most bits a minute first.

        Before them: checks of a doubtful lead, and one reading of a bad round taken again.
        """
        order = [int(k) for k in np.argsort(-self.rate, kind="stable")]
        pace = self.costs.of(PACE)  # a slow workshop asks for as many readings
        least = max(LEAST_RATE / pace, LEAST_OF_BEST * float(self.rate.max(initial=0.0)))
        enough = (self.bits >= LEAST_BITS) & (self.rate >= least) & self._shows_a_difference()
        readings = self.candidates.readings
        order = _one_of_alike(readings, order)
        first = [k for k, c in enumerate(readings) if c.first]
        first += [k for k in order if readings[k].again and k not in first][:1]
        return first + [k for k in order if enough[k] and k not in first]

    def splits(self, splitter: Splitter, some: list[int]) -> list[Split | None]:
        """What each of some candidates tells apart."""
        return splitter.best(
            self.foresight.predicted[some],
            self.foresight.uncertainty[some],
            [self.candidates.readings[k].at for k in some],
        )

    def _shows_a_difference(self) -> NDArray[np.bool_]:
        """Whether the predicted readings differ by more than what no one would act on."""
        predicted = self.foresight.predicted
        volts = np.array([c.quantity.startswith("volts") for c in self.candidates.readings])
        rows = np.flatnonzero(volts & np.isfinite(predicted).all(axis=1))
        low, high = np.quantile(predicted[rows], [0.02, 0.98], axis=1)
        powered = np.array([self._setting(k).item.powered for k in range(volts.size)])
        shows = np.ones(volts.size, dtype=bool)
        shows[rows] = high - low >= np.where(powered[rows], LEAST_VOLT, LEAST_VOLT_OFF)
        return shows

    def _setting(self, k: int) -> Setting:
        return self.candidates.settings[self.candidates.readings[k].setting]


def _outlook(
    posterior: Posterior, candidates: Candidates, roles: IntArray, costs: Costs
) -> _Outlook:
    rng = np.random.default_rng(SEED)
    samples = sample(posterior, rng)
    foresight = foresee(posterior, samples, candidates, rng)
    question = question_of(posterior, samples, roles[samples.index])
    now = present_state(posterior.problem.rounds)
    minutes = [
        cost_minutes(now, candidates.settings[c.setting].state, c.quantity, costs)
        for c in candidates.readings
    ]
    bits = expected_bits(candidates, question, samples.weight, foresight)
    return _Outlook(candidates, samples, question, foresight, bits, np.array(minutes), costs)


def _reading(posterior: Posterior, outlook: _Outlook, split: Split | None, k: int) -> NextReading:
    """One candidate as it is told: state, steps, cautions, and what it would split."""
    candidate = outlook.candidates.readings[k]
    setting = outlook.candidates.settings[candidate.setting]
    now = present_state(posterior.problem.rounds)
    place = named_place(posterior, candidate)
    terminals = posterior.problem.job.connector.terminals
    colour = terminals[candidate.at].colour if candidate.at >= 0 and candidate.other < 0 else ""
    steps = plan_steps(
        now,
        setting.state,
        candidate.quantity,
        place,
        colour=colour,
        load_ohms=load_ohms(posterior),
        moved_lead=candidate.first and bool(candidate.again),
        costs=outlook.costs,
    )
    goal = goal_of(now, setting, candidate.quantity)
    return NextReading(
        plugged=goal.plugged,
        key=goal.key,
        rpm=goal.rpm,
        action=goal.action,
        quantity=candidate.quantity,
        terminal=place,
        bits=float(outlook.bits[k]),
        minutes=steps.minutes,
        text=reading_text(posterior, candidate, setting, split),
        cautions=steps.cautions,
        steps=steps.steps,
    )


def _one_of_alike(readings: Sequence[Candidate], order: Sequence[int]) -> list[int]:
    """Candidates with one reported value for each state and kind.

    Which one the control unit takes from this connector, whoever stands at it knows, and skips the
    other.
    """
    kept: dict[tuple[int, int], int] = {}
    for k in order:
        if readings[k].scan:
            kept.setdefault((readings[k].setting, int(code_of(readings[k]))), k)
    return [k for k in order if not readings[k].scan or k in kept.values()]
