"""The open question: what each draw says of roles, fault and measurement, as one answer.

Wires that no meter can tell apart bear one role here, so that what no reading can answer is not
asked (module `interchange`).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.draws import Draws
from backprobe.families.hypotheses import Hypotheses
from backprobe.services.engine import Posterior
from backprobe.services.interchange import LIVE, RETURN, alike_wires
from backprobe.services.posterior_sample import Samples
from backprobe.vocabulary import ROLES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SMALLEST_ANSWER = 0.002  # answers less probable than this are one: "something else"
MOST_ANSWERS = 24
FEWEST_SAMPLES = 4  # an answer with fewer says nothing of how far its readings spread


@dataclass(frozen=True, slots=True)
class Claim:
    """One answer to the open question.

    roles : role of each terminal, in the connector's order.
    fault : its name; places : the terminals whose wires it sits on.
    condition : number of the measurement condition (0: all is as the file says).
    """

    roles: tuple[int, ...]
    fault: str
    places: tuple[int, ...]
    condition: int


@dataclass(frozen=True, slots=True)
class Question:
    """What some samples answer.

    claims : every different answer, most probable first; claim : that of each sample, (n_samp,).
    label : the same with all answers too rare to be told apart under one number, (n_samp,).
    role : what each sample says of the roles alone, (n_samp, n_terminal).
    """

    claims: tuple[Claim, ...]
    claim: IntArray
    label: IntArray
    role: IntArray


def merged_roles(hypotheses: Hypotheses, draws: Draws) -> IntArray:
    """Role of each wire of each draw's circuit, alike wires under one name, (n_draw, n_wire)."""
    role = hypotheses.table.role[draws.hypothesis]
    role = np.where(role >= 0, role, ROLES.index("not-used"))
    alike = alike_wires(hypotheses, draws)
    return np.where(alike & (role == ROLES.index(RETURN)), ROLES.index(LIVE), role)


def role_certainty(posterior: Posterior, roles: IntArray) -> Array:
    """Probability of each terminal's most probable role, (n_terminal,).

    ``roles`` are those of each draw's wires, (n_draw, n_wire), from `merged_roles`.
    """
    draws = posterior.draws
    shares = np.stack(
        [
            np.einsum("d,dtw,dw->t", draws.weight, draws.marginal, (roles == k).astype(np.float64))
            for k in np.unique(roles)
        ]
    )
    return np.asarray((shares / shares.sum(axis=0)).max(axis=0))


def question_of(posterior: Posterior, samples: Samples, roles: IntArray) -> Question:
    """Answers of samples; ``roles`` are those of each sample's wires, (n_samp, n_wire)."""
    draws, assigned = samples.draws, samples.assigned
    of_terminal = np.take_along_axis(roles, assigned, axis=1)
    said = posterior.problem.verdict[draws.condition]
    claims = [
        _claim(posterior, int(h), row, wires, int(c))
        for h, row, wires, c in zip(draws.hypothesis, of_terminal, assigned, said, strict=True)
    ]
    mass: dict[Claim, float] = defaultdict(float)
    for claim, w in zip(claims, samples.weight, strict=True):
        mass[claim] += float(w)
    ordered = sorted(mass, key=lambda claim: -mass[claim])
    place = {claim: k for k, claim in enumerate(ordered)}
    own = np.array([place[claim] for claim in claims], dtype=np.int64)
    count = np.bincount(own)
    told = [
        k
        for k, c in enumerate(ordered)
        if mass[c] >= SMALLEST_ANSWER and count[k] >= FEWEST_SAMPLES
    ]
    label = np.where(np.isin(own, told[:MOST_ANSWERS]), own, len(ordered))
    return Question(tuple(ordered), own, label, of_terminal)


def _claim(
    posterior: Posterior, hypothesis: int, roles: IntArray, wires: IntArray, condition: int
) -> Claim:
    family, fault = posterior.bench.hypotheses.pairs[hypothesis]
    names = [wire.name for wire in family.wires]
    on = {names.index(name) for name in fault.wires}
    places = tuple(t for t, wire in enumerate(wires.tolist()) if wire in on)
    return Claim(tuple(roles.tolist()), _merged_name(fault.name, roles, places), places, condition)


def _merged_name(fault: str, roles: IntArray, places: tuple[int, ...]) -> str:
    """Name of a fault with the role that its wire bears here."""
    if RETURN in fault and all(int(roles[t]) == ROLES.index(LIVE) for t in places):
        return fault.replace(RETURN, LIVE)
    return fault
