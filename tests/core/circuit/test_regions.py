"""Piecewise-linear elements: every region against its closed form, and where none fits."""

import numpy as np
import pytest

from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.plan import ZERO_SLOT, Group
from tests.core.circuit.sketch import Sketch, When, solved

VOLT, OHM, LIMIT, REVERSE = 5.0, 0.2, 0.1, 5000.0


def supply(load: float) -> Sketch:
    """A 5 V sensor supply with a limit of 0.1 A, loaded."""
    sketch = Sketch()
    sketch.regulator("ref", "0", VOLT, OHM, LIMIT, REVERSE)
    sketch.resistor("ref", "0", load)
    return sketch


# ---------------------------------------------------------------- regulator
@pytest.mark.parametrize("load", [60.0, 1000.0, 1e8])
def test_a_regulator_within_its_limit_is_a_voltage_behind_its_resistance(load: float) -> None:
    found = solved(supply(load), "ref")
    assert found.settled.all()
    assert found.region[0, 0, 0] == 0
    assert found.voltage[0, 0, 0] == pytest.approx(VOLT * load / (load + OHM), rel=1e-9)
    assert found.thevenin[0, 0, 0, 0] == pytest.approx(load * OHM / (load + OHM), rel=1e-9)


@pytest.mark.parametrize("load", [0.01, 1.0, 40.0])
def test_a_shorted_regulator_gives_its_limit(load: float) -> None:
    found = solved(supply(load), "ref")
    assert found.settled.all()
    assert found.region[0, 0, 0] == 1
    assert found.voltage[0, 0, 0] == pytest.approx(LIMIT * load, rel=1e-9)
    # What it gives does not depend on the voltage any more: only the load is left.
    assert found.thevenin[0, 0, 0, 0] == pytest.approx(load, rel=1e-9)


@pytest.mark.parametrize("region", [0, 1, 2])
def test_where_a_walk_starts_changes_no_answer_not_even_where_something_floats_there(
    region: int,
) -> None:
    # Taken to be at its limit, the regulator would hold up nothing but a wire in the air.
    sketch = Sketch()
    sketch.regulator("ref", "0", VOLT, OHM, LIMIT, REVERSE)
    sketch.resistor("ref", "pin", 0.001)
    sketch.resistor("pin", "0", 1e13)
    found = solved(sketch, "pin", region=(region,))
    assert found.settled.all()
    assert found.region[0, 0, 0] == 0
    assert found.voltage[0, 0, 0] == pytest.approx(VOLT, rel=1e-9)


def test_a_regulator_fed_from_outside_takes_little() -> None:
    sketch = supply(1e6)
    sketch.source("ref", "0", 12.0, 47.0)  # a short to battery
    found = solved(sketch, "ref")
    siemens = np.array([1.0 / 47.0, 1.0 / REVERSE, 1e-6])
    expected = (siemens * np.array([12.0, VOLT, 0.0])).sum() / siemens.sum()
    assert found.settled.all()
    assert found.region[0, 0, 0] == 2
    assert found.voltage[0, 0, 0] == pytest.approx(expected, rel=1e-9)


# ---------------------------------------------------------------- starving elements
@pytest.mark.parametrize(("fed", "given"), [(12.0, 4.0), (8.0, 4.0), (6.0, 0.0), (2.0, 0.0)])
def test_an_output_with_its_own_regulator_lets_go_with_a_short_supply(
    fed: float, given: float
) -> None:
    sketch = Sketch()
    sketch.source("supply", "0", fed, 1e-3)
    sketch.resistor("ground", "0", 1e-3)
    sketch.fed_output("signal", "supply", "ground", volt=4.0, ohm=100.0, full=8.0)
    found = solved(sketch, "signal", "ground")
    assert found.settled.all()
    assert found.voltage[0, 0, 0] == pytest.approx(given, abs=1e-9)
    behind = 100.0 if given > 0.0 else 2e6
    assert found.thevenin[0, 0, 0, 0] == pytest.approx(behind, abs=0.01)


@pytest.mark.parametrize("lift", [0.0, 0.3, 3.0])
def test_a_lifted_ground_lifts_such_an_output_with_it(lift: float) -> None:
    # Battery-fed sensor with its own regulator: a constant offset at every point, while it is fed.
    sketch = Sketch()
    sketch.source("supply", "0", 12.0, 1e-3)
    sketch.source("ground", "0", lift, 1e-3)
    sketch.fed_output("signal", "supply", "ground", volt=2.5, ohm=100.0, full=8.0)
    found = solved(sketch, "signal")
    assert found.voltage[0, 0, 0] == pytest.approx(2.5 + lift, abs=1e-9)


def test_a_current_sink_over_its_shunt() -> None:
    # Makers' texts: 7 mA; 0.70 V over 100 ohm (arithmetic).
    sketch = Sketch()
    sketch.source("supply", "0", 5.0, 1e-3)
    sketch.sink("supply", "signal", 0.007, 2.4)
    sketch.resistor("signal", "0", 100.0)
    found = solved(sketch, "signal")
    assert found.region[0, 0, 0] == 0
    assert found.voltage[0, 0, 0] == pytest.approx(0.70, rel=1e-9)


def test_a_current_sink_short_of_supply_is_a_resistance() -> None:
    sketch = Sketch()
    sketch.source("supply", "0", 1.0, 1e-3)
    sketch.sink("supply", "signal", 0.007, 2.4)
    sketch.resistor("signal", "0", 100.0)
    found = solved(sketch, "signal")
    assert found.region[0, 0, 0] == 1
    series = 1e-3 + 2.4 / 0.007 + 100.0
    assert found.voltage[0, 0, 0] == pytest.approx(1.0 * 100.0 / series, rel=1e-9)


def test_a_current_sensor_the_wrong_way_round_settles() -> None:
    # Its current first pushes the supply beyond its voltage, from there it falls below its limit.
    sketch = Sketch()
    sketch.regulator("ref", "0", VOLT, 0.1, 0.14, REVERSE)
    for _ in range(2):
        sketch.sink("shunt", "ref", 0.007, 2.4)
    sketch.resistor("shunt", "0", 100.0)
    found = solved(sketch, "ref", "shunt")
    assert found.settled.all()
    assert found.region[0, 0].tolist() == [0, 1, 1]
    between = 2.4 / 0.014
    assert found.voltage[0, 0, 1] == pytest.approx(VOLT * 100.0 / (100.0 + between + 0.1), rel=1e-9)


# ---------------------------------------------------------------- junctions
@pytest.mark.parametrize("fed", [-5.0, 0.0, 0.5, 0.7, 5.0])
def test_a_junction_carries_what_is_beyond_its_volts_and_nothing_below(fed: float) -> None:
    sketch = Sketch()
    sketch.source("in", "0", fed, 100.0)
    sketch.resistor("out", "0", 900.0)
    volt, ohm, ends = sketch.value(0.6), sketch.value(4.0), ("in", "out")
    pair = (sketch.node("in"), sketch.node("out"))
    sketch.groups.append(Group(pair, high=(volt, ZERO_SLOT, ZERO_SLOT)))
    conducting = When(group=0, region=2)
    sketch.stamp(Coefficient.CONDUCTANCE, [ohm], ends, conducting)
    sketch.stamp(Coefficient.SOURCE, [volt, ohm], ends, conducting)
    found = solved(sketch, "in", "out")
    ampere = max(fed - 0.6, 0.0) / 1004.0
    assert found.settled.all()
    assert found.voltage[0, 0].tolist() == pytest.approx([fed - 100 * ampere, 900 * ampere])


# ---------------------------------------------------------------- outputs that have to be fed
def open_collector(
    sketch: Sketch, ends: tuple[str, str], fed: tuple[str, str], full: float, closed: float
) -> None:
    pair = (sketch.node(fed[0]), sketch.node(fed[1]))
    sketch.groups.append(Group(pair, high=(sketch.value(full), ZERO_SLOT, ZERO_SLOT)))
    group = len(sketch.groups) - 1
    sketch.resistor(*ends, 1e8, When(group=group, region=0))
    sketch.resistor(*ends, closed, When(group=group, region=2))


def hall(supply_ohm: float, ground_ohm: float) -> Sketch:
    sketch = Sketch()
    sketch.source("ref", "0", 5.0, 0.1)
    sketch.resistor("ref", "supply", supply_ohm)
    sketch.resistor("supply", "ground", 500.0)  # consumption
    sketch.resistor("ground", "0", ground_ohm)
    sketch.resistor("ref", "signal", 2200.0)  # pull-up
    open_collector(sketch, ("signal", "ground"), ("supply", "ground"), full=2.5, closed=20.0)
    return sketch


@pytest.mark.parametrize(
    ("supply_ohm", "ground_ohm", "pulls"),
    [(0.1, 0.1, True), (1e8, 0.1, False), (0.1, 1e8, False), (600.0, 0.1, False)],
)
def test_an_open_collector_pulls_only_while_it_is_fed(
    supply_ohm: float, ground_ohm: float, pulls: bool
) -> None:
    found = solved(hall(supply_ohm, ground_ohm), "signal")
    assert found.settled.all()
    assert (found.voltage[0, 0, 0] < 0.1) == pulls
    assert (found.voltage[0, 0, 0] > 4.9) != pulls


def test_an_output_that_pulls_down_its_own_supply_is_left_at_rest_and_flagged() -> None:
    # Signal shorted to a supply at its limit: closed it starves, open it is fed.
    sketch = Sketch()
    sketch.regulator("ref", "0", VOLT, OHM, 0.05, REVERSE)
    sketch.resistor("ref", "0", 500.0)
    sketch.resistor("ref", "signal", 1.0)
    open_collector(sketch, ("signal", "0"), ("ref", "0"), full=2.5, closed=20.0)
    found = solved(sketch, "signal")
    assert not found.settled.any()
    assert found.region[0, 0].tolist() == [0, 0]
    assert found.voltage[0, 0, 0] == pytest.approx(VOLT * 500.0 / 500.2, rel=1e-6)


def test_where_the_walk_comes_to_a_float_the_circuit_is_left_at_rest_and_flagged() -> None:
    # A load that lets go below 2 V, on a supply whose limit doesn't bring it there: in between the
    # supply at its limit would have nothing to drive its current through.
    sketch = Sketch()
    sketch.regulator("ref", "0", VOLT, OHM, LIMIT, REVERSE)
    pair = (sketch.node("ref"), sketch.node("0"))
    sketch.groups.append(Group(pair, high=(sketch.value(2.0), ZERO_SLOT, ZERO_SLOT)))
    sketch.resistor("ref", "0", 4.0, When(group=1, region=2))
    for start in (None, (1, 2), (1, 0)):
        found = solved(sketch, "ref", region=start)
        assert not found.settled.any()
        assert found.region[0, 0].tolist() == [0, 0]
        assert found.voltage[0, 0, 0] == pytest.approx(VOLT)


def test_where_two_answers_fit_it_is_the_one_from_rest() -> None:
    # Output and ground exchanged: without current it is not fed, and so takes none.
    sketch = Sketch()
    sketch.source("ref", "0", 5.0, 0.1)
    sketch.resistor("ref", "supply", 0.1)
    sketch.resistor("supply", "ground", 500.0)
    sketch.resistor("ref", "ground", 2200.0)
    open_collector(sketch, ("0", "ground"), ("supply", "ground"), full=2.5, closed=20.0)
    found = solved(sketch, "ground")
    assert found.settled.all()
    assert found.voltage[0, 0, 0] > 4.9


def test_elements_that_let_each_other_go_settle_one_by_one() -> None:
    # At 5 V its junction takes so much that the output isn't fed; pulling, it keeps the junction
    # from conducting. All at once they would swap for ever.
    sketch = Sketch()
    sketch.source("ref", "0", 5.0, 180.0)
    sketch.resistor("ref", "0", 350.0)  # consumption: 3.3 V are left
    sketch.source("signal", "0", 5.0, 800.0)
    open_collector(sketch, ("signal", "0"), ("ref", "0"), full=3.0, closed=20.0)
    volt, ohm, ends = sketch.value(0.6), sketch.value(4.0), ("signal", "ref")
    pair = (sketch.node("signal"), sketch.node("ref"))
    sketch.groups.append(Group(pair, high=(volt, ZERO_SLOT, ZERO_SLOT)))
    conducting = When(group=1, region=2)
    sketch.stamp(Coefficient.CONDUCTANCE, [ohm], ends, conducting)
    sketch.stamp(Coefficient.SOURCE, [volt, ohm], ends, conducting)
    found = solved(sketch, "signal", "ref")
    assert found.settled.all()
    assert found.region[0, 0].tolist() == [2, 0]
    assert found.voltage[0, 0].tolist() == pytest.approx(
        [5.0 * 20.0 / 820.0, 5.0 * 350.0 / 530.0], rel=1e-5
    )
