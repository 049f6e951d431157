"""What the combination of solved levels follows from, apart from values: laid out once a sheet."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.round_values import BATTERY_SLOT

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LevelPlan:
    """How levels are combined, apart from values: M hypotheses, C combinations, T wires.

    level : ndarray of int, shape (C, n_switch): levels of the switching elements.
    solution : ndarray of int, shape (M, R, S, C)
        The solution of each round, set and combination: its first one where several are alike.
    share_slot, hertz_slot : ndarray of int, shape (M, N_SWITCH): value slots of each element's
        share of time high and frequency, -1: none.
    alternating_hertz : ndarray of int, shape (M,): value slot of the sources' frequency, -1: none.
    round_slot : ndarray of int, shape (M, 5): value slots of `OF_ROUND`, -1: none.
    wanted : ndarray of int, shape (M, W): value slots to derive by.
    """

    level: IntArray
    solution: IntArray
    share_slot: IntArray
    hertz_slot: IntArray
    alternating_hertz: IntArray
    round_slot: IntArray
    wanted: IntArray


# The derivatives of a solution that those of a quantity follow from.
_NEEDED = {
    "mean": "voltage_by",
    "unit": "unit_by",
    "alternating": "alternating_by",
    "thevenin": "thevenin_by",
}


def slopes_needed(slopes: Collection[str]) -> frozenset[str]:
    """Derivatives of solutions (`SLOPES`) that those of some quantities follow from."""
    return frozenset(_NEEDED.get(name, "voltage_by") for name in slopes)


def plan_levels(table: HypothesisTable, level: IntArray, solution: IntArray) -> LevelPlan:
    """Look up what the combination of levels (C, n_switch) follows from.

    ``solution`` (M, R, S, C) is the solution of each.
    """
    first = np.full(table.celsius.size, BATTERY_SLOT)
    place = np.stack([first, table.celsius], axis=1)  # among the driven quantities, (M, 2)
    slot = table.driven_slot[np.arange(first.size)[:, None], np.maximum(place, 0)]
    return LevelPlan(
        level=level,
        solution=solution,
        share_slot=np.repeat(table.circuits.switch_share, table.repeats, axis=0),
        hertz_slot=np.repeat(table.circuits.switch_hertz, table.repeats, axis=0),
        alternating_hertz=table.alternating_hertz,
        round_slot=np.concatenate([np.where(place < 0, -1, slot), table.curve_slot], axis=1),
        wanted=table.wanted,
    )
