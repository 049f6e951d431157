"""What could be read next, from the sheet so far."""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.job import Round
from backprobe.services.candidate_readings import candidates_of, goal_of, present_state
from backprobe.services.explain import posterior_of
from backprobe.services.steps import State
from backprobe.services.summary import role_probabilities
from backprobe.vocabulary import ROLES
from tests.services.sheets import SHEETS, after, taken


def states(name: str) -> dict[State, set[str]]:
    found = candidates_of(after(name))
    by_state: dict[State, set[str]] = {}
    for c in found.readings:
        by_state.setdefault(found.settings[c.setting].state, set()).add(c.quantity)
    return by_state


def test_a_new_sheet_reaches_the_states_one_goes_through_next() -> None:
    found = states("unplugged only")
    assert State(plugged=True, key="on") in found
    assert State(plugged=True, key="run", rpm=800.0) in found
    assert "volts_loaded" in found[State(plugged=False, key="on")]
    assert "volts" not in found[State(plugged=False, key="on")]  # both terminals are read
    # Idle comes before more: nobody revs an engine that does not run yet.
    assert all(s.rpm <= 800.0 for s in found)


def test_a_running_engine_reaches_raised_speed_and_keeps_its_own_idle() -> None:
    found = states("stands-at-two-and-a-half-volts")
    assert {s.rpm for s in found if s.key == "run"} == {750.0, 2500.0}
    assert any(s.action == "snap throttle" for s in found)


@pytest.mark.parametrize("name", ["half-a-sheet", "unplugged only", "cell", "pick-up"])
def test_no_load_on_a_wire_that_may_make_its_own_voltage(name: str) -> None:
    posterior = after(name)
    live = [k for k, role in enumerate(ROLES) if role.startswith("generator-")]
    share = role_probabilities(posterior)[:, live].sum(axis=1)
    loaded = {c.at for c in candidates_of(posterior).readings if c.quantity == "volts_loaded"}
    assert all(share[t] <= 0.02 for t in loaded)


def test_no_ohms_across_electronics() -> None:
    # Half a sheet: a supply, a ground and a signal, most probably of a sensor with electronics.
    quantities = {c.quantity for c in candidates_of(after("half-a-sheet")).readings}
    assert "sensor_ohms" not in quantities
    assert "sensor_ohms" in {c.quantity for c in candidates_of(after("unplugged only")).readings}


def test_each_reading_appears_once() -> None:
    for name in ("half-a-sheet", "unplugged only", "unchecked and low"):
        found = candidates_of(after(name))
        assert len(set(found.readings)) == len(found.readings)
        assert len(set(found.settings)) == len(found.settings)
        used = {c.setting for c in found.readings}
        assert used == set(range(len(found.settings)))


def test_a_reading_in_a_known_state_goes_on_with_its_round() -> None:
    found = candidates_of(after("unplugged only"))
    by_state = {s.state: s.continued for s in found.settings}
    assert by_state[State(plugged=False, key="on")] == 0
    assert by_state[State(plugged=True, key="on")] is None


def test_a_void_round_counts_for_nothing() -> None:
    sheet = SHEETS["unplugged only"]
    void = Round("V", plugged=True, key="on", volts=taken({"1": 2.5, "2": 0.0}), void="slipped")
    posterior = posterior_of(replace(sheet, rounds=(*sheet.rounds, void)))
    found = candidates_of(posterior)
    again = [
        c
        for c in found.readings
        if c.quantity == "volts" and found.settings[c.setting].state == State(True, "on")
    ]
    assert len(again) == 2
    assert present_state(posterior.problem.rounds) == State(plugged=False, key="on")


def test_ohms_are_read_with_the_sensor_unplugged_and_the_harness_dead() -> None:
    found = candidates_of(after("unplugged only"))
    for now in (None, State(plugged=True, key="run", rpm=800.0), State(plugged=False, key="on")):
        for c in found.readings:
            goal = goal_of(now, found.settings[c.setting], c.quantity)
            if c.quantity in ("sensor_ohms", "harness_ohms"):
                assert not goal.plugged
            if c.quantity == "harness_ohms":
                assert goal.key == "off"


def test_pairs_that_were_measured_are_not_measured_again() -> None:
    found = candidates_of(after("thermistor"))
    assert not [c for c in found.readings if c.quantity == "sensor_ohms"]


def test_terminals_are_those_of_the_connector() -> None:
    posterior = after("half-a-sheet")
    at = np.array([c.at for c in candidates_of(posterior).readings])
    assert at.max() < len(posterior.problem.job.connector.pins)
