"""How near the readings of a rival fault, or of no fault, come to those of a faulty vehicle.

Least squares by Gauss and Newton: part values, temperatures, pressures and positions are moved,
each held near its place by its own spread, and the rival's severity freely.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from backprobe.campaign.block import FaultOption
from backprobe.campaign.faulting import apply, at_share
from backprobe.campaign.nodal import Vector
from backprobe.campaign.prediction import Sheet
from backprobe.campaign.unknowns import Case, Unknown, moved, unknowns_of, variants
from backprobe.campaign.vehicle import Vehicle
from backprobe.errors import NoUniqueAnswer

LEAST_DIFFERENCE = 4.0  # standard uncertainties of a reading, or spreads of an unknown
GRID = [number / 20 for number in range(21)]  # shares of a fault's range of severities
SHARE_STEP = 0.02
N_ITERATION = 3
SMALL_STEP = 0.05  # of an unknown's spread, for derivatives
FELT = 1.0  # standard uncertainties: an unknown that moves every reading less is left alone
MOST_UNKNOWNS = 30  # moved in a fit, those felt most
# Readings farther apart than this many joint spreads aren't fitted at all.
HOPELESS = 5.0
# A fit is given up that would remain so far off by its first step, or costs more than such a
# share of what it did before a step.
OUT_OF_REACH = 20.0
ENOUGH = 0.8


def sheet_of(vehicle: Vehicle) -> Sheet:
    """The readings of the vehicle's good rounds."""
    simulation = vehicle.simulation
    return Sheet(
        vehicle.job,
        simulation.states,
        simulation.pins,
        simulation.meter,
        frozenset(vehicle.truth.bad_rounds),
    )


@dataclass(frozen=True, slots=True)
class Trial:
    """A rival with its unknowns moved: its readings, how far off they are, what remains."""

    share: float
    steps: Vector
    readings: tuple[Vector, Vector]
    off: Vector
    u: Vector
    remains: float
    cost: float


class Comparison:
    """The readings seen on a faulty vehicle, to be reached with other faults or none."""

    def __init__(self, vehicle: Vehicle) -> None:
        simulation = vehicle.simulation
        self.sheet = sheet_of(vehicle)
        states = {state.name: state for state in simulation.states}
        self.healthy = Case(simulation.healthy, states)
        true = Case(simulation.circuit, states)
        self.seen = {reading.name: reading for reading in self.sheet.readings(true.circuit)}
        self.names = {name: place for place, name in enumerate(self.seen)}
        unknowns = unknowns_of(simulation.healthy, simulation.states)
        slopes = [
            self._slopes(case, unknowns, self._readings(case)) for case in (self.healthy, true)
        ]
        u = np.array([reading.uncertainty for reading in self.seen.values()])
        felt = np.max([np.max(np.abs(each) / u[:, None], axis=0) for each in slopes], axis=0)
        least = max(FELT, float(np.sort(felt)[-MOST_UNKNOWNS:][0]))
        self.unknowns = [
            unknown for unknown, most in zip(unknowns, felt, strict=True) if most >= least
        ]
        self.slopes = slopes[0][:, felt >= least]
        # How far each reading may lie from the vehicle's own, for all that nobody knows.
        self.spread = np.max([np.sqrt(np.sum(each**2, axis=1)) for each in slopes], axis=0)

    def nearest(self, option: FaultOption | None) -> float:
        """Greatest difference that remains with a rival fault at its best; None = no fault."""
        best = math.inf
        # Whether anything is wrong at all is asked of every vehicle that this may be; which fault
        # it is, of this one: the others would take minutes and seldom matter.
        cases = variants(self.healthy) if option is None else (self.healthy,)
        for case in cases:
            for share in self._promising(case, option):
                best = min(best, self._fit(case, option, share))
                if best <= LEAST_DIFFERENCE:
                    return best
        return best

    def _promising(self, case: Case, option: FaultOption | None) -> list[float]:
        """The one severity, as a share of the fault's range, that comes nearest without a fit."""
        shares = [0.5]
        if option is not None and option.low < option.high:
            # A big connector's sheet takes its time: look at every other severity.
            shares = GRID if len(self.healthy.circuit.wires) < 6 else GRID[::2]
        far = {share: self._distance(_with_fault(case, option, share)) for share in shares}
        near = [share for share in shares if math.isfinite(far[share])]
        return [min(near, key=lambda share: far[share])] if near else []

    def _distance(self, case: Case) -> float:
        """Sum of squared differences over joint spreads; infinite as soon as one is hopeless."""
        total = 0.0
        try:
            for reading in self.sheet.readings(case.circuit, case.states):
                seen = self.seen.get(reading.name)
                if seen is None:
                    continue
                u = max(seen.uncertainty, reading.uncertainty)
                joint = math.hypot(u, float(self.spread[self.names[reading.name]]))
                off = abs(reading.value - seen.value) / joint
                if off > HOPELESS:
                    return math.inf
                total += off**2
        except NoUniqueAnswer:
            return math.inf
        return total

    def _fit(self, case: Case, option: FaultOption | None, share: float) -> float:
        """Move unknowns and severity so that the readings meet; give what remains.

        The first step takes the slopes of the healthy vehicle. Only where that comes near are
        those of the rival itself worth their time.
        """
        here = self._trial(case, option, share, np.zeros(len(self.unknowns)))
        for iteration in range(N_ITERATION):
            if here.remains <= LEAST_DIFFERENCE:
                break
            slopes = self.slopes
            if iteration > 0:
                now = moved(
                    _with_fault(case, option, here.share), self.unknowns, here.steps.tolist()
                )
                slopes = self._slopes(now, self.unknowns, here.readings)
            harder = self._severity_slope(case, option, here)
            columns = np.column_stack([slopes, harder]) / here.u[:, None]
            change = _least_squares(columns, here.off, here.steps)
            if iteration == 0 and float(np.max(np.abs(here.off - columns @ change))) > OUT_OF_REACH:
                break
            further = self._line_search(case, option, here, change)
            if further is None:
                break
            here = further
        return here.remains

    def _line_search(
        self, case: Case, option: FaultOption | None, here: Trial, change: Vector
    ) -> Trial | None:
        """Go the whole step, a half, a quarter: what a curve makes of a straight line."""
        for scale in (1.0, 0.5, 0.25):
            steps = here.steps + scale * change[:-1]
            steps = np.clip(steps, -LEAST_DIFFERENCE, LEAST_DIFFERENCE)
            share = here.share + scale * float(np.clip(change[-1], -0.3, 0.3))
            there = self._trial(case, option, min(max(share, 0.0), 1.0), steps)
            if there.cost < ENOUGH * here.cost:
                return there
        return None

    def _trial(self, case: Case, option: FaultOption | None, share: float, steps: Vector) -> Trial:
        now = moved(_with_fault(case, option, share), self.unknowns, steps.tolist())
        readings = self._readings(now)
        off, u = self._off(readings)
        remains = max(float(np.max(np.abs(off), initial=0.0)), float(np.linalg.norm(steps)))
        cost = float(np.sum(off**2) + np.sum(steps**2))
        return Trial(share, steps, readings, off, u, remains, cost)

    def _severity_slope(self, case: Case, option: FaultOption | None, here: Trial) -> Vector:
        """Change of each reading over the fault's whole range of severities; 0 without one."""
        if option is None or option.low >= option.high:
            return np.zeros(len(here.off))
        step = SHARE_STEP if here.share + SHARE_STEP <= 1.0 else -SHARE_STEP
        harder = moved(
            _with_fault(case, option, here.share + step), self.unknowns, here.steps.tolist()
        )
        return np.nan_to_num((self._readings(harder)[0] - here.readings[0]) / step)

    def _readings(self, case: Case, only: str = "") -> tuple[Vector, Vector]:
        """Values and uncertainties in the order of those seen; NaN where there is none."""
        values = np.full(len(self.names), np.nan)
        uncertainties = np.full(len(self.names), np.nan)
        for reading in self.sheet.readings(case.circuit, case.states, only):
            place = self.names.get(reading.name)
            if place is not None:
                values[place], uncertainties[place] = reading.value, reading.uncertainty
        return values, uncertainties

    def _off(self, readings: tuple[Vector, Vector]) -> tuple[Vector, Vector]:
        """What is missing to the readings seen, over the uncertainties, and these."""
        value = np.array([reading.value for reading in self.seen.values()])
        own = np.array([reading.uncertainty for reading in self.seen.values()])
        u = np.fmax(own, readings[1])
        return np.nan_to_num((value - readings[0]) / u), u

    def _slopes(
        self, case: Case, unknowns: Sequence[Unknown], readings: tuple[Vector, Vector]
    ) -> Vector:
        """Change of each reading for one spread of each unknown, shape (n_reading, n_unknown)."""
        slopes = np.zeros((len(self.names), len(unknowns)))
        for column, unknown in enumerate(unknowns):
            there = moved(case, [unknown], [SMALL_STEP])
            only = unknown.round
            change = (self._readings(there, only)[0] - readings[0]) / SMALL_STEP
            slopes[:, column] = np.nan_to_num(change)
        return slopes


def _with_fault(case: Case, option: FaultOption | None, share: float) -> Case:
    if option is None:
        return case
    return Case(apply(case.circuit, option, at_share(option, share)), case.states)


def _least_squares(slopes: Vector, off: Vector, steps: Vector) -> Vector:
    """Gauss and Newton's step; each unknown is held to zero by its spread.

    The severity, last, is nearly free: one without effect stays where it is.
    """
    held = np.eye(slopes.shape[1])
    held[-1, -1] = 0.1
    matrix = np.vstack([slopes, held])
    wanted = np.concatenate([off, -steps, [0.0]])
    change: Vector = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
    return change
