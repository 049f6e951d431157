"""What could be read next, from the sheet so far."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from backprobe.job import Indication, Round
from backprobe.services.candidate import goal_of
from backprobe.services.candidate_readings import candidates_of, present_state
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of
from backprobe.services.steps import State
from backprobe.services.summary import role_probabilities
from backprobe.services.unavailable import Unavailable
from backprobe.vocabulary import ROLES
from tests.services.sheets import SHEETS, after, job, taken, unplugged


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


# A track between 5 V and ground, its wiper at rest: 0.7 V plugged in, held down unplugged.
TRACK = job(
    "123",
    unplugged("A", {"1": 5.0, "2": 0.003, "3": 0.002}, loaded={"1": 4.98}),
    Round("B", plugged=True, key="on", volts=taken({"1": 5.0, "2": 0.004, "3": 0.71})),
)
NO_ENGINE = (Unavailable(state="plugged|run|idle|"),)


def by_state(posterior: Posterior, without: Sequence[Unavailable] = ()) -> dict[State, set[str]]:
    found = candidates_of(posterior, without)
    table: dict[State, set[str]] = {}
    for c in found.readings:
        table.setdefault(found.settings[c.setting].state, set()).add(c.quantity)
    return table


def test_what_may_be_a_lever_is_swept_with_the_ends_held() -> None:
    posterior = posterior_of(replace(TRACK, connector=replace(TRACK.connector, kind="position")))
    assert by_state(posterior)[State(True, "on", 0.0, "sweep")] == {"volts_high", "volts_low"}


def test_nothing_else_is_swept() -> None:
    for name in ("thermistor", "pick-up", "cell"):
        assert not [s for s in by_state(after(name)) if s.action == "sweep"]


def test_a_sensor_of_speed_is_cranked_where_the_engine_does_not_run() -> None:
    sheet = SHEETS["pick-up"]
    posterior = posterior_of(replace(sheet, connector=replace(sheet.connector, kind="speed")))
    assert not [s for s in by_state(posterior) if s.key == "crank"]
    cranked = by_state(posterior, NO_ENGINE)[State(True, "crank", 200.0)]
    assert {"volts_ac", "hertz"} <= cranked


def test_nothing_is_cranked_that_the_starter_does_not_turn() -> None:
    assert not [s for s in by_state(after("thermistor"), NO_ENGINE) if s.key == "crank"]


def test_an_engine_that_ran_is_not_cranked() -> None:
    sheet = SHEETS["pick-up"]
    ran = Round("B", plugged=True, key="run", rpm=800.0, volts=taken({"1": 1.8}))
    connector = replace(sheet.connector, kind="speed")
    posterior = posterior_of(replace(sheet, connector=connector, rounds=(*sheet.rounds, ran)))
    assert not [s for s in by_state(posterior, NO_ENGINE) if s.key == "crank"]


def test_a_value_that_was_reported_is_not_asked_for_again() -> None:
    sheet = SHEETS["thermistor"]
    name = "coolant temperature"
    told = replace(sheet.rounds[0], scan={name: Indication(-40.0)})
    posterior = posterior_of(replace(sheet, rounds=(told,)))
    found = candidates_of(posterior)
    here = [c.scan for c in found.readings if c.scan and found.settings[c.setting].continued == 0]
    assert name not in here
    assert name in {c.scan for c in found.readings if c.scan}  # plugged in it is another one


def test_a_value_that_can_t_be_had_is_left_out_in_every_state() -> None:
    name = "coolant temperature"
    found = candidates_of(after("thermistor"), (Unavailable("scan", name),))
    assert name not in {c.scan for c in found.readings}
    assert found.withheld


def test_a_value_needs_the_key() -> None:
    found = candidates_of(after("thermistor"))
    assert all(found.settings[c.setting].state.key != "off" for c in found.readings if c.scan)
