"""A poor contact beyond the probe, the commonest fault of a connector, and a drifted sensor.

Ohm's law: 5 V over a pull-up of 2.5 kohm, 10 kohm in a contact and a thermistor of 2.46 kohm (20
degC, common practice, no source) stand at 5 (10 + 2.46) / (2.5 + 10 + 2.46) = 4.16 V at the probe;
1 kohm from the pulled-up wire to ground leaves 5 / (1 + 2.5) = 1.43 V of it unplugged. A control
unit that takes 12.46 kohm for the thermistor reports some -17 degC.
"""

from dataclasses import replace

from backprobe.job import Indication, Job, Round
from backprobe.services.explain import explain
from tests.services.sheets import job, taken, unplugged

ALONE = Round(
    "A",
    plugged=False,
    key="off",
    ambient_celsius=20.0,
    sensor_ohms={("1", "2"): Indication(2460.0)},
)
HARNESS = replace(
    unplugged("B", {"1": 5.0, "2": 0.003}, loaded={"1": 1.43}, battery=None, check=None),
    ambient_celsius=20.0,
)


def plugged_in(volts: float, celsius: float) -> Job:
    together = Round(
        "C",
        plugged=True,
        key="on",
        ambient_celsius=20.0,
        volts=taken({"1": volts, "2": 0.004}),
        scan={"coolant temperature": Indication(celsius)},
    )
    return job("12", ALONE, HARNESS, together)


def test_a_sound_sensor_behind_a_poor_contact() -> None:
    answer = explain(plugged_in(4.16, -17.0))
    first = answer.faults[0]
    assert (first.fault, first.terminals) == ("sensor-open:signal-thermistor", ("1",))
    assert first.probability > 0.8
    assert answer.misfit.probability > 0.05


def test_the_same_with_a_sound_contact() -> None:
    # 5 V of 2.46 kohm over 2.5 + 2.46 kohm: 2.48 V, and 20 degC.
    answer = explain(plugged_in(2.48, 20.0))
    assert answer.faults[0].fault == "none"
    assert answer.faults[0].probability > 0.8


def test_a_sensor_off_its_curve_is_reported_by_the_curve_it_should_have() -> None:
    # 800 ohm where the control unit's curve has 2.46 kohm: 5 * 0.8 / (2.5 + 0.8) = 1.21 V, and with
    # a beta of 3500 K 1 / (1 / 293.15 + ln(0.8 / 2.46) / 3500) = 323.6 K, some 51 degC.
    together = plugged_in(1.21, 51.0).rounds[-1]
    alone = replace(ALONE, sensor_ohms={("1", "2"): Indication(800.0)})
    answer = explain(job("12", alone, HARNESS, together))
    first = answer.faults[0]
    assert (first.fault, first.terminals) == ("sensor-drift:signal-thermistor", ("1",))
    assert first.probability > 0.5
