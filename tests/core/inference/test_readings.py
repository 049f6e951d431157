"""What the readings of a sheet say by themselves."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import indicate, log_likelihood
from backprobe.core.inference.predict import predict
from backprobe.core.inference.readings import (
    IDLE_VOLT,
    LATER_CELSIUS,
    REPORTED_ELSEWHERE,
    readings_of,
)
from backprobe.core.inference.sheet import Quantity, SheetRound
from backprobe.vocabulary import SCAN_NAMES
from tests.core.inference.small_sheets import IDLE, KEY_ON, UNPLUGGED, healthy, sheet

ROUNDS = (UNPLUGGED, KEY_ON, IDLE)
celsius = st.floats(-30.0, 120.0)


@given(first=celsius, change=st.floats(-60.0, 60.0))
def test_a_temperature_is_expected_to_stay(first: float, change: float) -> None:
    rows = [
        (Quantity.AMBIENT, r, -1, value, 2.0) for r, value in enumerate((first, first + change))
    ]
    before, now = readings_of(sheet(2, ROUNDS, *rows)).log_broad
    # Gauss's density of the change, and never less than that of any temperature.
    gauss = -0.5 * (change / LATER_CELSIUS) ** 2 - np.log(LATER_CELSIUS * np.sqrt(2.0 * np.pi))
    assert now == pytest.approx(max(gauss, before))


@given(volts=st.lists(st.floats(-1.0, 6.0), min_size=3, max_size=3))
def test_an_idle_terminal_is_one_that_showed_some_ghost_before(volts: list[float]) -> None:
    rows = [(Quantity.VOLTS, r, 0, value, 0.01) for r, value in enumerate(volts)]
    idle = readings_of(sheet(2, ROUNDS, *rows)).idle
    assert idle[0] == 0.0
    known = 0.0
    for value, expected in zip(volts, idle, strict=False):
        assert expected == known
        if IDLE_VOLT[0] < abs(value) < IDLE_VOLT[1]:
            known = value


def test_a_held_extreme_is_of_the_same_idle_terminal_and_says_nothing_of_the_next() -> None:
    rows = [
        (Quantity.VOLTS, 0, 0, 0.05, 0.001),
        (Quantity.VOLTS_LOW, 1, 0, 0.09, 0.001),
        (Quantity.VOLTS_HIGH, 1, 0, 0.09, 0.001),
        (Quantity.VOLTS_AC, 1, 0, 0.09, 0.001),
        (Quantity.VOLTS, 2, 0, 0.05, 0.001),
    ]
    idle = readings_of(sheet(2, ROUNDS, *rows)).idle
    assert idle.tolist() == [0.0, 0.05, 0.05, 0.0, 0.05]


def test_an_empty_cavity_that_keeps_showing_a_ghost_is_no_slip_each_time() -> None:
    # Two wires in a connector of three; the third cavity shows 80 mV in every round, or jumps.
    table = healthy("thermistor-two-wire", 3).table
    assigned = np.array([[0, 1, 2]])

    def of_third(*volts: float) -> list[float]:
        rows = [(Quantity.VOLTS, r, 2, value, 0.001) for r, value in enumerate(volts)]
        mine = sheet(3, ROUNDS, *rows)
        z = np.zeros((1, layout_of(table, mine).size))
        prediction = predict(table, z, mine, assigned=assigned)
        shown = indicate(table, mine, prediction, pick=assigned)
        return [float(x) for x in log_likelihood(mine, shown)[0, :, 0]]

    first, second, third = of_third(0.08, 0.081, 0.079)
    assert second > first + 3.0
    assert third > first + 3.0
    # A signal that comes and goes is no ghost.
    _, jumped, _ = of_third(0.08, 2.5, 0.08)
    assert jumped < first


def test_what_another_terminal_showed_says_nothing_of_this_one() -> None:
    again = SheetRound("D", plugged=True, powered=True, state=0, state_high=0)
    rows = [(Quantity.VOLTS, 0, 0, 0.05, 0.01), (Quantity.VOLTS, 1, 1, 0.05, 0.01)]
    assert readings_of(sheet(2, (UNPLUGGED, again), *rows)).idle.tolist() == [0.0, 0.0]


def test_a_value_that_is_noted_speaks_once_for_a_connector_that_has_it() -> None:
    # The same report in two rounds: a thermistor has the temperature, a pick-up has nothing to do
    # with it and so loses what is to be lost, once.

    def of(family: str, name: str) -> list[float]:
        table = healthy(family, 3).table
        assigned = np.array([[0, 1, 2]])
        plain = sheet(3, ROUNDS, *[(Quantity.REPORTED, r, -1, 0.0, 0.375) for r in (1, 2)])
        noted = replace(plain, reported=np.full(2, SCAN_NAMES.index(name)))
        z = np.zeros((1, layout_of(table, noted).size))
        prediction = predict(table, z, noted, assigned=assigned)
        shown = indicate(table, noted, prediction, pick=assigned)
        return [float(x) for x in log_likelihood(noted, shown)[0, :, 0]]

    assert of("thermistor-two-wire", "coolant temperature") == pytest.approx([0.0, 0.0], abs=1e-9)
    # An air mass that is told by hertz is its own, too.
    by_hertz = of("air-mass-frequency-three-wire", "air mass flow")
    assert by_hertz == pytest.approx([0.0, 0.0], abs=1e-9)
    once, again = of("pick-up-biased", "coolant temperature")
    assert once == pytest.approx(np.log(REPORTED_ELSEWHERE), abs=0.1)  # a slip of the pen aside
    assert again == pytest.approx(0.0, abs=1e-9)
