"""What a sensor ground shows of its wire: expectations by Ohm's law, written out.

A pull-up of 2.2 kohm to 5 V: 1 kohm to ground leaves 5 x 1 / 3.2 = 1.5625 V. With a thermistor of
2210 ohm and 50 ohm in its return, 5 / (2200 + 2210 + 50) = 1.1211 mA flow: the ground stands at
56.05 mV, the signal at 5 - 1.1211 x 2.2 = 2.5336 V.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.job import Indication, Meter, Round
from backprobe.services.return_path import ReturnPath, return_paths
from tests.services.sheets import taken, unplugged

ROLES = {"1": "signal-thermistor", "2": "sensor-ground"}
FREE = unplugged("A", {"1": 5.0, "2": 0.0}, loaded={"1": 1.5625})


def plugged(signal: float, ground: float, key: str = "on") -> Round:
    return Round("B", plugged=True, key=key, volts=taken({"1": signal, "2": ground}))


def the_path(*rounds: Round, roles: dict[str, str] | None = None) -> ReturnPath:
    (path,) = return_paths("2", roles or ROLES, rounds, Meter())
    return path


def test_fifty_ohm_by_hand() -> None:
    path = the_path(FREE, plugged(2.5336, 0.05605))
    assert path.current == pytest.approx(1.1211e-3, rel=1e-4)
    assert path.ohms == pytest.approx(50.0, rel=1e-3)
    assert path.most_ohms == path.ohms


def test_what_the_ground_carries_already_is_not_this_wires() -> None:
    # 40 mV stand there unplugged; the sensor's 1.1 mA (the signal 2.53 V) add 20 mV: 18 ohm.
    free = replace(FREE, volts=taken({"1": 5.0, "2": 0.04}))
    path = the_path(free, plugged(2.5336, 0.06))
    assert path.ohms == pytest.approx(0.02 / 1.1211e-3, rel=1e-3)
    assert path.most_ohms == pytest.approx(0.06 / 1.1211e-3, rel=1e-3)


def test_a_difference_no_greater_than_grounds_wander_tells_no_ohms() -> None:
    free = replace(FREE, volts=taken({"1": 5.0, "2": 0.06}))
    path = the_path(free, plugged(2.5336, 0.066))
    assert path.unplugged == 0.06
    assert path.ohms is None


@pytest.mark.parametrize(
    ("free", "taken_in", "roles"),
    [
        # No load was put on the signal; the key stood otherwise for the ground's own reading is
        # tested below; a wire with a current of its own; one that is not known.
        (replace(FREE, volts_loaded={}), plugged(2.5336, 0.06), ROLES),
        (replace(FREE, volts_loaded=taken({"1": 5.0})), plugged(2.5336, 0.06), ROLES),
        (FREE, plugged(2.5336, 0.06), {**ROLES, "3": "supply-regulated"}),
        (FREE, plugged(2.5336, 0.06), {**ROLES, "3": "?"}),
        # An open switch draws nothing.
        (FREE, plugged(5.0, 0.06), {**ROLES, "1": "signal-switch"}),
        # A signal that was not read, or over range.
        (FREE, replace(plugged(0.0, 0.06), volts=taken({"2": 0.06})), ROLES),
        (
            FREE,
            replace(
                plugged(0.0, 0.06),
                volts={"1": Indication(float("inf"), over_range=True), "2": Indication(0.06)},
            ),
            ROLES,
        ),
    ],
)
def test_no_current_is_claimed_that_does_not_follow(
    free: Round, taken_in: Round, roles: dict[str, str]
) -> None:
    path = the_path(free, taken_in, roles=roles)
    assert path.current is None
    assert path.ohms is None
    assert path.most_ohms is None


def test_a_running_engine_lifts_grounds_by_itself() -> None:
    # The unplugged ground was read with the engine at rest: no difference is taken.
    path = the_path(FREE, plugged(2.5336, 0.06, "run"))
    assert path.unplugged is None
    assert path.ohms is None
    assert path.most_ohms == pytest.approx(0.06 / 1.1211e-3, rel=1e-3)


def test_an_unused_pin_and_a_second_pull_up() -> None:
    # Two thermistors on one ground: both currents flow there, 2 x 1.1211 mA.
    free = unplugged("A", {"1": 5.0, "2": 0.0, "3": 5.0}, loaded={"1": 1.5625, "3": 1.5625})
    both = replace(plugged(0, 0), volts=taken({"1": 2.5336, "2": 0.1121, "3": 2.5336}))
    roles = {**ROLES, "3": "signal-thermistor", "4": "not-used"}
    path = the_path(free, both, roles=roles)
    assert path.current == pytest.approx(2.2422e-3, rel=1e-3)
    assert path.ohms == pytest.approx(50.0, rel=1e-3)


@given(
    pull_up=st.floats(1000.0, 4700.0),
    sensor=st.floats(200.0, 4000.0),
    wire=st.floats(30.0, 300.0),
    load=st.sampled_from((470.0, 1000.0, 2200.0)),
)
def test_any_return_is_found_again(pull_up: float, sensor: float, wire: float, load: float) -> None:
    # Ohm's law forward, the program back; the least drop here is 17 mV, above what wanders.
    current = 5.0 / (pull_up + sensor + wire)
    free = replace(FREE, load_ohms=load, volts_loaded=taken({"1": 5.0 * load / (load + pull_up)}))
    path = the_path(free, plugged(5.0 - current * pull_up, current * wire))
    assert path.ohms == pytest.approx(wire, rel=1e-6)
