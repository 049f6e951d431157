"""Sensitivities of all that is read, by each value of each family, to central differences."""

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, evaluate
from backprobe.core.circuit.plan import FIRST_SLOT, N_SWITCH, ONE_SLOT, Mode, stack_plans
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.loader import load_families
from backprobe.families.schema import Family, options_of
from tests.core.circuit.drawn_up import Subject

Array = NDArray[np.float64]
FAMILIES = {family.id: family for family in load_families()}
STEP = 1e-5  # of a value
# The stiffest element of a circuit, S: an inversion loses as many digits as a node's resistance
# times this has.
STIFFEST = 300.0


def some_fault(family: Family) -> Fault:
    """A fault that changes the netlist, another one for each family."""
    faults = faults_of(family)
    return faults[1 + sum(family.id.encode()) % (len(faults) - 1)] if len(faults) > 1 else HEALTHY


class Differences:
    """A circuit at values drawn at random, and with each value moved up and down."""

    def __init__(self, subject: Subject, mode: Mode) -> None:
        rng = np.random.default_rng(3)
        level = subject.levels[-1]
        self.table = stack_plans([subject.circuit.plan])
        drawn = dict(subject.random("idle", rng))
        for quantity, driven in subject.circuit.driven.items():
            # At either end a slope has one side only; what picks an option stays on it.
            if driven.unit == "share" and not options_of(driven):
                drawn[quantity] = min(max(drawn[quantity], 0.01), 0.99)
        at = np.zeros(self.table.n_value)
        at[ONE_SLOT] = 1.0
        at[FIRST_SLOT:] = [drawn[name] for name in subject.circuit.slots]
        picking = {name for name, d in subject.circuit.driven.items() if options_of(d)}
        moving = [k for k, name in enumerate(subject.circuit.slots) if name not in picking]
        self.names = tuple(subject.circuit.slots[k] for k in moving)
        self.slots = np.array([FIRST_SLOT + k for k in moving])
        self.step = STEP * np.maximum(np.abs(at[self.slots]), 1e-3)
        moved = np.repeat(at[None], 2 * self.slots.size, axis=0)
        for number, slot in enumerate(self.slots):
            moved[2 * number, slot] += self.step[number]
            moved[2 * number + 1, slot] -= self.step[number]
        self.levels = np.zeros((1, N_SWITCH), dtype=np.int64)
        self.levels[0, : len(level)] = level
        self.mode = mode
        self.found = self.solve(at[None, None], wanted=True)
        self.moved = self.solve(moved[None])
        self.pair = self.solve(at[None, None], wanted=True, pairs=True)

    def solve(self, values: Array, wanted: bool = False, pairs: bool = False) -> Evaluation:
        n = values.shape[1]
        return evaluate(
            self.table,
            values,
            np.full(n, int(self.mode)),
            np.repeat(self.levels, n, axis=0),
            wanted=self.slots[None] if wanted else None,
            pairs=pairs,
        )

    def smooth(self, number: int) -> bool:
        """Whether no region changes between the two moved answers."""
        both = self.moved.region[0, 2 * number : 2 * number + 2]
        return bool((both == self.found.region[0]).all() and self.found.settled.all())

    def check(self, name: str, moved: Array, slope: Array | None, size: Array, ohm: Array) -> int:
        """Hold slopes (..., W) against differences of (2W, ...); how many were compared.

        ``size`` is that of what is read, ``ohm`` the resistance it is read behind.
        """
        assert slope is not None
        noise = size * 20.0 * np.finfo(np.float64).eps * (1.0 + STIFFEST * ohm)
        compared = 0
        for number, value in enumerate(self.names):
            if not self.smooth(number):
                continue
            compared += 1
            expected = (moved[2 * number] - moved[2 * number + 1]) / (2 * self.step[number])
            # Rounding of both answers, and the cubic term of the difference.
            cubic = 1e-8 * size * STEP + 1e-6 * np.abs(expected) * self.step[number]
            tolerance = (noise + cubic) / self.step[number]
            apart = np.abs(slope[..., number] - expected)
            assert np.all(apart <= tolerance), (name, value, slope[..., number], expected)
        return compared


@pytest.mark.parametrize("name", FAMILIES)
def test_slopes_of_readings_are_those_of_central_differences(name: str) -> None:
    for fault in (HEALTHY, some_fault(FAMILIES[name])):
        d = Differences(Subject(FAMILIES[name], fault), Mode.PLUGGED)
        found, moved = d.found, d.moved
        volts = np.maximum(np.abs(found.voltage[0, 0]), 1.0)
        own = np.diagonal(moved.thevenin[0], axis1=1, axis2=2)
        ohms = np.diagonal(found.thevenin[0, 0])
        assert found.voltage_by is not None
        n = d.check("voltage", moved.voltage[0], found.voltage_by[0, 0], volts, ohms)
        assert found.unit_by is not None
        d.check(
            "unit",
            moved.unit_voltage[0],
            found.unit_by[0, 0],
            volts,
            np.full_like(ohms, ohms.max()),
        )
        assert found.alternating_by is not None
        d.check("alternating", moved.alternating[0], found.alternating_by[0, 0], volts, ohms)
        assert found.thevenin_by is not None
        d.check("thevenin", own, found.thevenin_by[0, 0], ohms, ohms)
        assert n > 0.8 * len(d.names)  # few values lie at a kink, if any


@pytest.mark.parametrize("name", FAMILIES)
def test_slopes_of_resistance_between_terminals(name: str) -> None:
    d = Differences(Subject(FAMILIES[name]), Mode.SENSOR_ALONE)
    z, there = d.moved.thevenin[0], d.found.thevenin[0, 0]

    def between(zbus: Array) -> Array:
        own = np.diagonal(zbus, axis1=-2, axis2=-1)
        return own[..., :, None] + own[..., None, :] - zbus - np.swapaxes(zbus, -1, -2)

    size = np.maximum(np.abs(there).max(), 1.0) * np.ones_like(there)
    assert d.pair.pair_by is not None
    d.check("between terminals", between(z), d.pair.pair_by[0, 0], size, size)


def test_a_value_that_is_not_wanted_has_no_slope() -> None:
    subject = Subject(FAMILIES["thermistor-two-wire"])
    d = Differences(subject, Mode.PLUGGED)
    values = np.zeros((1, 1, d.table.n_value))
    values[0, 0, ONE_SLOT] = 1.0
    drawn = subject.central("key-on")
    values[0, 0, FIRST_SLOT:] = [drawn[name] for name in subject.circuit.slots]
    padded = np.array([[d.slots[0], -1, d.slots[1]]])
    some = evaluate(d.table, values, np.array([int(Mode.PLUGGED)]), d.levels, wanted=padded)
    assert some.voltage_by is not None
    assert np.all(some.voltage_by[0, 0, :, 1] == 0.0)
    assert some.pair_by is None
