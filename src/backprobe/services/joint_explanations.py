"""What the draws say of kind, fault and roles together: each whole story with its probability."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from backprobe.services.engine import Posterior
from backprobe.services.summary import role_table
from backprobe.vocabulary import ROLES


@dataclass(frozen=True, slots=True)
class JointExplanation:
    """One story of a connector: its circuit's title, the fault, the role of every pin.

    `roles` holds a pin with its role for each terminal, in the connector's order.
    """

    circuit: str
    fault: str
    roles: tuple[tuple[str, str], ...]
    probability: float


def joint_explanations(posterior: Posterior) -> tuple[JointExplanation, ...]:
    """All stories in falling order; families with the same title count as one."""
    draws, pins = posterior.draws, posterior.problem.job.connector.pins
    roles = np.take_along_axis(role_table(posterior), draws.best, axis=1)
    total: dict[tuple[str, str, tuple[int, ...]], float] = defaultdict(float)
    pairs = posterior.bench.hypotheses.pairs
    for h, row, weight in zip(
        draws.hypothesis.tolist(), roles.tolist(), draws.weight.tolist(), strict=True
    ):
        family, fault = pairs[h]
        total[family.title, fault.name, tuple(row)] += weight
    ordered = sorted(total.items(), key=lambda item: -item[1])
    return tuple(
        JointExplanation(
            title, fault, tuple((p, ROLES[k]) for p, k in zip(pins, row, strict=True)), p_joint
        )
        for (title, fault, row), p_joint in ordered
    )
