"""What each wire of a family reads on a meter in each state, healthy and with each fault.

Values are drawn from the family's priors and each circuit is solved for them, so a cell holds the
range within which nine vehicles in ten would read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.bank import (
    STANDARD_ROUNDS,
    Bank,
    draw_bank,
    solve_rounds,
    standard_sheet,
)
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.hypotheses import stack_circuits
from backprobe.families.schema import Family, Prior
from backprobe.vocabulary import ROLES

Array = NDArray[np.float64]

METER_OHM: Final = 1e7
PARTICLES: Final = 96
# Nine vehicles in ten.
LOWER, UPPER = 0.05, 0.95
# The bank's standard rounds under the words of the trade; "off" says nothing about volts.
STATE_WORDS: Final = {
    "unplugged": "unplugged, key on",
    "key on": "plugged, key on",
    "crank": "cranking",
    "idle": "idle",
    "raised": "raised speed",
    "snap": "throttle snap",
    "sweep": "sweep",
}
RARE: Final = 0.1  # share of vehicles below which an option is left out of the ranges
# A reading that moves by less than this is the same to a technician.
SAME_VOLT, SAME_SHARE = 0.03, 0.03
SMALLEST_SWING: Final = 0.02  # rms volts
# A frequency is shown where this share of vehicles has one.
MANY: Final = 0.5


@dataclass(frozen=True, slots=True)
class Range:
    """Where nine vehicles in ten read, and the middle one."""

    low: float
    middle: float
    high: float

    def is_like(self, other: Range) -> bool:
        """Tell whether a meter would show no difference."""
        pairs = zip(
            (self.low, self.middle, self.high), (other.low, other.middle, other.high), strict=True
        )
        return all(abs(a - b) <= SAME_VOLT + SAME_SHARE * abs(b) for a, b in pairs)


@dataclass(frozen=True, slots=True)
class Row:
    """Readings of one circuit, healthy or with a fault: by state, then by wire.

    ``hertz`` and ``alternating`` are None where a wire has no frequency or nothing alternates.
    """

    fault: Fault
    volts: dict[str, tuple[Range, ...]]
    hertz: dict[str, tuple[Range | None, ...]]
    alternating: dict[str, tuple[Range | None, ...]]


def reading_rows(family: Family, faults: Sequence[Fault] | None = None) -> tuple[Row, ...]:
    """Solve a family healthy and with each of its faults, the healthy circuit first.

    Parameters
    ----------
    family : Family
        Any family, shipped or a technician's own.
    faults : sequence of Fault, optional
        Which ones; all of the family's by default.
    """
    chosen = tuple(faults_of(family)) if faults is None else (HEALTHY, *faults)
    circuits = [_usual(compile_family(family, fault)) for fault in chosen]
    n_wire = len(family.wires)
    table = stack_circuits(circuits, np.zeros(len(circuits)), n_wire)
    sheet = standard_sheet(n_wire, len(ROLES))
    bank = draw_bank(table, np.full(len(circuits), PARTICLES), sheet, seed=1)
    solve_rounds(bank, table, sheet, [place for place, _ in _shown_rounds()])
    return tuple(_row(bank, number, fault, n_wire) for number, fault in enumerate(chosen))


def _usual(circuit: FamilyCircuit) -> FamilyCircuit:
    """The same without what a state brings to fewer than one vehicle in ten: an open feed relay."""
    driven = {
        name: replace(d, states={state: _of_many(p) for state, p in d.states.items()})
        for name, d in circuit.driven.items()
    }
    return replace(circuit, driven=driven)


def _of_many(prior: Prior) -> Prior:
    """A choice's common options, where a single one is left its number."""
    kept = [pair for pair in zip(prior.choices, prior.weights, strict=True) if pair[1] >= RARE]
    if len(kept) in {0, len(prior.choices)}:
        return prior
    if len(kept) == 1:
        return Prior("fixed", float(kept[0][0]), source=prior.source)
    options, weights = zip(*kept, strict=True)
    return replace(prior, choices=options, weights=tuple(w / sum(weights) for w in weights))


def _row(bank: Bank, number: int, fault: Fault, n_wire: int) -> Row:
    own = bank.hypothesis == number
    wires = range(n_wire)
    volts_by, hertz_by, alternating_by = {}, {}, {}
    for place, words in _shown_rounds():
        fields = bank.rounds[place].fields  # each (n_particle, n_wire)
        source, mean, log_hertz, swing = (
            fields[name][own].astype(np.float64)
            for name in ("thevenin", "mean", "log_hertz", "alternating")
        )
        volts = mean * METER_OHM / (METER_OHM + np.maximum(source, 0.0))
        volts_by[words] = tuple(_range(volts[:, wire]) for wire in wires)
        hertz_by[words] = tuple(_exponential(_common(log_hertz[:, wire])) for wire in wires)
        alternating_by[words] = tuple(_common(_noticed(swing[:, wire])) for wire in wires)
    return Row(fault, volts_by, hertz_by, alternating_by)


def _shown_rounds() -> list[tuple[int, str]]:
    """List the standard rounds that a meter says something in: number and words."""
    return [
        (place, STATE_WORDS[item.name])
        for place, item in enumerate(STANDARD_ROUNDS)
        if item.name in STATE_WORDS
    ]


def _range(values: Array) -> Range:
    low, middle, high = np.quantile(values, (LOWER, 0.5, UPPER))
    return Range(float(low), float(middle), float(high))


def _common(values: Array) -> Range | None:
    """Range of those that have a value, where enough of them have."""
    there = values[np.isfinite(values)]
    return _range(there) if there.size >= MANY * values.size else None


def _noticed(values: Array) -> Array:
    """Keep alternating volts that a meter would notice."""
    return np.where(values > SMALLEST_SWING, values, np.nan)


def _exponential(found: Range | None) -> Range | None:
    if found is None:
        return None
    low, middle, high = np.exp((found.low, found.middle, found.high))
    return Range(float(low), float(middle), float(high))
