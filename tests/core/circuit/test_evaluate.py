"""Solving tables of circuits: modes, levels, choices, fitted resistors, batches, the two ends."""

import numpy as np
import pytest

import backprobe.core.circuit.evaluate as evaluating
from backprobe.core.circuit.elements import Coefficient
from backprobe.core.circuit.evaluate import Evaluation, Extra, evaluate
from backprobe.core.circuit.nodal import NodalSolution, added_conductance
from backprobe.core.circuit.plan import N_SWITCH, Mode, stack_plans
from backprobe.errors import NoUniqueAnswer
from backprobe.families.faults import faults_of
from backprobe.families.loader import load_families
from tests.core.circuit.drawn_up import MOMENTS, Case, Subject, solve
from tests.core.circuit.sketch import Sketch, When, solved

FAMILIES = {family.id: family for family in load_families()}


def lamp() -> Sketch:
    """A battery, a switched lamp, and an indicator that only some vehicles have."""
    sketch = Sketch()
    sketch.source("plus", "0", 12.0, 0.1)
    switch = len(sketch.shares)
    sketch.shares.append(sketch.value(0.5))
    sketch.resistor("plus", "lamp", 1e9, When(switch=switch, level=0))
    sketch.resistor("plus", "lamp", 0.05, When(switch=switch, level=1))
    sketch.resistor("lamp", "0", 24.0, When(modes=frozenset((Mode.PLUGGED,))))
    sketch.resistor("lamp", "0", 1e6)
    return sketch


def test_a_switching_element_has_two_levels() -> None:
    off, on = (solved(lamp(), "lamp", levels=(level, 0)).voltage[0, 0, 0] for level in (0, 1))
    assert off == pytest.approx(12.0 * 24.0 / 1e9, rel=1e-3)
    assert on == pytest.approx(12.0 * 24.0 / 24.15, rel=1e-4)


def test_what_is_unplugged_draws_nothing() -> None:
    found = solved(lamp(), "lamp", mode=Mode.UNPLUGGED, levels=(1, 0))
    assert found.voltage[0, 0, 0] == pytest.approx(12.0, abs=1e-4)
    assert found.thevenin[0, 0, 0, 0] == pytest.approx(0.15, rel=1e-5)


def test_a_choice_decides_which_element_is_there() -> None:
    sketch = Sketch()
    sketch.source("vcc", "0", 5.0, 0.05)
    choice = sketch.value(0.0)
    sketch.resistor("vcc", "signal", 1000.0, When(only_slot=choice, only_code=0))
    sketch.resistor("signal", "0", 1000.0, When(only_slot=choice, only_code=1))
    sketch.resistor("vcc", "signal", 1e6)
    sketch.resistor("signal", "0", 1e6)
    for code, expected in ((0.0, 4.995), (1.0, 0.005)):
        sketch.values[choice - 2] = code
        assert solved(sketch, "signal").voltage[0, 0, 0] == pytest.approx(expected, abs=2e-4)


def test_alternating_sources_have_a_solution_of_their_own() -> None:
    # 10 V rms behind 500 ohm into 1500 ohm: 7.5 V rms, beside 2 V direct behind 1 kohm.
    sketch = Sketch()
    sketch.source("bias", "0", 2.0, 1000.0)
    volts, ohms = sketch.value(10.0), sketch.resistor("bias", "coil", 500.0)
    sketch.stamp(Coefficient.SOURCE, [volts, ohms], ("coil", "bias"), alternating=True)
    sketch.resistor("coil", "0", 1500.0)
    found = solved(sketch, "bias", "coil")
    direct = 2.0 / 3000.0
    assert found.voltage[0, 0] == pytest.approx([2.0 - direct * 1000.0, direct * 1500.0], rel=1e-9)
    flow = 10.0 / 3000.0
    assert found.alternating[0, 0] == pytest.approx([flow * 1000.0, flow * 1500.0], rel=1e-9)


def test_current_is_positive_into_the_terminal_and_voltage_is_against_the_reference() -> None:
    # A source's current comes out of its plus; a load to the reference reads plus.
    sketch = Sketch()
    sketch.source("plus", "minus", 1.5, 1.0)
    sketch.resistor("minus", "0", 1.0)
    sketch.resistor("plus", "0", 4.0)
    found = solved(sketch, "plus", "minus").voltage[0, 0]
    assert found == pytest.approx([1.0, -0.25], rel=1e-9)


# ---------------------------------------------------------------- fitted resistors
def test_a_fitted_resistor_is_one_more_resistor_and_a_change_of_rank_one() -> None:
    subject = Subject(FAMILIES["potentiometer-three-wire"])
    case = Case(Mode.PLUGGED, subject.levels[0], subject.central("key-on"))
    plain = solve([subject], [[case]])
    plan = subject.circuit.plan
    table = stack_plans([plan])
    values = np.zeros((1, 1, table.n_value))
    values[0, 0, 1] = 1.0
    for slot, name in enumerate(subject.circuit.slots, start=2):
        values[0, 0, slot] = case.values[name]
    ends, ohm = (1, 2), 4700.0  # from the signal to the ground, at the connector
    nodes = np.array([[[[plan.probe_nodes[end] for end in ends]]]])
    extra = Extra(nodes, np.array([[[1.0 / ohm]]]))
    level = np.zeros((1, N_SWITCH), dtype=np.int64)
    found = evaluate(table, values, np.array([int(case.mode)]), level, extra=extra)
    before = NodalSolution(plain.voltage[0, 0], plain.thevenin[0, 0])
    expected = added_conductance(before, *ends, np.array(1.0 / ohm))
    assert found.voltage[0, 0] == pytest.approx(expected.voltage, rel=1e-9)
    assert found.thevenin[0, 0] == pytest.approx(expected.impedance, rel=1e-8)
    assert abs(found.voltage[0, 0, 1] - plain.voltage[0, 0, 1]) > 0.01  # it did load the wiper


def test_two_fitted_resistors_at_once() -> None:
    sketch = Sketch()
    sketch.source("a", "0", 5.0, 1000.0)
    sketch.resistor("a", "b", 500.0)
    sketch.resistor("b", "0", 3000.0)
    drawn = Sketch()
    drawn.source("a", "0", 5.0, 1000.0)
    drawn.resistor("a", "b", 500.0)
    drawn.resistor("b", "0", 3000.0)
    drawn.resistor("a", "0", 2200.0)
    drawn.resistor("b", "a", 330.0)
    extra = Extra(
        np.array([[[[sketch.node("a"), 0], [sketch.node("b"), sketch.node("a")]]]]),
        np.array([[[1 / 2200.0, 1 / 330.0]]]),
    )
    fitted, whole = solved(sketch, "a", "b", extra=extra), solved(drawn, "a", "b")
    assert fitted.voltage == pytest.approx(whole.voltage, rel=1e-12)
    assert fitted.thevenin == pytest.approx(whole.thevenin, rel=1e-12)


# ---------------------------------------------------------------- batches
def batch_of(name: str, n_case: int) -> tuple[list[Subject], list[list[Case]]]:
    rng = np.random.default_rng(8)
    groups: dict[int, list[Subject]] = {}
    for fault in faults_of(FAMILIES[name]):
        subject = Subject(FAMILIES[name], fault)
        groups.setdefault(len(subject.levels), []).append(subject)
    subjects = max(groups.values(), key=len)
    levels = subjects[0].levels
    moments = [
        (*MOMENTS[int(rng.integers(len(MOMENTS)))], levels[int(rng.integers(len(levels)))])
        for _ in range(n_case)
    ]
    cases = [
        [Case(mode, level, subject.random(state, rng)) for mode, state, level in moments]
        for subject in subjects
    ]
    return subjects, cases


def same(one: Evaluation, other: Evaluation) -> None:
    assert one.voltage == pytest.approx(other.voltage, rel=1e-7, abs=1e-7)
    assert one.unit_voltage == pytest.approx(other.unit_voltage, rel=1e-7, abs=1e-7)
    assert one.alternating == pytest.approx(other.alternating, rel=1e-7, abs=1e-9)
    assert np.array_equal(one.settled, other.settled)
    own = np.diagonal(one.thevenin, axis1=2, axis2=3)
    assert own == pytest.approx(np.diagonal(other.thevenin, axis1=2, axis2=3), rel=1e-5)


@pytest.mark.parametrize("name", ["hall-8v", "oxygen-four-wire", "speed-current-regulated"])
def test_a_batch_is_solved_like_each_circuit_by_itself(name: str) -> None:
    subjects, cases = batch_of(name, 6)
    together = solve(subjects, cases)
    for row, (subject, own) in enumerate(zip(subjects, cases, strict=True)):
        for number, case in enumerate(own):
            alone = solve([subject], [[case]])
            part = Evaluation(
                **{
                    field: getattr(together, field)[row : row + 1, number : number + 1]
                    for field in ("voltage", "unit_voltage", "alternating", "thevenin", "settled")
                },
                region=together.region,
            )
            same(part, alone)


def test_a_batch_in_pieces_is_the_same_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    subjects, cases = batch_of("air-mass-frequency-thermistor-5v", 7)
    whole = solve(subjects, cases)
    monkeypatch.setattr(evaluating, "_CHUNK", 2 * len(subjects))
    pieces = solve(subjects, cases)
    same(whole, pieces)
    assert np.array_equal(whole.region, pieces.region)


def test_starting_from_a_like_answer_ends_in_the_same_one() -> None:
    subjects, cases = batch_of("speed-current-5v", 6)
    plans = [subject.circuit.plan for subject in subjects]
    first = solve(subjects, cases)
    table = stack_plans(plans)
    values = np.zeros((len(plans), 6, table.n_value))
    values[..., 1] = 1.0
    for row, (subject, own) in enumerate(zip(subjects, cases, strict=True)):
        for slot, name in enumerate(subject.circuit.slots, start=2):
            values[row, :, slot] = [case.values[name] for case in own]
    level = np.zeros((6, N_SWITCH), dtype=np.int64)
    for number, case in enumerate(cases[0]):
        level[number, : len(case.levels)] = case.levels
    mode = np.array([int(case.mode) for case in cases[0]])
    again = evaluate(table, values, mode, level, region=first.region)
    assert first.settled.all()
    same(first, again)


def test_a_floating_node_is_reported_not_solved() -> None:
    sketch = Sketch()
    sketch.source("vcc", "0", 5.0, 0.1)
    sketch.resistor("in", "out", 100.0)
    with pytest.raises(NoUniqueAnswer, match="node 2"):
        solved(sketch, "vcc", "in")
