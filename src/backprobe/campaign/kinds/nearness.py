"""How near one drawn connector comes to readings seen on another, its unknowns moved.

The same least squares as within one kind (comparison.py), about the drawn connector and with more
steps: it starts farther away.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from backprobe.campaign.block import FaultOption
from backprobe.campaign.comparison import (
    FELT,
    LEAST_DIFFERENCE,
    MOST_UNKNOWNS,
    OUT_OF_REACH,
    Comparison,
    Trial,
    _least_squares,
)
from backprobe.campaign.kinds.ranges import Ranges, step_limits
from backprobe.campaign.kinds.rivals import Drawn, with_fault
from backprobe.campaign.nodal import Vector
from backprobe.campaign.prediction import Predicted, Sheet
from backprobe.campaign.unknowns import Case, moved, unknowns_of
from backprobe.errors import NoUniqueAnswer

N_ITERATION = 8
# Standard uncertainties that a reading counts as off which only one of two connectors gives.
MISSING = 50.0


@dataclass(frozen=True, slots=True)
class Reached:
    """Where a fit ended: how far off readings and unknowns are, and the connector there.

    `off` of the worst reading; `apart` of all readings and `steps` of all unknowns, each the root
    of their squares.
    """

    off: float
    apart: float
    steps: float
    share: float
    case: Case

    @property
    def reads_the_same(self) -> bool:
        """Readings within the meter's uncertainty, unknowns within their spreads, each together.

        Several readings that are all nearly too far off tell connectors apart as well as one does.
        """
        return max(self.apart, self.steps) <= LEAST_DIFFERENCE


@dataclass(frozen=True, slots=True)
class Distance:
    """How far a connector's readings are from those seen, before anything is moved.

    `usual` adds up the logarithms of the squares, so that one reading that is far off doesn't hide
    that all others are near; `worst` is that one reading, in standard uncertainties.
    """

    usual: float
    worst: float


def distance(sheet: Sheet, case: Case, seen: Mapping[str, Predicted]) -> Distance:
    """Compare a connector's readings with those seen; infinitely far where it has no solution."""
    off = dict.fromkeys(seen, MISSING)
    try:
        for reading in sheet.readings(case.circuit, case.states):
            own = seen.get(reading.name)
            apart = MISSING
            if own is not None:
                apart = (reading.value - own.value) / reading.uncertainty
            off[reading.name] = apart
    except NoUniqueAnswer:
        return Distance(math.inf, math.inf)
    usual = sum(math.log1p(each**2) for each in off.values())
    return Distance(usual, max((abs(each) for each in off.values()), default=0.0))


class Nearness(Comparison):
    """The readings seen on a vehicle, to be reached from one drawn connector of any kind."""

    def __init__(
        self, sheet: Sheet, seen: Mapping[str, Predicted], drawn: Drawn, ranges: Ranges
    ) -> None:
        self.drawn = drawn
        self.sheet = sheet
        self.healthy = drawn.healthy
        self.seen = dict(seen)
        self.names = {name: place for place, name in enumerate(self.seen)}
        case = drawn.case
        states = tuple(case.states.values())
        # Of the sound connector: what a fault does to a value isn't one of its unknowns.
        unknowns = unknowns_of(drawn.healthy.circuit, states)
        self.slopes = self._slopes(case, unknowns, self._readings(case))
        u = np.array([reading.uncertainty for reading in self.seen.values()])
        felt = np.max(np.abs(self.slopes) / u[:, None], axis=0)
        least = max(FELT, float(np.sort(felt)[-MOST_UNKNOWNS:][0]))
        chosen = felt >= least
        self.unknowns = [each for each, is_felt in zip(unknowns, chosen, strict=True) if is_felt]
        self.slopes = self.slopes[:, chosen]
        limits = [step_limits(drawn.healthy, each, ranges) for each in self.unknowns]
        self.limits = np.array(limits).reshape(-1, 2)

    def reached(self) -> Reached:
        """Move unknowns and severity until the readings meet, and on while they come nearer."""
        case, option = self.healthy, self.drawn.option
        here = self._trial(case, option, self.drawn.share, np.zeros(len(self.unknowns)))
        met = here
        for iteration in range(N_ITERATION):
            slopes = self.slopes
            if iteration > 0:
                slopes = self._slopes(self._there(here), self.unknowns, here.readings)
            harder = self._severity_slope(case, option, here)
            columns = np.column_stack([slopes, harder]) / here.u[:, None]
            change = _least_squares(columns, here.off, here.steps)
            if float(np.max(np.abs(here.off - columns @ change))) > OUT_OF_REACH:
                break
            further = self._line_search(case, option, here, change)
            if further is None:
                break
            here = further
            if here.remains <= LEAST_DIFFERENCE or met.remains > LEAST_DIFFERENCE:
                met = here
        off = float(np.max(np.abs(met.off), initial=0.0))
        apart, steps = (float(np.linalg.norm(each)) for each in (met.off, met.steps))
        return Reached(off, apart, steps, met.share, self._there(met))

    def _trial(self, case: Case, option: FaultOption | None, share: float, steps: Vector) -> Trial:
        """As within one kind, with parts only as such connectors have them."""
        steps = np.clip(steps, self.limits[:, 0], self.limits[:, 1])
        return super()._trial(case, option, share, steps)

    def _there(self, here: Trial) -> Case:
        faulty = with_fault(self.healthy, self.drawn.option, here.share)
        return moved(faulty, self.unknowns, here.steps.tolist())

    def _off(self, readings: tuple[Vector, Vector]) -> tuple[Vector, Vector]:
        """As within one kind, over what the drawn connector's own readings may be off.

        That the vehicle's wire floats, and might have picked up something, excuses no rival whose
        wire doesn't. A reading that the drawn connector doesn't give is far off.
        """
        seen = self.seen.values()
        value = np.array([reading.value for reading in seen])
        own = np.array([reading.uncertainty for reading in seen])
        u = np.where(np.isnan(readings[1]), own, readings[1])
        return np.where(np.isnan(readings[0]), MISSING, (value - readings[0]) / u), u
