"""Proof that a connector of some kind, fault and layout could read the same as a faulty vehicle.

Many are drawn; the few whose readings come nearest go on by least squares. What is not found this
way may still exist: only the proof counts.
"""

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass

from backprobe.campaign.kinds.nearness import Distance, Nearness, distance
from backprobe.campaign.kinds.ranges import ranges_of
from backprobe.campaign.kinds.rivals import Drawn, Rival, draw_rivals, is_fault, reports
from backprobe.campaign.kinds.witnesses import (
    WholeSheet,
    has_reports,
    is_against_diagram,
    is_slow,
    without_slow_columns,
)
from backprobe.campaign.prediction import Predicted
from backprobe.campaign.spreads import Random
from backprobe.campaign.vehicle import Vehicle
from backprobe.errors import NoUniqueAnswer

N_SHORTLIST = 50
N_NEAREST = 8


@dataclass(frozen=True, slots=True)
class Proof:
    """Whether a rival reads the same, and how near the nearest one came.

    `off` in standard uncertainties of the worst reading, `apart` of all readings together, `steps`
    in spreads of all unknowns together; infinite where nothing was comparable.
    """

    reads_the_same: bool
    off: float = math.inf
    apart: float = math.inf
    steps: float = math.inf


def prove(vehicle: Vehicle, rival: Rival, rng: Random) -> Proof:
    """Look for a connector like the rival that gives the vehicle's readings."""
    simulation = vehicle.simulation
    own = sheet_with(vehicle, simulation.pins)
    seen = {each.name: each for each in own.readings(simulation.circuit)}
    best = Proof(reads_the_same=False)
    if not seen or is_against_diagram(vehicle.job, rival):
        return best
    drawn = _quick_starts(vehicle, rival, seen, rng)
    ranges = ranges_of(start.drawn for start in drawn)
    for start in _nearest(vehicle, seen, drawn):
        with suppress(NoUniqueAnswer):
            reached = Nearness(start.sheet, seen, start.drawn, ranges).reached()
            is_same = reached.reads_the_same and is_fault(start.drawn.option, reached.share)
            if is_same or reached.apart < best.apart:
                best = Proof(is_same, reached.off, reached.apart, reached.steps)
            if is_same:
                break
    return best


@dataclass(frozen=True, slots=True)
class _Start:
    """A drawn connector with its sheet, and how far off it is."""

    drawn: Drawn
    sheet: WholeSheet
    far: Distance


def _nearest(vehicle: Vehicle, seen: Mapping[str, Predicted], starts: list[_Start]) -> list[_Start]:
    """The few draws that come nearest.

    What takes long to compute is computed last, and only where the rest is near.
    """
    found = []
    for start in _best(starts, N_SHORTLIST):
        start.sheet.fill(vehicle)
        far = distance(start.sheet, start.drawn.case, seen)
        if math.isfinite(far.usual):
            found.append(_Start(start.drawn, start.sheet, far))
    return _best(found, N_NEAREST)


def _best(starts: list[_Start], n: int) -> list[_Start]:
    """So many that are near by most readings, and so many by their worst, each once."""
    by_most = sorted(starts, key=lambda start: start.far.usual)[:n]
    by_worst = sorted(starts, key=lambda start: start.far.worst)[:n]
    return by_most + [start for start in by_worst if not any(start is each for each in by_most)]


def _quick_starts(
    vehicle: Vehicle, rival: Rival, seen: Mapping[str, Predicted], rng: Random
) -> list[_Start]:
    reported = reports(vehicle.simulation.circuit) if has_reports(vehicle) else None
    quickly = without_slow_columns(vehicle)
    quickly_seen = {name: each for name, each in seen.items() if not is_slow(name)}
    found = []
    for drawn in draw_rivals(vehicle, rival, rng, reported):
        sheet = sheet_with(quickly, drawn.pins)
        far = distance(sheet, drawn.case, quickly_seen)
        if math.isfinite(far.usual):
            found.append(_Start(drawn, sheet, far))
    return found


def sheet_with(vehicle: Vehicle, pins: Mapping[str, str]) -> WholeSheet:
    """The readings of the vehicle's good rounds, on these wires."""
    simulation = vehicle.simulation
    left_out = frozenset(vehicle.truth.bad_rounds)
    return WholeSheet(vehicle.job, simulation.states, pins, simulation.meter, left_out)
