"""The rails that every simulated control unit shares."""

from dataclasses import replace

import numpy as np

from backprobe.campaign.block import Moment
from backprobe.campaign.circuit import Circuit, draw_circuit
from backprobe.campaign.connectors import DESIGNS
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.readings import Bench, BlackLead

SOUND = Wishes(conditions="healthy", slips=False)


def test_a_sound_regulated_supply_stays_where_it_is_with_the_sensor_on_it() -> None:
    # Common practice, no source: plugged in, the regulated supply stays within a few tenths.
    # Number 1201 has a hungry sensor beside many others.
    seen = 0
    for number in (1201, *range(40)):
        vehicle = draw_vehicle(np.random.default_rng([45, number]), SOUND, number)
        assert vehicle.truth.fault == "none"
        wires = [pin for pin, role in vehicle.truth.roles.items() if role == "supply-regulated"]
        apart, mated = vehicle.job.rounds[:2]
        assert not apart.plugged
        assert mated.plugged
        for pin in wires:
            assert abs(apart.volts[pin].value - mated.volts[pin].value) < 0.3, number
            seen += 1
    assert seen > 10


def test_a_sensor_fed_by_the_battery_lifts_its_sound_ground_by_little() -> None:
    # Common practice, no source: a power ground drops less than 0.1 to 0.2 V. Number 240 is hungry.
    seen = 0
    for number in (240, *range(100, 140)):
        vehicle = draw_vehicle(np.random.default_rng([45, number]), SOUND, number)
        if "supply-battery" in vehicle.truth.roles.values():
            lifts = [e.value for e in vehicle.truth.estimates if e.name == "sensor ground offset"]
            seen += len(lifts)
            assert max(lifts, default=0.0) < 0.2, number
    assert seen > 10


UNPLUGGED = Moment(
    plugged=False, awake=True, running=False, cranking=False, rpm=0.0, battery=12.4, quantities={}
)
RUNNING = replace(UNPLUGGED, running=True, rpm=800.0)
CRANKED = replace(UNPLUGGED, cranking=True, rpm=200.0)


def circuit_of(name: str, **edits: float) -> Circuit:
    design = next(each for each in DESIGNS if each.name == name)
    drawn = draw_circuit(np.random.default_rng(3), design, unused=0)
    return drawn.with_edits({key.replace("_", "."): value for key, value in edits.items()})


def volts(circuit: Circuit, now: Moment, key: str) -> float:
    return Bench(circuit, 1e7).levels(now, BlackLead(1e-3), key).mean()


def test_a_feed_that_waits_is_dead_until_the_engine_turns() -> None:
    # Common practice, no source: the relay of some feeds is closed by the turning engine alone.
    waiting = circuit_of("injector", rails_feed_waits=1.0)
    assert abs(volts(waiting, UNPLUGGED, "supply")) < 0.05
    assert volts(waiting, RUNNING, "supply") > 11.5
    assert volts(waiting, CRANKED, "supply") > 11.5
    assert volts(circuit_of("injector", rails_feed_waits=0.0), UNPLUGGED, "supply") > 11.5


def test_pull_ups_to_the_battery_start_behind_the_control_units_protection() -> None:
    # Common practice, no source: a diode against a reversed battery keeps 0.4 to 1.0 V.
    plain, behind = (circuit_of("hall-crank", rails_protection_drop=drop) for drop in (0.0, 0.8))
    plain, behind = (each.with_edits({"signal.up to": 2.0}) for each in (plain, behind))
    apart = volts(plain, UNPLUGGED, "signal") - volts(behind, UNPLUGGED, "signal")
    assert 0.7 < apart < 0.81


def test_a_bad_ground_path_lifts_more_while_the_engine_runs() -> None:
    # Ohm's law: the same resistance, more current of others.
    lifted = circuit_of("track", rails_lift=0.5, rails_lift_running=1.8)
    at_rest, running = (volts(lifted, now, "ground") for now in (UNPLUGGED, RUNNING))
    assert abs(at_rest - 0.5) < 0.02
    assert abs(running - 0.9) < 0.02
    asleep = replace(UNPLUGGED, awake=False)
    assert abs(volts(lifted, asleep, "ground")) < 0.01
