"""What the draws say: roles, circuits, faults, trust in the measurement."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backprobe.services.answer import CircuitAnswer, FaultAnswer, TerminalAnswer
from backprobe.services.engine import Posterior
from backprobe.vocabulary import NO_FAULT, ROLES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

UNCHECKED_CLEAR = 0.9995  # trust in a round that no condition doubts
NOT_USED = ROLES.index("not-used")


def role_table(posterior: Posterior) -> IntArray:
    """Role of each wire of each draw's circuit, (n_draw, n_terminal)."""
    role = posterior.bench.hypotheses.table.role[posterior.draws.hypothesis]
    return np.where(role >= 0, role, NOT_USED)


@lru_cache(maxsize=2)
def role_probabilities(posterior: Posterior) -> Array:
    """Marginal probability of each role at each terminal, (n_terminal, n_role)."""
    draws, role = posterior.draws, role_table(posterior)
    w = draws.weight
    found = np.zeros((draws.marginal.shape[1], len(ROLES)))
    for k in range(len(ROLES)):
        is_role = (role == k).astype(np.float64)
        found[:, k] = np.einsum("d,dtw,dw->t", w, draws.marginal, is_role)
    return np.asarray(found / np.maximum(found.sum(axis=1, keepdims=True), 1e-300))


@lru_cache(maxsize=2)
def best_roles(posterior: Posterior) -> tuple[int, ...]:
    """Roles in the most probable assignment of all."""
    draws = posterior.draws
    roles = np.take_along_axis(role_table(posterior), draws.best, axis=1)
    total: dict[tuple[int, ...], float] = defaultdict(float)
    for row, weight in zip(roles.tolist(), draws.weight, strict=True):
        total[tuple(row)] += float(weight)
    return max(total, key=lambda key: total[key])


def terminal_answers(posterior: Posterior) -> tuple[TerminalAnswer, ...]:
    """One answer a terminal, in the connector's order."""
    probability, best = role_probabilities(posterior), best_roles(posterior)
    answers = []
    for t, terminal in enumerate(posterior.problem.job.connector.terminals):
        roles = {ROLES[k]: float(probability[t, k]) for k in np.argsort(-probability[t])}
        shown = {r: p for r, p in roles.items() if p > 0}
        role = ROLES[best[t]]
        answers.append(TerminalAnswer(terminal.pin, role, float(probability[t, best[t]]), shown))
    return tuple(answers)


def circuit_answers(posterior: Posterior) -> tuple[CircuitAnswer, ...]:
    """Circuits by title, in falling order."""
    total: dict[str, float] = defaultdict(float)
    for h, weight in _by_hypothesis(posterior).items():
        total[posterior.bench.hypotheses.pairs[h][0].title] += weight
    ordered = sorted(total.items(), key=lambda item: -item[1])
    return tuple(CircuitAnswer(name, p) for name, p in ordered)


def _by_hypothesis(posterior: Posterior) -> dict[int, float]:
    total: dict[int, float] = defaultdict(float)
    for h, w in zip(posterior.draws.hypothesis, posterior.draws.weight, strict=True):
        total[int(h)] += float(w)
    return total


@lru_cache(maxsize=2)
def fault_answers(posterior: Posterior) -> tuple[FaultAnswer, ...]:
    """Faults by name, in falling order, with the terminals whose wires they sit on."""
    total: dict[str, float] = defaultdict(float)
    places: dict[str, dict[tuple[int, ...], float]] = defaultdict(lambda: defaultdict(float))
    draws = posterior.draws
    terminal, weight = np.argsort(draws.best, axis=1), draws.weight  # terminal of each wire
    for h in dict.fromkeys(draws.hypothesis.tolist()):  # in the order of the draws
        family, fault = posterior.bench.hypotheses.pairs[h]
        names = [x.name for x in family.wires]
        wires = [names.index(x) for x in fault.wires]
        mine = np.flatnonzero(draws.hypothesis == h)
        at = np.sort(terminal[mine][:, wires], axis=1).tolist()
        for place, w in zip(map(tuple, at), weight[mine].tolist(), strict=True):
            total[fault.name] += w
            places[fault.name][place] += w
    pins = posterior.problem.job.connector.pins
    answers = []
    for name, p in sorted(total.items(), key=lambda item: -item[1]):
        most = max(places[name], key=lambda key: places[name][key])
        answers.append(FaultAnswer(name, p, tuple(pins[t] for t in most)))
    return tuple(answers)


@dataclass(frozen=True, slots=True)
class Trust:
    """Probability that each round, and that all of them, are what the file says."""

    whole: float
    rounds: dict[str, float]
    lead: dict[str, float]  # that the black lead was sound
    key: dict[str, float]  # that the key was on
    home: dict[str, float]  # that the sensor was plugged home


def trust(posterior: Posterior) -> Trust:
    """Trust in the measurement, from the weight of the conditions that doubt it."""
    draws, conditions = posterior.draws, posterior.problem.conditions
    mass = np.bincount(draws.condition, weights=draws.weight, minlength=len(conditions))
    names = [r.name for r in posterior.problem.rounds]
    bad = [(c.bad_lead, c.key_off, c.apart) for c in conditions]
    doubt = np.zeros((len(names), 3))
    for share, each in zip(mass, bad, strict=True):
        for column, some in enumerate(each):
            doubt[list(some), column] += share
    lead, key, home = (
        {n: min(UNCHECKED_CLEAR, 1.0 - float(d)) for n, d in zip(names, column, strict=True)}
        for column in doubt.T
    )
    rounds = {
        n: max(0.0, min(1.0, lead[n] + key[n] - 1.0 - float(apart)))
        for n, apart in zip(names, doubt[:, 2], strict=True)
    }
    clear = sum(float(m) for m, c in zip(mass, conditions, strict=True) if not c.bad_rounds)
    if len(conditions) == 1:
        clear = UNCHECKED_CLEAR
    whole = min(clear, *rounds.values(), 1.0) if rounds else 1.0
    return Trust(whole, rounds, lead, key, home)


def top_fault(posterior: Posterior) -> str:
    """The most probable fault's name."""
    answers = fault_answers(posterior)
    return answers[0].fault if answers else NO_FAULT
