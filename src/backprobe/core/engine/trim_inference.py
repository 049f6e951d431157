"""Which causes explain fuel trims, and how well.

Each cause's unknown sizes are drawn (quasi Monte Carlo) and its trims computed at the points that
were read. What they share whatever is wrong is in module `trim_readings`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc
from scipy.stats import qmc

from backprobe.core.engine.trim_pattern import (
    AIR_MASS,
    CAUSES,
    EITHER,
    METERINGS,
    UNMODELLED,
    OperatingPoints,
    Pattern,
    draw_pattern,
)
from backprobe.core.engine.trim_readings import (
    Known,
    TrimReadings,
    lay_out,
    log_likelihood,
    require_sound,
    squared_distance,
)
from backprobe.core.inference.log_sum import log_sum_exp

Array: TypeAlias = NDArray[np.float64]
Bools: TypeAlias = NDArray[np.bool_]

N_DRAW: Final = 2048
UNMODELLED_PRIOR: Final = 1.5
UNMODELLED_SPREAD: Final = 0.14
AIR_MASS_SHARE: Final = 0.7  # of engines that meter air mass, where it isn't known


@dataclass(frozen=True, eq=False)
class Weighed:
    """One cause on one set of banks, weighed.

    Parameters
    ----------
    cause : str
        A key of ``CAUSES``, or ``UNMODELLED``.
    banks : tuple of bool
        Which banks it touches.
    metering : str
        How air is metered in it.
    log_evidence : float
        Logarithm of prior times mean likelihood.
    draws : ndarray, shape (n_draw, n_axis)
        Sizes between 0 and 1 that were drawn.
    log_weight : ndarray, shape (n_draw,)
        Of each draw; the logarithms of a distribution.
    """

    cause: str
    banks: tuple[bool, ...]
    metering: str
    log_evidence: float
    draws: Array
    log_weight: Array


@dataclass(frozen=True, eq=False)
class TrimAnswer:
    """Everything that the readings say.

    Parameters
    ----------
    hypotheses : tuple of Weighed
        All of them.
    probability : ndarray, shape (n_hypothesis,)
        Of each.
    misfit : float
        Probability of readings at least this far from the best explanation.
    """

    hypotheses: tuple[Weighed, ...]
    probability: Array
    misfit: float

    def by_cause(self) -> dict[str, float]:
        """Probability of each cause, on whichever bank, the likeliest first."""
        shares: dict[str, float] = {}
        for each, share in zip(self.hypotheses, self.probability, strict=True):
            shares[each.cause] = shares.get(each.cause, 0.0) + float(share)
        return dict(sorted(shares.items(), key=lambda item: -item[1]))


@cache
def _draws(n_axis: int) -> Array:
    """Even draws in so many dimensions, always the same ones; [owen1995]."""
    sequence = qmc.Sobol(n_axis, scramble=True, rng=np.random.default_rng(20))
    return np.clip(sequence.random(N_DRAW), 1e-6, 1.0 - 1e-6)


def weigh_causes(readings: TrimReadings, findings: Mapping[str, float] | None = None) -> TrimAnswer:
    """Weigh every cause by what it makes of the readings.

    Parameters
    ----------
    readings : TrimReadings
        At least one trim.
    findings : mapping of str to float, optional
        Likelihood of other test results under each cause; 1 where a cause is left out.

    Returns
    -------
    TrimAnswer
        Causes with probabilities that sum to 1.

    Raises
    ------
    ValueOutOfRange
        No trim was read, or a shape or a number can't be.

    Notes
    -----
    Evidence is the mean likelihood over the draws times the prior. Limited readings enter by the
    probability of passing their limit given the others, each by itself.
    """
    require_sound(readings)
    known, loose = lay_out(readings), lay_out(readings, UNMODELLED_SPREAD)
    found = []
    for cause, banks, metering, prior in _hypotheses(readings):
        given = loose if cause == UNMODELLED else known
        said = max((findings or {}).get(cause, 1.0), 1e-9)
        found.append(_weigh(cause, banks, metering, prior * said, readings, given))
    evidence = np.array([each.log_evidence for each in found])
    log_total = log_sum_exp(evidence)
    probability = np.exp(evidence - log_total)
    modelled = [row for row, each in enumerate(found) if each.cause != UNMODELLED]
    best = found[max(modelled, key=lambda row: probability[row])]
    return TrimAnswer(tuple(found), probability, _misfit(best, readings, known))


def _hypotheses(readings: TrimReadings) -> list[tuple[str, tuple[bool, ...], str, float]]:
    """Every cause on every set of banks under each metering, with its prior."""
    every = (True,) * readings.n_bank
    single: list[tuple[bool, ...]] = [(True, False), (False, True)]
    shares = {AIR_MASS: AIR_MASS_SHARE, METERINGS[1]: 1.0 - AIR_MASS_SHARE}
    if readings.metering != EITHER:
        shares = {readings.metering: 1.0}
    found: list[tuple[str, tuple[bool, ...], str, float]] = []
    for metering, share in shares.items():
        for name, cause in CAUSES.items():
            if metering not in cause.laws:
                continue
            if readings.n_bank == 1:
                if name in _NEEDS_TWO:
                    continue
                found.append((name, every, metering, share * cause.prior))
                continue
            if cause.on_all:
                found.append((name, every, metering, share * cause.prior * cause.on_all))
            if cause.on_one:
                one = share * cause.prior * cause.on_one / 2.0
                found += [(name, banks, metering, one) for banks in single]
    found.append((UNMODELLED, every, readings.metering or AIR_MASS, UNMODELLED_PRIOR))
    return found


# With one bank these are told by the same cause for the whole engine.
_NEEDS_TWO: Final = ("bank-air", "bank-injectors")


def on_banks(pattern: Pattern, banks: Sequence[bool]) -> Array:
    """Trims on every bank, shape (n_draw, n_bank * n_point); none where it doesn't reach."""
    return np.concatenate([pattern.trim * float(touched) for touched in banks], axis=1)


def trims_of(each: Weighed, points: OperatingPoints) -> Array:
    """Trims of a cause's draws at any points, shape (n_draw, n_bank * n_point)."""
    if each.cause == UNMODELLED:
        return np.zeros((len(each.draws), len(each.banks) * points.n_point))
    return on_banks(draw_pattern(each.cause, each.metering, points, each.draws), each.banks)


def _weigh(
    cause: str,
    banks: tuple[bool, ...],
    metering: str,
    prior: float,
    readings: TrimReadings,
    known: Known,
) -> Weighed:
    draws = np.zeros((1, 1)) if cause == UNMODELLED else _draws(CAUSES[cause].n_draw_axis)
    drawn = Weighed(cause, banks, metering, 0.0, draws, np.zeros(len(draws)))
    by_scale, _ = log_likelihood(trims_of(drawn, readings.points), known)
    log = log_sum_exp(by_scale, axis=1)
    total = float(log_sum_exp(log))
    evidence = float(np.log(prior)) + total - float(np.log(len(log)))
    return replace(drawn, log_evidence=evidence, log_weight=log - total)


def _misfit(best: Weighed, readings: TrimReadings, known: Known) -> float:
    """Posterior predictive probability of a misfit at least as large [gelman1996].

    The discrepancy is the squared distance in the middle scatter, averaged over the draws.
    """
    if not known.value.size:
        return 1.0
    residual = known.value - trims_of(best, readings.points)[:, known.used]
    distance = squared_distance(residual, known.solvers[1].inverse)
    return float(np.exp(best.log_weight) @ chdtrc(len(known.value), distance))
