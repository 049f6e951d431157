"""Sound pick-ups, throttle bodies and current sensors in circuits less usual, and damp that leaks.

Invented sheets; what is sound about them is common practice, no source, and Ohm's law.
"""

from dataclasses import replace

import pytest

from backprobe.job import Indication, Round
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged
from tests.services.test_sound_habits import first
from tests.services.test_starved_sensors import running


def next_to(before: Round, name: str, volts: dict[str, float]) -> Round:
    """The round after it, plugged."""
    return replace(before, name=name, plugged=True, volts=taken(volts), volts_loaded={})


@pytest.mark.parametrize(("bias", "swing"), [(0.0, 2.6), (1.65, 6.8)])
def test_a_pick_up_whose_mean_rises_with_its_swings_is_sound_and_so_is_the_black_lead(
    bias: float, swing: float
) -> None:
    # An input that clamps the half below ground lets both wires rise alike, by tenths of a volt.
    apart = unplugged("A", {"1": bias, "2": bias}, battery=12.5, check=12.5)
    mated = next_to(apart, "B", {"1": bias + 0.002, "2": bias + 0.001})
    turning = running("C", {"1": bias + 0.49, "2": bias + 0.47})
    turning = replace(turning, volts_ac=taken({"1": swing, "2": 0.95 * swing}))
    answer = explain(job("12", apart, mated, turning))
    assert first(answer).fault == "none"
    assert answer.measurement.rounds["C"] > 0.9


def test_a_throttle_whose_leads_both_lie_at_the_battery_is_sound() -> None:
    # The bridge lets one lead rest at battery voltage and pulls the other one down for 12 % of the
    # time: 12.1 V, and 0.88 of it.
    apart = unplugged(
        "A", {"1": 5.0, "2": 0.011, "3": 0.004, "4": 0.005, "5": 2.5, "6": 2.5}, battery=12.3
    )
    mated = next_to(apart, "B", {"1": 5.0, "2": 0.02, "3": 0.74, "4": 4.26, "5": 12.1, "6": 10.65})
    turning = running("C", {"1": 5.0, "2": 0.03, "3": 0.62, "4": 4.38, "5": 14.0, "6": 12.3})
    answer = explain(job("123456", apart, mated, turning))
    assert first(answer).fault == "none"
    assert first(answer).probability > 0.7
    roles = {each.pin: max(each.roles, key=each.roles.__getitem__) for each in answer.terminals}
    assert roles["5"] == roles["6"] == "motor"


def test_a_current_sensor_that_is_fed_through_the_resistor_is_sound() -> None:
    # 7 mA and 14 mA through 105 ohm leave 0.74 and 1.47 V of the supply (Ohm's law).
    apart = unplugged("A", {"1": 12.0, "2": 0.004}, loaded={"1": 10.86}, battery=12.4)
    low = next_to(apart, "B", {"1": 11.27, "2": 0.009})
    high = replace(low, name="C", volts=taken({"1": 10.52, "2": 0.012}))
    answer = explain(job("12", apart, low, high))
    assert first(answer).fault == "none"


def test_a_battery_that_sinks_while_it_cranks_is_no_bad_black_lead() -> None:
    # Read one after the other: at the posts 9.3 V, to the black lead's point 9.5 V. The starter's
    # current lifts what the control unit is grounded at.
    apart = unplugged("A", {"1": 5.0, "2": 5.0, "3": 0.004}, loaded={"2": 0.9}, check=12.4)
    mated = next_to(apart, "B", {"1": 5.0, "2": 0.06, "3": 0.006})
    cranked = Round(
        "C",
        plugged=True,
        key="crank",
        rpm=210.0,
        battery_volts=Indication(9.3),
        black_lead_check=Indication(9.5),
        volts=taken({"1": 5.13, "2": 2.5, "3": 0.16}),
    )
    answer = explain(job("123", apart, replace(mated, black_lead_check=None), cranked))
    assert answer.measurement.rounds["C"] > 0.9


def test_damp_between_battery_and_a_signal_wire_leaks_without_being_a_hard_short() -> None:
    # 12 kohm from 12.3 V against a pull-up of 4.7 kohm to 5 V; plugged, 2.5 kohm to ground beside
    # (Kirchhoff's law): 7.06 V and 3.00 V.
    apart = unplugged("A", {"1": 7.06, "2": 0.005}, battery=12.3, check=12.3)
    mated = next_to(apart, "B", {"1": 3.0, "2": 0.012})
    sheet = job("12", apart, mated)
    told = replace(sheet, connector=replace(sheet.connector, kind="temperature"))
    answer = explain(told)
    assert first(answer).fault == "short-to-battery:signal-thermistor"
    assert first(answer).terminals == ("1",)
