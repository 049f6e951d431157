"""A wheel turned by hand with the engine standing: how sensors at road wheels are tried.

Common practice, no source: a pick-up then makes some tenths of a volt, a Hall sensor's output goes
between both its levels, and neither makes anything while its wheel stands.
"""

from dataclasses import replace
from functools import cache

import pytest

from backprobe.job import Indication, Job, Round
from backprobe.services.answer import Answer
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged

COIL = Round("A", plugged=False, key="off", sensor_ohms={("1", "2"): Indication(1180.0)})
TURNED = Round(
    "B",
    plugged=True,
    key="on",
    action="sweep",
    volts_ac=taken({"1": 0.35, "2": 0.34}),
    hertz=taken({"1": 48.0}),
)
BIAS = Round("C", plugged=True, key="on", volts=taken({"1": 2.41, "2": 2.40}))


@cache
def pick_up(action: str = "sweep", key: str = "on", turns: float = 1.0) -> Answer:
    """The answer on a two-wire pick-up biased at 2.4 V, its second round changed."""
    made = {pin: v.value * turns for pin, v in TURNED.volts_ac.items()}
    counted = TURNED.hertz if turns else {}
    changed = replace(TURNED, action=action, key=key, volts_ac=taken(made), hertz=counted)
    return explain(job("12", COIL, changed, BIAS))


def hall() -> Job:
    held = Round(
        "B",
        plugged=True,
        key="on",
        action="sweep",
        volts_high=taken({"2": 4.97}),
        volts_low=taken({"2": 0.21}),
    )
    return job("123", unplugged("A", {"1": 5.01, "2": 4.99, "3": 0.004}), held)


def by_hand(answer: Answer) -> list[str]:
    return [each for each in answer.measurement.remarks if "by hand" in each]


def test_a_pick_up_that_is_turned_by_hand_is_sound() -> None:
    answer = pick_up()
    assert answer.circuits[0].circuit == "speed, inductive pick-up"
    assert answer.circuits[0].probability > 0.9
    assert answer.faults[0].fault == "none"
    assert by_hand(answer) == []


def test_a_hall_sensor_that_is_turned_by_hand_is_known_by_its_two_levels() -> None:
    answer = explain(hall())
    assert answer.circuits[0].circuit == "speed, Hall sensor, open collector"
    assert [wire.role for wire in answer.terminals][1] == "signal-switching"
    assert answer.faults[0].fault == "none"


def test_what_only_a_turning_wheel_makes_is_asked_about_while_the_engine_stands() -> None:
    (told,) = by_hand(pick_up(action=""))
    assert "while the wheel turns" in told
    assert 'the action "sweep"' in told


@pytest.mark.parametrize("key", ["crank", "run"])
def test_a_silent_sensor_may_watch_a_road_wheel(key: str) -> None:
    (told,) = by_hand(pick_up(action="", key=key, turns=0.0))
    assert "road wheel" in told
    # What turns needs no such word.
    assert by_hand(pick_up(action="", key=key)) == []
