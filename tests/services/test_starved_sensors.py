"""Sensors whose return is broken: what their electronics leave of the supply on the ground wire."""

from dataclasses import replace

import pytest

from backprobe.job import Indication, Round
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged


def running(name: str, volts: dict[str, float]) -> Round:
    return Round(
        name,
        plugged=True,
        key="run",
        rpm=750.0,
        battery_volts=Indication(14.0),
        black_lead_check=Indication(14.0),
        volts=taken(volts),
    )


@pytest.mark.parametrize(
    ("unplugged_volts", "plugged_volts", "running_volts"),
    [
        # A Hall sensor on battery voltage; its ground stands 0.6 V below its feed.
        (
            {"1": 12.2, "2": 5.0, "3": 0.0},
            {"1": 12.2, "2": 5.0, "3": 11.6},
            {"1": 13.8, "2": 5.0, "3": 13.1},
        ),
        # A sensor on 5 V with a pulled-up output; its ground stands 1.1 V below.
        (
            {"1": 5.0, "2": 5.0, "3": 0.0},
            {"1": 5.0, "2": 5.0, "3": 3.9},
            {"1": 5.0, "2": 5.0, "3": 3.9},
        ),
    ],
)
def test_a_ground_wire_some_tenths_of_a_volt_below_the_supply_is_broken(
    unplugged_volts: dict[str, float],
    plugged_volts: dict[str, float],
    running_volts: dict[str, float],
) -> None:
    # Common practice, no source: next to no current flows, so it is no mere resistance.
    apart = unplugged("A", unplugged_volts, battery=12.5, check=12.5)
    mated = replace(apart, name="B", plugged=True, volts=taken(plugged_volts))
    answer = explain(job("123", apart, mated, running("C", running_volts)))
    first = max(answer.faults, key=lambda fault: fault.probability)
    assert first.fault == "open:sensor-ground"
    assert first.terminals == ("3",)
    assert first.probability > 0.5
