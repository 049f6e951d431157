"""Steps, minutes and cautions of a proposed reading.

Outside facts, all common practice without a published source: key off before a connector is
moved; no ohms on a live circuit; belts and fans with a running engine; back-probe where the
sensor stays plugged in.
"""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.costs import READING_MINUTES
from backprobe.services.steps import (
    State,
    StepPlan,
    cost_minutes,
    plan_steps,
)
from backprobe.vocabulary import ACTIONS, KEYS

UNPLUGGED_ON = State(plugged=False, key="on")
PLUGGED_ON = State(plugged=True, key="on")
IDLE = State(plugged=True, key="run", rpm=800)
RAISED = State(plugged=True, key="run", rpm=2500)

states = st.builds(
    State,
    plugged=st.booleans(),
    key=st.sampled_from(KEYS),
    rpm=st.sampled_from((0.0, 800.0, 2500.0)),
    action=st.sampled_from(ACTIONS),
)
quantities = st.sampled_from(tuple(READING_MINUTES))


def position(plan: StepPlan, words: str) -> int:
    return next(i for i, step in enumerate(plan.steps) if words in step)


def test_key_off_comes_before_plugging_in_and_key_on_after() -> None:
    plan = plan_steps(UNPLUGGED_ON, PLUGGED_ON, "volts", "1", colour="GN")
    assert plan.steps == (
        "Key off.",
        "Plug the sensor in until it latches.",
        "Key on, engine not started.",
        "Meter on DC volts, black lead on battery negative.",
        "Back-probe terminal 1 (GN).",
    )
    assert "Key off before you plug or unplug." in plan.cautions


@given(now=states, wanted=states, quantity=quantities)
def test_a_connector_is_never_moved_with_the_key_on(
    now: State, wanted: State, quantity: str
) -> None:
    plan = plan_steps(now, wanted, quantity, "1-2" if quantity == "sensor_ohms" else "1")
    moved = [i for i, step in enumerate(plan.steps) if "lug the sensor" in step]
    if moved and now.key != "off":
        assert "ey off." in plan.steps[moved[0] - 1]
    if moved:
        assert "Key off before you plug or unplug." in plan.cautions


@given(now=states, wanted=states)
def test_no_resistance_measurement_on_a_live_circuit(now: State, wanted: State) -> None:
    harness = plan_steps(now, wanted, "harness_ohms", "2")
    assert not any("Key on" in step or "Start" in step for step in harness.steps)
    if now.key != "off":
        assert any("ey off." in step for step in harness.steps)
    assert any("live circuit" in caution for caution in harness.cautions)


def test_free_sensor_is_measured_where_it_hangs() -> None:
    """The key does not matter to a sensor that is already unplugged."""
    plan = plan_steps(UNPLUGGED_ON, State(plugged=False, key="off"), "sensor_ohms", "1-2")
    assert plan.steps == ("Meter on ohms, across terminals 1 and 2 of the free sensor.",)
    assert plan.steps == plan_steps(UNPLUGGED_ON, UNPLUGGED_ON, "sensor_ohms", "1", "2").steps


def test_running_engine_carries_its_cautions() -> None:
    plan = plan_steps(PLUGGED_ON, RAISED, "hertz", "3")
    assert position(plan, "Start the engine") < position(plan, "2500 rpm")
    caution = next(each for each in plan.cautions if "Running engine" in each)
    assert all(word in caution for word in ("belts", "fans", "hot", "fumes"))


def test_unplugging_under_a_running_engine_stops_it_first() -> None:
    plan = plan_steps(IDLE, State(plugged=False, key="run", rpm=800), "volts", "3")
    order = [position(plan, words) for words in ("Stop the engine", "Unplug", "Start the engine")]
    assert order == sorted(order)


def test_falling_back_to_idle_needs_no_restart() -> None:
    plan = plan_steps(RAISED, IDLE, "volts", "1")
    assert plan.steps[0] == "Let the engine fall back to idle."
    assert not any("Start" in step for step in plan.steps)


def test_a_second_reading_in_the_same_state_costs_only_itself() -> None:
    assert cost_minutes(UNPLUGGED_ON, UNPLUGGED_ON, "volts") == READING_MINUTES["volts"]


def test_starting_the_engine_costs_more_than_turning_the_key() -> None:
    off = State(plugged=True, key="off")
    assert cost_minutes(off, IDLE, "volts") > cost_minutes(off, PLUGGED_ON, "volts")


def test_untouched_vehicle_stands_plugged_in_with_key_off() -> None:
    assert plan_steps(None, UNPLUGGED_ON, "volts", "1").steps[:2] == (
        "Unplug the sensor.",
        "Key on, engine not started.",
    )


@given(now=st.none() | states, wanted=states, quantity=quantities)
def test_plan_and_cost_agree_and_are_positive(
    now: State | None, wanted: State, quantity: str
) -> None:
    plan = plan_steps(now, wanted, quantity, "1-2" if quantity == "sensor_ohms" else "1")
    assert plan.minutes == cost_minutes(now, wanted, quantity) > 0
    assert plan.steps
    assert len(set(plan.cautions)) == len(plan.cautions)


@given(now=states, middle=states, goal=states)
def test_a_detour_is_never_cheaper(now: State, middle: State, goal: State) -> None:
    """Else the ranking would send people the long way round."""
    direct = cost_minutes(now, goal, "volts")
    detour = cost_minutes(now, middle, "volts") + cost_minutes(middle, goal, "volts")
    assert direct <= detour + 1e-9


@pytest.mark.parametrize(("quantity", "kept"), [("volts_high", "highest"), ("volts_low", "lowest")])
def test_hold_readings_say_which_value_to_take(quantity: str, kept: str) -> None:
    plan = plan_steps(PLUGGED_ON, State(True, "on", 0, "sweep"), quantity, "2")
    assert "hold" in " ".join(plan.steps)
    assert plan.steps[-1] == f"Take the {kept} value that the hold kept."
    assert position(plan, "stop to stop") < len(plan.steps) - 1


def test_loaded_reading_states_the_resistor_and_its_limits() -> None:
    plan = plan_steps(UNPLUGGED_ON, UNPLUGGED_ON, "volts_loaded", "1", load_ohms=470)
    assert any("470 ohm" in step for step in plan.steps)
    assert any("oxygen cell" in caution for caution in plan.cautions)


def test_every_quantity_has_steps_in_every_state() -> None:
    for key, plugged, quantity in product(KEYS, (True, False), READING_MINUTES):
        plan = plan_steps(None, State(plugged, key), quantity, "1", "2")
        assert all(step.endswith(".") for step in plan.steps)


def test_a_scan_value_is_named() -> None:
    plan = plan_steps(PLUGGED_ON, PLUGGED_ON, "scan", "intake air temperature volts")
    assert plan.steps == ('Read "intake air temperature volts" as the control unit reports it.',)


def test_cranking_comes_when_the_leads_are_in_place() -> None:
    cranked = State(plugged=True, key="crank", rpm=200.0)
    plan = plan_steps(PLUGGED_ON, cranked, "volts_ac", "1")
    assert position(plan, "Back-probe terminal 1") < position(plan, "Crank")
    assert plan.steps[-1].startswith("Crank")
    kept = plan_steps(PLUGGED_ON, cranked, "volts_high", "1")
    assert kept.steps[-1] == "Take the highest value that the hold kept."
    assert kept.steps[-2].startswith("Crank")


def test_cranking_carries_its_cautions() -> None:
    # Common practice, no source; the maker's instructions come first.
    cautions = " ".join(plan_steps(None, State(True, "crank", 200.0), "hertz", "1").cautions)
    assert "belts or fans" in cautions
    assert "disabled as the maker says" in cautions
    assert "Out of gear" in cautions


def test_a_moved_lead_is_put_down_before_it_is_checked() -> None:
    plan = plan_steps(UNPLUGGED_ON, UNPLUGGED_ON, "black_lead_check", "", moved_lead=True)
    assert position(plan, "clean bare metal") < position(plan, "positive post")
