"""A contact that moved between two rounds of one state: no wrong key, no odd reading.

What a pull-up with a contact to ground reads, open and closed, is Ohm's law; that a tooth may stand
before a Hall sensor or not is common practice, no source.
"""

import pytest

from backprobe.job import Job, Round
from backprobe.job.job_file import parse_job
from backprobe.services.answer import Answer
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged

SWITCH = """
format = 1
[job]
title = "Oil pressure lamp stays dark"
[connector]
name = "switch"
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
[[round]]
name = "A"
plugged = false
key = "on"
battery_volts = 12.4
black_lead_check = 12.4
volts = { 1 = 5.00, 2 = 0.01 }
sensor_ohms = { 1-2 = "OL" }
[[round]]
name = "B"
plugged = true
key = "on"
battery_volts = 12.4
black_lead_check = 12.4
volts = { 1 = 0.09, 2 = 0.01 }
[[round]]
name = "C"
plugged = true
key = "on"
battery_volts = 12.4
black_lead_check = 12.4
volts = { 1 = 5.00, 2 = 0.01 }
"""

OPEN_OR_CLOSED = {True: {"1": 0.02, "2": 0.01}, False: {"1": 5.0, "2": 0.01}}


def plugged(name: str, volts: dict[str, float]) -> Round:
    sheet = unplugged(name, volts, battery=12.4, check=12.4)
    return Round(
        name,
        plugged=True,
        key="on",
        battery_volts=sheet.battery_volts,
        black_lead_check=sheet.black_lead_check,
        volts=sheet.volts,
    )


def switch(*closed: bool) -> Job:
    """A switch behind a pull-up of 1 kohm to 5 V, its contact open or closed in some rounds."""
    first = unplugged(
        "A", {"1": 5.0, "2": 0.01}, loaded={"1": 2.5}, battery=12.4, check=12.4
    )  # 1 kohm to ground halves it
    rounds = [plugged(f"B{k}", OPEN_OR_CLOSED[c]) for k, c in enumerate(closed)]
    return job("12", first, *rounds)


def chance(answer: Answer, fault: str) -> float:
    return next((f.probability for f in answer.faults if f.fault == fault), 0.0)


def test_a_contact_that_moved_is_no_key_that_was_off() -> None:
    answer = explain(parse_job(SWITCH, "switch.toml"))
    assert answer.terminals[0].role == "signal-switch"
    assert answer.terminals[1].role == "sensor-ground"
    assert answer.faults[0].fault == "none"
    assert answer.measurement.remarks == ()
    assert min(answer.measurement.rounds.values()) > 0.9
    assert answer.misfit.readings == ()


@pytest.mark.parametrize("closed", [(True, False, True), (False, True, True, False)])
def test_a_contact_may_move_as_often_as_it_likes(closed: tuple[bool, ...]) -> None:
    answer = explain(switch(*closed))
    assert answer.circuits[0].circuit == "switch to ground"
    assert answer.faults[0].fault == "none"
    assert answer.measurement.trusted > 0.95
    assert answer.misfit.readings == ()


def test_a_contact_that_was_seen_to_move_is_not_stuck() -> None:
    # A sensor that is shorted inside reads low in every round; one reading high rules it out.
    low = explain(switch(True, True))
    both = explain(switch(True, False))
    assert chance(both, "none") > chance(low, "none")
    assert chance(both, "sensor-shorted:signal-switch") < 0.01
    assert chance(both, "sensor-stuck:signal-switch") < 0.01
    assert chance(low, "sensor-shorted:signal-switch") > chance(
        both, "sensor-shorted:signal-switch"
    )


def test_the_order_of_the_rounds_of_a_state_does_not_matter() -> None:
    one, other = explain(switch(True, False, False)), explain(switch(False, False, True))
    assert chance(one, "none") == pytest.approx(chance(other, "none"), abs=0.05)
    assert one.terminals[0].probability == pytest.approx(other.terminals[0].probability, abs=0.05)


def test_a_tooth_may_come_before_a_sensor_between_two_rounds() -> None:
    first = unplugged("A", {"1": 5.0, "2": 5.0, "3": 0.01}, battery=12.4, check=12.4)
    first = Round(
        "A",
        plugged=False,
        key="on",
        battery_volts=first.battery_volts,
        black_lead_check=first.black_lead_check,
        volts=first.volts,
        volts_loaded=taken({"1": 5.0, "2": 2.5}),
    )
    rounds = [
        plugged("B", {"1": 5.0, "2": 0.2, "3": 0.01}),
        plugged("C", {"1": 5.0, "2": 5.0, "3": 0.01}),
    ]
    answer = explain(job("123", first, *rounds))
    assert answer.circuits[0].circuit == "speed, Hall sensor, open collector"
    assert answer.faults[0].fault == "none"
    assert answer.measurement.trusted > 0.95
    assert answer.misfit.readings == ()
