"""Fitted modes in groups, one for each hypothesis with one choice of its options."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.choices import choice_places
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.sheet import Sheet

IntArray = NDArray[np.int64]

MOST_MODES = 3  # of a group
APART = 0.3  # modes nearer than this in every coordinate are one


@dataclass(frozen=True, slots=True)
class Group:
    """Modes (rows of a `Fit`) that share hypothesis, choices and fitted resistors' wires.

    ``log_evidence`` is Laplace's, of the best mode, with the hypothesis's prior. ``condition`` is
    the measurement condition that it assumes, ``log_condition`` its log prior, ``number`` the place
    among the groups of that condition, the best one first.
    """

    modes: IntArray
    log_evidence: float
    condition: int = 0
    log_condition: float = 0.0
    number: int = 0

    @property
    def log_mass(self) -> float:
        """Log evidence with all priors."""
        return self.log_evidence + self.log_condition


def group_modes(
    table: HypothesisTable,
    sheet: Sheet,
    fits: Fit,
    condition: int = 0,
    log_condition: float = 0.0,
) -> list[Group]:
    """Group fitted modes by hypothesis and choices, best group first."""
    rows = table.rows(fits.hypothesis)
    bins = choice_places(rows, layout_of(table, sheet), fits.z, fits.told)
    tied = sorted({t for r in sheet.rounds for f in r.fitted for t in f[:2] if t >= 0})
    keys = [
        (int(h), tuple(b), tuple(a[tied]))
        for h, b, a in zip(fits.hypothesis, bins.tolist(), fits.assigned, strict=True)
    ]
    members: dict[tuple[object, ...], list[int]] = {}
    score = fits.log_evidence + table.log_prior[fits.hypothesis]
    for index in np.argsort(-score):
        members.setdefault(keys[index], []).append(int(index))
    own = sorted(members.values(), key=lambda m: -score[m[0]])
    return [
        Group(_distinct(fits, m, MOST_MODES), float(score[m[0]]), condition, log_condition, number)
        for number, m in enumerate(own)
    ]


def _distinct(fits: Fit, members: list[int], most: int) -> IntArray:
    """The best modes that lie apart from each other."""
    kept: list[int] = []
    for m in members:
        if all(np.abs(fits.z[m] - fits.z[k]).max() > APART for k in kept):
            kept.append(m)
        if len(kept) == most:
            break
    return np.array(kept, dtype=np.int64)
