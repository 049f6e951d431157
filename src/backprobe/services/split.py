"""Which two answers a reading tells apart best, and what it would show for each.

An answer here is a part of the whole question: the role of one terminal, the fault, or how far
the measurement is to be trusted.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.outcome_cells import Sampled, spread_over_cells
from backprobe.services.open_question import FEWEST_SAMPLES, Claim, Question
from backprobe.services.smoothing import widened

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

N_CELL = 24
OWN_TERMINAL = 2.0  # how much sooner a split is told of the terminal that is measured
LEAST_DISTANCE = 0.3  # total variation distance of two answers that a reading is said to split
MOST_OVERLAP = 0.7  # of where the readings of two answers usually lie that are said to be split
MOST_TRIED = 8  # pairs of answers that are looked at for one reading
USUAL = (0.1, 0.9)  # share of an answer's predictions between which its reading usually lies

ROLE, FAULT, MEASUREMENT = "role", "fault", "measurement"


@dataclass(frozen=True, slots=True)
class Split:
    """Two answers to a part of the question, with the claims and readings that stand for them.

    terminal : whose role is asked, -1 where it is not a role.
    first, second : the most probable claim of each answer.
    shown : usual lowest and highest reading of each, NaN where the meter shows no number.
    distance : total variation distance between the readings of both, 0 to 1.
    """

    part: str
    terminal: int
    first: Claim
    second: Claim
    shown: tuple[tuple[float, float], tuple[float, float]]
    distance: float

    @property
    def overlap(self) -> float:
        """Share of where the two answers' readings usually lie that both have in common, 0 to 1."""
        (low, high), (other_low, other_high) = self.shown
        if np.isnan(low) or np.isnan(other_low):
            return float(np.isnan(low) and np.isnan(other_low))
        both = min(high, other_high) - max(low, other_low)
        either = max(high, other_high) - min(low, other_low)
        return max(0.0, both / either) if either > 0.0 else 0.0


class Splitter:
    """Finds the best split of each reading; the parts of the question are laid out once."""

    def __init__(self, question: Question, weight: Array) -> None:
        self.question, self.weight = question, weight
        self.parts = list(_parts(question))

    def best(
        self, predicted: Array, uncertainty: Array, terminals: Sequence[int]
    ) -> list[Split | None]:
        """The two answers that each reading, (n_reading, n_samp), tells apart best; None without.

        ``terminals`` are those that the readings are taken at, -1 for none.
        """
        n_samp = self.weight.size
        wide = widened(self.question.label, predicted, uncertainty)
        table, _ = spread_over_cells(
            Sampled(self.weight, np.arange(n_samp), n_samp, predicted, wide), N_CELL
        )
        return [
            self._best(predicted[k], table[k], terminal) for k, terminal in enumerate(terminals)
        ]

    def _best(self, predicted: Array, table: Array, terminal: int) -> Split | None:
        pairs = [
            (score, part, first, second, distance)
            for part in self.parts
            for score, first, second, distance in _pairs(part, table, terminal)
        ]
        pairs.sort(key=lambda pair: -pair[0])  # stable: parts and answers in their own order
        for _, part, first, second, distance in pairs[:MOST_TRIED]:
            split = self._split(part, (first, second), distance, predicted)
            if split.overlap <= MOST_OVERLAP:
                return split
        return None

    def _split(
        self, part: _Part, answers: tuple[int, int], distance: float, predicted: Array
    ) -> Split:
        question, shown, best = self.question, [], []
        for answer in answers:
            own = part.member[answer] > 0.0
            shown.append(_usual(predicted[own], self.weight[own]))
            best.append(question.claims[int(question.claim[own].min())])
        return Split(part.kind, part.terminal, best[0], best[1], (shown[0], shown[1]), distance)


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of the question; ``member`` says which samples give which answer to it."""

    kind: str
    terminal: int
    member: Array  # (n_answer, n_samp), 0 or 1, answers in falling order of their best claim


def _parts(question: Question) -> Iterator[_Part]:
    """Parts of the question that have two answers or more, each with samples enough."""
    claims = question.claims
    n_terminal = question.role.shape[1]
    asked: list[tuple[str, int, list[Hashable]]] = [
        (ROLE, t, [c.roles[t] for c in claims]) for t in range(n_terminal)
    ]
    asked.append((FAULT, -1, [(c.fault, c.places) for c in claims]))
    asked.append((MEASUREMENT, -1, [c.condition for c in claims]))
    for kind, terminal, values in asked:
        number = {value: k for k, value in enumerate(dict.fromkeys(values))}
        answer = np.array([number[v] for v in values])[question.claim]  # (n_samp,)
        member = (answer == np.arange(len(number))[:, None]).astype(np.float64)
        member = member[member.sum(axis=1) >= FEWEST_SAMPLES]
        if len(member) > 1:
            yield _Part(kind, terminal, member)


def _pairs(part: _Part, table: Array, terminal: int) -> Iterator[tuple[float, int, int, float]]:
    """Score, both answers and distance of every two answers that a reading tells apart.

    The distance is the total variation distance between the readings of both, from the table of
    samples and cells; the score is that times the mean mass of the two.
    """
    by_answer = part.member @ table
    mass = by_answer.sum(axis=1)
    share = by_answer / mass[:, None]
    favour = OWN_TERMINAL if part.kind == ROLE and part.terminal == terminal else 1.0
    for first, second in combinations(range(mass.size), 2):
        distance = 0.5 * float(np.abs(share[first] - share[second]).sum())
        if distance >= LEAST_DISTANCE:
            score = favour * distance * float(np.sqrt(mass[first] * mass[second]))
            yield score, first, second, distance


def _usual(predicted: Array, weight: Array) -> tuple[float, float]:
    """Where the readings of one answer usually lie."""
    number = np.isfinite(predicted)
    told = float(weight[number].sum())
    if told <= 0.5 * float(weight.sum()):
        return np.nan, np.nan
    order = np.argsort(predicted[number])
    share = np.cumsum(weight[number][order]) / told
    low, high = (predicted[number][order][np.searchsorted(share, s)] for s in USUAL)
    return float(low), float(high)
