"""Nodal solution: closed forms, and the theorems of linear circuits as properties.

Signs: a current is positive into the terminal of the circuit looked at, a voltage is terminal
minus reference (`test_current_is_positive_into_the_terminal` pins it).
"""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.circuit.nodal import (
    NodalSolution,
    added_conductance,
    invert,
    invert_each,
    loaded_voltage,
    resistance_between,
    solve,
)
from backprobe.errors import NoUniqueAnswer, ValueOutOfRange

Array = NDArray[np.float64]
Branch = tuple[int | None, int | None, float]  # node or reference (None), node, ohm


def conductance(n_node: int, branches: list[Branch]) -> Array:
    """The matrix, summed up branch by branch as in a textbook."""
    g = np.zeros((n_node, n_node))
    for a, b, ohm in branches:
        for node in (a, b):
            if node is not None:
                g[node, node] += 1.0 / ohm
        if a is not None and b is not None:
            g[a, b] -= 1.0 / ohm
            g[b, a] -= 1.0 / ohm
    return g


@st.composite
def circuits(draw: st.DrawFn, least: int = 2) -> tuple[int, list[Branch]]:
    """Connected circuits of up to six nodes, milliohm contacts beside megohm inputs."""
    n_node = draw(st.integers(least, 6))
    ohms = st.floats(-2.0, 7.0).map(lambda exponent: 10.0**exponent)
    # A tree that holds every node to the reference, and a few more branches.
    branches: list[Branch] = [
        (node, draw(st.one_of(st.none(), st.integers(0, node - 1))) if node else None, draw(ohms))
        for node in range(n_node)
    ]
    for _ in range(draw(st.integers(0, 4))):
        a, b = draw(st.integers(0, n_node - 1)), draw(st.integers(0, n_node - 1))
        if a != b:
            branches.append((a, b, draw(ohms)))
    return n_node, branches


currents = st.floats(-1.0, 1.0, allow_subnormal=False)


# ---------------------------------------------------------------- closed forms
def test_divider_with_a_meter_across_it() -> None:
    # 5 V, 2.2 kohm over 4.7 kohm, 10 Mohm across the lower: arithmetic, and ngspice 39.3.
    g = conductance(1, [(0, None, 4700.0), (0, None, 10e6)]) + 1.0 / 2200.0
    found = solve(g, np.array([5.0 / 2200.0]))
    assert found.voltage[0] == pytest.approx(3.4052868019, abs=1e-10)
    assert (5.0 - found.voltage[0]) / 2200.0 == pytest.approx(0.7248696e-3, abs=5e-11)


def test_open_voltage_and_inner_resistance_of_the_divider() -> None:
    # From two loaded readings: 3.405797 V and 2.2k || 4.7k = 1498.551 ohm.
    found = solve(conductance(1, [(0, None, 4700.0), (0, None, 2200.0)]), np.array([5.0 / 2200.0]))
    v, z = found.voltage[0], found.impedance[0, 0]
    assert v == pytest.approx(5.0 * 4700.0 / 6900.0, rel=1e-12)
    assert z == pytest.approx(2200.0 * 4700.0 / 6900.0, rel=1e-12)
    one, other = (loaded_voltage(v, z, ohm) for ohm in (1e4, 1e3))
    # V = V_oc R / (R + Z), solved for both unknowns.
    inner = (one - other) / (other / 1e3 - one / 1e4)
    assert inner == pytest.approx(1498.551, abs=5e-4)
    assert one * (1.0 + inner / 1e4) == pytest.approx(3.405797, abs=5e-7)


@pytest.mark.parametrize(("meter", "shown"), [(10e6, 2.487562), (1e6, 2.380952)])
def test_a_meter_loads_a_weak_divider(meter: float, shown: float) -> None:
    # 100 kohm over 100 kohm on 5 V: arithmetic; 2.5 V without the meter.
    found = solve(conductance(1, [(0, None, 1e5), (0, None, 1e5)]), np.array([5.0 / 1e5]))
    assert found.voltage[0] == pytest.approx(2.5, rel=1e-12)
    loaded = loaded_voltage(found.voltage[0], found.impedance[0, 0], meter)
    assert loaded == pytest.approx(shown, abs=5e-7)


def test_a_bridge_slightly_out_of_balance() -> None:
    # Four arms of 350 ohm, one of them 0.2 % more, 5 V: 2.497502 mV (arithmetic and ngspice 39.3).
    arms: list[Branch] = [(0, None, 350.0), (0, None, 350.0), (1, None, 350.0), (1, None, 350.7)]
    found = solve(conductance(2, arms), np.array([5.0 / 350.0, 5.0 / 350.0]))
    assert found.voltage[1] - found.voltage[0] == pytest.approx(2.497502e-3, abs=1e-9)


def test_current_is_positive_into_the_terminal() -> None:
    found = solve(conductance(1, [(0, None, 50.0)]), np.array([0.02]))
    assert found.voltage[0] == pytest.approx(1.0, rel=1e-12)


# ---------------------------------------------------------------- theorems
@given(circuits(), st.lists(currents, min_size=12, max_size=12), currents, currents)
def test_superposition(
    circuit: tuple[int, list[Branch]], flow: list[float], a: float, b: float
) -> None:
    n_node, branches = circuit
    g = conductance(n_node, branches)
    first, second = np.array(flow[:n_node]), np.array(flow[6 : 6 + n_node])
    both = solve(g, a * first + b * second)
    parts = a * solve(g, first).voltage + b * solve(g, second).voltage
    # Each sum of products may lose a few units of the last place of its largest term.
    largest = np.abs(both.impedance) @ (np.abs(first) + np.abs(second))
    assert np.all(np.abs(both.voltage - parts) <= 1e-13 * largest + 1e-15)


@given(circuits())
def test_reciprocity(circuit: tuple[int, list[Branch]]) -> None:
    z = invert(conductance(*circuit))
    assert np.allclose(z, z.T, rtol=1e-7, atol=1e-12 * np.abs(z).max())


@given(circuits(), st.randoms(use_true_random=False), st.lists(currents, min_size=6, max_size=6))
def test_numbering_the_nodes_differently_changes_nothing(
    circuit: tuple[int, list[Branch]], random: object, flow: list[float]
) -> None:
    n_node, branches = circuit
    order = list(range(n_node))
    random.shuffle(order)  # type: ignore[attr-defined]  # random.Random by another name
    moved = [
        (None if a is None else order[a], None if b is None else order[b], ohm)
        for a, b, ohm in branches
    ]
    injection = np.array(flow[:n_node])
    there = np.empty(n_node)
    there[order] = injection
    one, other = (
        solve(conductance(n_node, branches), injection),
        solve(conductance(n_node, moved), there),
    )
    size = np.abs(one.impedance) @ np.abs(injection)
    assert np.all(np.abs(one.voltage - other.voltage[order]) <= 1e-7 * size + 1e-15)


@given(circuits(), st.data(), st.floats(-2.0, 7.0), st.lists(currents, min_size=6, max_size=6))
def test_one_more_resistor_is_a_change_of_rank_one(
    circuit: tuple[int, list[Branch]], data: st.DataObject, exponent: float, flow: list[float]
) -> None:
    n_node, branches = circuit
    plus = data.draw(st.integers(0, n_node - 1))
    others = [None, *(node for node in range(n_node) if node != plus)]
    minus = data.draw(st.sampled_from(others))
    ohm, injection = 10.0**exponent, np.array(flow[:n_node])
    before = solve(conductance(n_node, branches), injection)
    short = added_conductance(before, plus, minus, np.array(1.0 / ohm))
    whole = solve(conductance(n_node, [*branches, (plus, minus, ohm)]), injection)
    size = np.abs(before.impedance).max()
    assert np.allclose(short.impedance, whole.impedance, rtol=1e-6, atol=1e-9 * size)
    assert np.allclose(short.voltage, whole.voltage, rtol=1e-6, atol=1e-9 * size)


@given(circuits(), st.data())
def test_taking_the_resistor_away_again_gives_the_circuit_back(
    circuit: tuple[int, list[Branch]], data: st.DataObject
) -> None:
    n_node, branches = circuit
    plus = data.draw(st.integers(0, n_node - 1))
    before = solve(conductance(n_node, branches), np.ones(n_node))
    # As large as what the node already has: the change is undone without loss.
    siemens = 1.0 / before.impedance[plus, plus]
    after = added_conductance(before, plus, None, np.array(siemens))
    back = added_conductance(after, plus, None, np.array(-siemens))
    assert np.allclose(back.impedance, before.impedance, rtol=1e-9)
    assert np.allclose(back.voltage, before.voltage, rtol=1e-9)


@given(circuits(), st.data())
def test_resistance_between_two_nodes_is_what_one_ampere_drops(
    circuit: tuple[int, list[Branch]], data: st.DataObject
) -> None:
    n_node, branches = circuit
    a = data.draw(st.integers(0, n_node - 1))
    b = data.draw(st.sampled_from([None, *(node for node in range(n_node) if node != a)]))
    injection = np.zeros(n_node)
    injection[a] = 1.0
    if b is not None:
        injection[b] = -1.0
    found = solve(conductance(n_node, branches), injection)
    dropped = found.voltage[a] - (0.0 if b is None else found.voltage[b])
    between = resistance_between(found.impedance, a, b)
    assert between == pytest.approx(dropped, abs=1e-12 * np.abs(found.impedance).max())
    assert between > -1e-9 * np.abs(found.impedance).max()


@given(circuits(), st.data(), st.floats(0.0, 8.0))
def test_a_load_to_ground_is_the_special_case_of_an_added_resistor(
    circuit: tuple[int, list[Branch]], data: st.DataObject, exponent: float
) -> None:
    n_node, branches = circuit
    node, ohm = data.draw(st.integers(0, n_node - 1)), 10.0**exponent
    found = solve(conductance(n_node, branches), np.ones(n_node))
    short = loaded_voltage(found.voltage[node], found.impedance[node, node], ohm)
    whole = added_conductance(found, node, None, np.array(1.0 / ohm)).voltage[node]
    assert short == pytest.approx(whole, rel=1e-9)


def test_a_batch_is_solved_like_each_circuit_by_itself() -> None:
    rng = np.random.default_rng(4)
    single = [
        conductance(3, [(0, None, a), (0, 1, b), (1, 2, c), (2, None, d)])
        for a, b, c, d in np.exp(rng.uniform(0.0, 12.0, (20, 4)))
    ]
    injection = rng.normal(size=(20, 3))
    batch = solve(np.array(single).reshape(4, 5, 3, 3), injection.reshape(4, 5, 3))
    alone = [solve(g, i) for g, i in zip(single, injection, strict=True)]
    assert np.array_equal(batch.voltage.reshape(20, 3), [one.voltage for one in alone])
    siemens = np.exp(rng.uniform(-9.0, 0.0, (4, 5)))
    more = added_conductance(batch, 0, 2, siemens)
    each = [added_conductance(one, 0, 2, g) for one, g in zip(alone, siemens.ravel(), strict=True)]
    assert np.allclose(more.impedance.reshape(20, 3, 3), [o.impedance for o in each], rtol=1e-14)


# ---------------------------------------------------------------- what has no answer
NAMES = ("ref", "supply.pin", "signal.pin", "ground.pin")


@pytest.mark.parametrize(
    ("branches", "floating"),
    [
        ([(0, None, 1.0), (1, 0, 0.05), (2, None, 1e9)], "ground.pin"),
        ([(0, None, 1.0), (1, 0, 0.05), (2, 3, 1000.0)], "signal.pin"),
        # What hangs on a gigohm beside milliohm contacts is held, if only just.
        ([(0, 1, 0.003), (1, None, 1e10), (2, 3, 0.003)], "signal.pin"),
        ([(1, 2, 0.3), (2, 3, 1 / 3.0), (3, 1, 1e-3), (0, None, 1e8)], "supply.pin"),
    ],
)
def test_a_floating_node_is_named_not_solved(branches: list[Branch], floating: str) -> None:
    g = conductance(4, branches)
    with pytest.raises(NoUniqueAnswer) as caught:
        invert(g, NAMES)
    assert caught.value.node == floating
    assert str(caught.value) == f"The voltage of node {floating} isn't determined."


@given(circuits(), st.lists(st.floats(-3.0, 6.0), min_size=3, max_size=3))
@example((2, [(0, None, 1.0), (1, None, 1.0)]), [-1.378624559079819, 0.0, 0.0])  # errors cancel
def test_an_island_is_never_solved(
    circuit: tuple[int, list[Branch]], exponents: list[float]
) -> None:
    # Three nodes joined among themselves only: rounding often keeps such a matrix invertible.
    n_node, branches = circuit
    a, b, c = n_node, n_node + 1, n_node + 2
    ring = zip(((a, b), (b, c), (c, a)), exponents, strict=True)
    island: list[Branch] = [(x, y, 10.0**exponent) for (x, y), exponent in ring]
    names = [f"node {node}" for node in range(n_node + 3)]
    with pytest.raises(NoUniqueAnswer) as caught:
        invert(conductance(n_node + 3, [*branches, *island])[None], names)
    assert caught.value.node == f"node {n_node}"


@given(st.lists(circuits(), min_size=1, max_size=5), st.lists(st.integers(0, 2), max_size=5))
def test_circuits_of_a_stack_that_float_leave_the_others_their_answers(
    stack: list[tuple[int, list[Branch]]], bad: list[int]
) -> None:
    size = max(n_node for n_node, _ in stack)
    own = [
        conductance(size, [*branches, *((n, None, 1.0) for n in range(n_node, size))])
        for n_node, branches in stack
    ]
    sound, which = np.stack(own), [k for k in bad if k < len(own)]
    mixed = sound.copy()
    for k in which:
        mixed[k, 0], mixed[k, :, 0] = 0.0, 0.0  # the first node hangs in the air
    impedance, found = invert_each(mixed)
    assert np.flatnonzero(~found).tolist() == sorted(set(which))
    assert impedance[found] == pytest.approx(invert(sound)[found], rel=1e-9)


def test_currents_that_cancel_leave_their_own_node_undetermined() -> None:
    # A controlled output that feeds back all that its node takes: no chain is broken.
    g = conductance(3, [(0, None, 10.0), (1, None, 20.0), (1, 2, 5.0), (2, None, 5.0)])
    g[1, 1] -= 1.0 / 20.0 + 1.0 / 10.0
    with pytest.raises(NoUniqueAnswer) as caught:
        invert(g, ("first", "second", "third"))
    assert caught.value.node == "second"


def test_taking_away_all_that_holds_a_node_is_refused() -> None:
    found = solve(conductance(1, [(0, None, 100.0)]), np.ones(1))
    with pytest.raises(NoUniqueAnswer, match="node 0"):
        added_conductance(found, 0, None, np.array(-0.01))


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_conductance_that_is_no_number_is_called_so(value: float) -> None:
    g = np.stack([conductance(2, [(0, None, 5.0), (1, 0, 2.0)])] * 3)
    g[1, 1, 1] = value
    with pytest.raises(ValueOutOfRange) as caught:
        invert(g, ("battery", "feed"))
    text = "A conductance at feed is infinite or not a number. "
    assert str(caught.value) == text + "Every resistance has to be a number above zero."


def test_an_answer_keeps_its_shape() -> None:
    found = solve(np.full((2, 3, 1, 1), 0.5), np.ones((2, 3, 1)))
    assert isinstance(found, NodalSolution)
    assert np.array_equal(found.voltage, np.full((2, 3, 1), 2.0))
