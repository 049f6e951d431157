"""The readings of a job with what beside the meter speaks of a connector: control unit, diagram."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from backprobe.campaign.block import ScanPort
from backprobe.campaign.circuit import Circuit
from backprobe.campaign.kinds.rivals import Rival
from backprobe.campaign.prediction import Predicted, Sheet
from backprobe.campaign.readings import Bench, BlackLead, RoundState
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.model import Job, Round

INPUT_VOLT = 5.0  # the control unit sees no more
COUNTED_VOLT = 2.0  # swing that the control unit counts
# Standard uncertainties of reported values: the last digit shown, and how they wander.
UNIT = 0.5
TENTH = 0.05
INPUT_UNCERTAINTY = 0.006
REPORTED_SHARE = 0.01
# Values that are reported in whole units.
WHOLE = ("temperature", "pressure")
# Columns whose readings are solved one by one.
SLOW = ("volts_loaded", "sensor_ohms", "harness_ohms", "scan")


def is_against_diagram(job: Job, rival: Rival) -> bool:
    """Say whether a diagram gives a pin another role."""
    roles = dict(rival.roles)
    return any(t.diagram and t.diagram != roles[t.pin] for t in job.connector.terminals)


def has_reports(vehicle: Vehicle) -> bool:
    """Say whether the control unit's values were written down in a good round."""
    bad = vehicle.truth.bad_rounds
    return any(t.scan and t.name not in bad and not t.void for t in vehicle.job.rounds)


def is_slow(name: str) -> bool:
    """Say whether a reading, by its name, stands in a slow column."""
    return any(f" {column} " in name for column in SLOW)


def without_slow_columns(vehicle: Vehicle) -> Vehicle:
    """The vehicle as if the slow columns had been left empty."""
    empty: dict[str, Any] = {column: {} for column in SLOW}
    rounds = tuple(replace(taken, **empty) for taken in vehicle.job.rounds)
    return replace(vehicle, job=replace(vehicle.job, rounds=rounds))


class WholeSheet(Sheet):
    """The readings that a job holds, those that the control unit reports included."""

    def fill(self, vehicle: Vehicle) -> None:
        """Take all columns of the vehicle's rounds; solutions found before are starting points."""
        rounds = {taken.name: taken for taken in vehicle.job.rounds}
        self.rounds = [(rounds[taken.name], state) for taken, state in self.rounds]

    def _round(self, circuit: Circuit, taken: Round, state: RoundState) -> Iterator[Predicted]:
        yield from super()._round(circuit, taken, state)
        if taken.scan:
            bench = Bench(circuit, math.inf)
            for block in circuit.blocks:
                for port in block.scans():
                    yield from _reported(bench, taken, state, port)


def _reported(bench: Bench, taken: Round, state: RoundState, port: ScanPort) -> Iterator[Predicted]:
    name = f"{taken.name} scan {port.name}"
    seen = _at_input(bench, state, port)
    value = port.convert(bench.circuit.values, seen)
    step = UNIT if any(word in port.name for word in WHOLE) else TENTH
    yield Predicted(name, value, math.hypot(step, REPORTED_SHARE * value))
    if f"{port.name} volts" in taken.scan:
        yield Predicted(f"{name} volts", seen, INPUT_UNCERTAINTY)
    if f"{port.name} hertz" in taken.scan:
        yield Predicted(f"{name} hertz", seen, math.hypot(UNIT, REPORTED_SHARE * seen))


def _at_input(bench: Bench, state: RoundState, port: ScanPort) -> float:
    if not port.by_hertz:
        return min(max(bench.input_volts(state.moment, port.wire), 0.0), INPUT_VOLT)
    strongest = bench.levels(state.moment, BlackLead(), port.wire).strongest()
    counts = strongest is not None and abs(strongest[1]) > COUNTED_VOLT
    return strongest[0].hertz if strongest is not None and counts else 0.0
