"""Simulated pick-ups, throttle bridges and current sensors in circuits less usual.

Volts are arithmetic on textbook parts; that such circuits are about is common practice, no source.
"""

import numpy as np
import pytest

from backprobe.campaign.circuit import Circuit, draw_circuit
from backprobe.campaign.connectors import DESIGNS
from backprobe.campaign.two_wire_current import CurrentSensorFedBySignal
from tests.campaign.test_trade_facts import ideal, volts


def test_an_uneven_input_moves_the_mean_of_both_wires_alike_as_it_turns_faster() -> None:
    parts = {"coil.bias kind": 0.0, "coil.bias volt": 1.8, "coil.volt a turn": 0.2}
    for share in (0.0, 0.1):
        circuit = ideal("inductive", {**parts, "coil.rectified": share})
        for rpm in (0.0, 900.0, 1800.0):
            # 0.2 V a turn a second; a share of it on top of the bias.
            expected = 1.8 + share * 0.2 * rpm / 60.0
            for wire in ("coil.signal", "coil.return"):
                found = volts(circuit, wire, plugged=True, quantities={}, rpm=rpm)
                assert found == pytest.approx(expected, abs=0.03)


def motor_of(circuit: Circuit) -> str:
    return next(key for key in circuit.values if key.endswith(".lies high")).rpartition(".")[0]


@pytest.mark.parametrize(("lies_high", "shares"), [(0.0, (0.2, 0.0)), (1.0, (1.0, 0.8))])
def test_a_bridge_lets_both_leads_rest_low_or_high(
    lies_high: float, shares: tuple[float, float]
) -> None:
    drawn = ideal("throttle-body", {})
    name = motor_of(drawn)
    parts = {"lies high": lies_high, "duty": 0.2, "ohm": 1000.0, "on": 0.1}
    edits = {f"{name}.{key}": value for key, value in parts.items()}
    circuit = drawn.with_edits({**edits, "rails.protection.drop": 0.0})
    for lead, share in zip(("a", "b"), shares, strict=True):
        found = volts(circuit, f"{name}.{lead}", plugged=True, quantities={}, rpm=800.0)
        assert found == pytest.approx(share * 12.5, abs=0.05)


@pytest.mark.parametrize(("pulled_down", "is_up"), [(0.0, (1, 1)), (1.0, (0, 1)), (2.0, (1, 0))])
def test_a_bridge_that_rests_biases_both_leads_or_one(
    pulled_down: float, is_up: tuple[int, int]
) -> None:
    drawn = ideal("throttle-body", {})
    name = motor_of(drawn)
    parts = {"pulled down": pulled_down, "bias": 0.4, "bias ohm": 2000.0}
    circuit = drawn.with_edits({f"{name}.{key}": value for key, value in parts.items()})
    for lead, up in zip(("a", "b"), is_up, strict=True):
        found = volts(circuit, f"{name}.{lead}", plugged=False, quantities={})
        assert found == pytest.approx(0.4 * 12.5 * up, abs=0.05)


def test_a_current_sensor_fed_through_the_resistor_shows_what_is_left_behind_it() -> None:
    # 7 mA and 14 mA through 100 ohm: 0.70 and 1.40 V less than unplugged (Ohm's law).
    design = next(each for each in DESIGNS if each.name == "current")
    drawn = (draw_circuit(np.random.default_rng(seed), design, unused=0) for seed in range(99))
    found = next(
        each for each in drawn if any(isinstance(b, CurrentSensorFedBySignal) for b in each.blocks)
    )
    assert {wire.role for wire in found.wires} == {"signal-switching", "sensor-ground"}
    parts = {"signal.low": 0.007, "signal.high": 0.014, "signal.shunt": 100.0, "signal.wire": 0.05}
    circuit = found.with_edits({**parts, "rails.ground.ohm": 0.01})
    apart = volts(circuit, "signal", plugged=False, quantities={})
    for at_rest, drop in ((0.0, 0.70), (1.0, 1.40)):
        standing = circuit.with_edits({"signal.at rest": at_rest})
        mated = volts(standing, "signal", plugged=True, quantities={})
        assert apart - mated == pytest.approx(drop, abs=0.06)
