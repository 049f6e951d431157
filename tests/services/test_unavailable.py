"""Readings that can't be had are not proposed, and what is open stays open."""

from dataclasses import replace

import pytest

from backprobe.services.answer import NextReading
from backprobe.services.candidate_readings import candidates_of
from backprobe.services.planning import plan_of
from backprobe.services.unavailable import (
    Unavailable,
    not_taken,
    rpm_class,
    state_key,
    state_of,
    unavailable,
)
from tests.services.sheets import after, job, taken, unplugged

SHEETS = ("half-a-sheet", "unplugged only", "unchecked and low", "pick-up")


def test_states_in_one_text() -> None:
    text = state_key(plugged=True, key="run", rpm_class="idle", action="snap throttle")
    assert text == "plugged|run|idle|snap throttle"
    assert rpm_class("run", 750.0) == rpm_class("run", 820.0) == "idle"
    assert rpm_class("run", 2500.0) == "raised"
    assert rpm_class("on", 0.0) == rpm_class("crank", 200.0) == ""


@pytest.mark.parametrize("name", SHEETS)
def test_what_is_set_aside_is_not_proposed_and_everything_else_still_is(name: str) -> None:
    posterior = after(name)
    gone = plan_of(posterior).readings[0]
    every = candidates_of(posterior)
    rest = candidates_of(posterior, [unavailable(gone)])
    assert len(rest.readings) == len(every.readings) - 1
    assert rest.withheld
    assert not every.withheld
    same = [
        (r.quantity, r.terminal, state_of(r)) == (gone.quantity, gone.terminal, state_of(gone))
        for r in plan_of(posterior, 99, without=[unavailable(gone)]).readings
    ]
    assert not any(same)


def test_settings_without_a_reading_are_left_out() -> None:
    found = candidates_of(after("unplugged only"), [Unavailable(state="unplugged|on||")])
    assert {c.setting for c in found.readings} == set(range(len(found.settings)))
    assert all(s.state.plugged or s.state.key == "off" for s in found.settings)


def test_one_after_the_other_set_aside_ends_with_nothing_and_not_with_settled() -> None:
    posterior, aside = after("half-a-sheet"), list[Unavailable]()
    while found := plan_of(posterior, 3, without=aside).readings:
        aside += [unavailable(r) for r in found]
        assert len(aside) < 200
    assert len(aside) > 3
    assert not plan_of(posterior, 3, without=aside).settled


def test_an_empty_field_stands_for_any() -> None:
    assert Unavailable(quantity="volts_loaded").covers("volts_loaded", "2", "unplugged|on||")
    assert not Unavailable(quantity="volts_loaded").covers("volts", "2", "unplugged|on||")
    assert Unavailable(place="2").covers("volts", "2", "")
    assert not Unavailable(place="2").covers("sensor_ohms", "1-2", "")
    assert Unavailable(state="plugged|on||").covers("volts", "1", "plugged|on||")
    assert not Unavailable(state="plugged|on||").covers("volts", "1", "plugged|run|idle|")


def test_a_pair_in_either_order_and_the_free_sensor_in_any_state() -> None:
    aside = Unavailable("sensor_ohms", "2-1", "unplugged|on||")
    assert aside.covers("sensor_ohms", "1-2", "unplugged|off||")


def test_the_same_state_at_another_idle_is_the_same_state() -> None:
    def idle(rpm: float) -> NextReading:
        return NextReading(True, "run", rpm, "", "hertz", "3", 0.5, 1.0, "")

    aside = unavailable(idle(800.0))
    assert aside.covers("hertz", "3", state_of(idle(720.0)))
    assert not aside.covers("hertz", "3", state_of(idle(2500.0)))


def test_what_was_read_meanwhile_is_proposed_no_more() -> None:
    def wanted(quantity: str, place: str, *, plugged: bool = False) -> NextReading:
        return NextReading(plugged, "on", 0.0, "", quantity, place, 0.5, 1.0, "")

    proposed = (
        wanted("volts", "1"),
        wanted("volts", "2"),
        wanted("volts", "1", plugged=True),
        wanted("sensor_ohms", "2-1", plugged=True),
        wanted("scan", "coolant temperature", plugged=True),
        wanted("black_lead_check", "", plugged=False),
    )
    first = unplugged("A", {"1": 5.0}, check=None)
    second = replace(
        first,
        name="B",
        plugged=True,
        volts={},
        sensor_ohms={("1", "2"): taken({"": 2210.0})[""]},
        scan=taken({"coolant temperature": 20.0}),
    )
    assert not_taken(proposed, job("12", first, second)) == (
        proposed[1],
        proposed[2],
        proposed[5],
    )
    assert not_taken(proposed, job("12", replace(first, void="slipped"))) == proposed
