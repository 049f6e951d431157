"""Which faults the readings of a job can tell apart, by computing them for the same vehicle.

A fault counts as separable where at least one reading differs from that of the healthy vehicle by
more than the meter can err. Faults that give the same readings within that error, at any severity,
form one class: whoever names one of them has said all that the readings hold.
"""

import math
from dataclasses import dataclass

import numpy as np

from backprobe.campaign.block import FaultOption
from backprobe.campaign.circuit import Circuit
from backprobe.campaign.faulting import apply, option_name, options, severity_grid
from backprobe.campaign.prediction import Predicted, Sheet
from backprobe.campaign.vehicle import Vehicle
from backprobe.vocabulary import NO_FAULT

LEAST_DIFFERENCE = 4.0  # standard uncertainties
N_GRID = 7
N_REFINE = 6


@dataclass(frozen=True, slots=True)
class Separability:
    """How well a vehicle's readings show its fault.

    Parameters
    ----------
    difference : float
        Greatest difference of a reading to the healthy vehicle's, in standard uncertainties; 0
        where there is no fault.
    rivals : frozenset of str
        Names of the faults (or "none") that give the same readings, the true one included.
    """

    difference: float
    rivals: frozenset[str]

    @property
    def is_separable(self) -> bool:
        """Say whether the readings show that something is wrong at all."""
        return self.difference > LEAST_DIFFERENCE


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


def separability(vehicle: Vehicle) -> Separability:
    """Compute what the vehicle's readings can tell apart."""
    simulation = vehicle.simulation
    if simulation.fault.name == NO_FAULT:
        return Separability(0.0, frozenset({NO_FAULT}))
    sheet = sheet_of(vehicle)
    seen = {reading.name: reading for reading in sheet.readings(simulation.circuit)}
    difference = distance(sheet, seen, simulation.healthy)
    rivals = {simulation.fault.name}
    if difference <= LEAST_DIFFERENCE:
        rivals.add(NO_FAULT)
    for option in options(simulation.healthy):
        name = option_name(simulation.healthy, option)
        if name not in rivals and _reaches(sheet, seen, simulation.healthy, option):
            rivals.add(name)
    return Separability(difference, frozenset(rivals))


def distance(
    sheet: Sheet, seen: dict[str, Predicted], circuit: Circuit, give_up: float = math.inf
) -> float:
    """Greatest difference of a circuit's readings to those seen, in standard uncertainties.

    Stops early once it is beyond ``give_up``.
    """
    greatest = 0.0
    for reading in sheet.readings(circuit):
        other = seen.get(reading.name)
        if other is None:
            continue  # a duty that only one of them shows; its frequency tells the same
        u = max(reading.uncertainty, other.uncertainty)
        greatest = max(greatest, abs(reading.value - other.value) / u)
        if greatest > give_up:
            break
    return greatest


def _reaches(
    sheet: Sheet, seen: dict[str, Predicted], healthy: Circuit, option: FaultOption
) -> bool:
    """Say whether a rival fault gives the same readings at some severity."""
    grid = severity_grid(option, N_GRID)
    best, place = math.inf, 0
    for number, severity in enumerate(grid):
        found = distance(sheet, seen, apply(healthy, option, severity), best)
        if found < best:
            best, place = found, number
        if best <= LEAST_DIFFERENCE:
            return True
    if len(grid) == 1:
        return False
    return _search(sheet, seen, healthy, option, grid, place) <= LEAST_DIFFERENCE


def _search(
    sheet: Sheet,
    seen: dict[str, Predicted],
    healthy: Circuit,
    option: FaultOption,
    grid: tuple[float, ...],
    place: int,
) -> float:
    """Look between the neighbours of the best severity, halving the stretch each time."""
    low, high = grid[max(place - 1, 0)], grid[min(place + 1, len(grid) - 1)]
    logarithmic = low > 0.0 and high / low > 1.5
    centre = grid[place]
    best = distance(sheet, seen, apply(healthy, option, centre))
    for _ in range(N_REFINE):
        for other, is_low in ((low, True), (high, False)):
            between = math.sqrt(other * centre) if logarithmic else 0.5 * (other + centre)
            found = distance(sheet, seen, apply(healthy, option, between), best)
            if found < best:
                low, high = (low, centre) if is_low else (centre, high)
                best, centre = found, between
                break
        else:
            low = math.sqrt(low * centre) if logarithmic else 0.5 * (low + centre)
            high = math.sqrt(high * centre) if logarithmic else 0.5 * (high + centre)
        if best <= LEAST_DIFFERENCE or np.isclose(low, high, rtol=1e-3):
            break
    return best
