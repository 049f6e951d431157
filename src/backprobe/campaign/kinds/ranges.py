"""How far the parts of drawn connectors range: a fit may not make up a part that none has.

A heater of a fraction of an ohm would read like a shorted one; but no sound heater is like that.
Only the two ends of a range are kept: a gap between two sorts of parts isn't seen.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeAlias

from backprobe.campaign.comparison import LEAST_DIFFERENCE
from backprobe.campaign.kinds.rivals import Drawn
from backprobe.campaign.unknowns import Case, Unknown

Range: TypeAlias = tuple[float, float]
# By kind of connector, and name of a value or quantity.
Ranges: TypeAlias = Mapping[tuple[str, str], Range]


def ranges_of(drawn: Iterable[Drawn]) -> Ranges:
    """Least and greatest of every value and quantity among drawn connectors of each kind."""
    found: dict[tuple[str, str], Range] = {}
    for each in drawn:
        design = each.healthy.circuit.design.name
        for name, value in _numbers(each.healthy):
            if math.isfinite(value):
                low, high = found.get((design, name), (value, value))
                found[design, name] = (min(low, value), max(high, value))
    return found


def step_limits(case: Case, unknown: Unknown, ranges: Ranges) -> Range:
    """How many of its spreads an unknown may be moved, down and up."""
    lowest, highest = -LEAST_DIFFERENCE, LEAST_DIFFERENCE
    allowed = ranges.get((case.circuit.design.name, unknown.name))
    if allowed is None:  # the battery and the black lead belong to no kind
        return lowest, highest
    for value in _values(case, unknown):
        down, up = (_steps(value, limit, unknown) for limit in allowed)
        lowest, highest = max(lowest, min(down, 0.0)), min(highest, max(up, 0.0))
    return lowest, highest


def _steps(value: float, limit: float, unknown: Unknown) -> float:
    if not unknown.is_factor:
        return (limit - value) / unknown.size
    return math.log(limit / value) / unknown.size if value * limit > 0.0 else 0.0


def _values(case: Case, unknown: Unknown) -> list[float]:
    """What the unknown moves: one value, or a quantity in one round or in all."""
    if unknown.place == "value":
        return [case.circuit.values[unknown.name]]
    return [
        state.moment.quantities[unknown.name]
        for state in case.states.values()
        if unknown.round in {"", state.name} and unknown.name in state.moment.quantities
    ]


def _numbers(case: Case) -> Iterator[tuple[str, float]]:
    yield from case.circuit.values.items()
    for state in case.states.values():
        yield from state.moment.quantities.items()
