"""What a sensor measures moved by hand with the engine standing: how sensors are tried.

Common practice, no source: a pick-up whose wheel is turned makes some tenths of a volt, a Hall
sensor's output goes between both its levels, and neither makes anything while its wheel stands. A
manifold pressure sensor follows a hand pump from near 4 V at the barometer down to 1 V and less;
an air-mass sensor rises from 1 V when somebody blows through it; a knock sensor shows tens of
millivolts when the block is tapped beside it; a thermistor's wire falls as a hair dryer warms it.
"""

import math
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


def pumped() -> Job:
    held = Round("C", plugged=True, key="on", action="sweep")
    held = replace(held, volts_high=taken({"3": 4.02}), volts_low=taken({"3": 1.35}))
    resting = Round("B", plugged=True, key="on", volts=taken({"1": 5.0, "2": 0.006, "3": 4.02}))
    return job("123", unplugged("A", {"1": 5.01, "2": 0.003, "3": 0.02}), resting, held)


def blown_through() -> Job:
    held = Round("C", plugged=True, key="on", action="sweep")
    held = replace(held, volts_high=taken({"3": 2.1}), volts_low=taken({"3": 1.0}))
    still = taken({"1": 12.38, "2": 0.012, "3": 1.01, "4": 2.61})
    resting = Round("B", plugged=True, key="on", volts=still)
    return job(
        "1234", unplugged("A", {"1": 12.41, "2": 0.003, "3": 0.01, "4": 5.01}), resting, held
    )


def tapped() -> Job:
    alone = Round(
        "A", plugged=False, key="off", sensor_ohms={("1", "2"): Indication(math.inf, True, "OL")}
    )
    still = Round("B", plugged=True, key="on", volts=taken({"1": 2.48, "2": 0.003}))
    hit = Round("C", plugged=True, key="on", action="sweep", volts_ac=taken({"1": 0.08}))
    return job("12", alone, still, hit)


def warmed() -> Job:
    held = Round("C", plugged=True, key="on", action="sweep")
    held = replace(held, volts_high=taken({"1": 3.1}), volts_low=taken({"1": 1.7}))
    resting = Round("B", plugged=True, key="on", volts=taken({"1": 3.1, "2": 0.004}))
    return job("12", unplugged("A", {"1": 5.0, "2": 0.003}), resting, held)


def in_water(celsius: float, ohm: float, name: str) -> Round:
    return Round(
        name,
        plugged=False,
        key="off",
        ambient_celsius=celsius,
        sensor_ohms={("1", "2"): Indication(ohm)},
    )


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


@pytest.mark.parametrize(
    ("sheet", "circuit", "role"),
    [
        (pumped(), "pressure, ratiometric", "signal-analogue"),
        (blown_through(), "air mass, voltage, with thermistor", "signal-analogue"),
        (tapped(), "knock, piezo", "generator-signal"),
        (warmed(), "temperature, thermistor", "signal-thermistor"),
    ],
)
def test_what_follows_the_hand_is_sound(sheet: Job, circuit: str, role: str) -> None:
    answer = explain(sheet)
    assert answer.circuits[0].circuit == circuit
    assert role in [wire.role for wire in answer.terminals]
    assert answer.faults[0].fault == "none"
    assert answer.measurement.trusted > 0.95


def test_a_thermistor_in_hot_water_is_a_thermistor() -> None:
    # A maker's curve of 2.5 kohm at 20 degC: near 320 ohm at 80 degC (common practice, no source).
    cold, hot = in_water(20.0, 2480.0, "A"), in_water(80.0, 325.0, "B")
    answer = explain(job("12", cold, hot, unplugged("C", {"1": 5.01, "2": 0.003})))
    assert answer.circuits[0].circuit == "temperature, thermistor"
    assert answer.circuits[0].probability > 0.95
    assert answer.faults[0].fault == "none"
    assert answer.misfit.probability > 0.05


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
