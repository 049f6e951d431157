"""Connectors of other kinds that could read the same: proved where they could, not elsewhere."""

import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backprobe.campaign.block import FaultOption, changed
from backprobe.campaign.comparison import LEAST_DIFFERENCE
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.kinds import kept_proofs
from backprobe.campaign.kinds.kept_proofs import KeptProofs
from backprobe.campaign.kinds.nearness import Reached
from backprobe.campaign.kinds.proof import Proof, prove, sheet_with
from backprobe.campaign.kinds.ranges import ranges_of, step_limits
from backprobe.campaign.kinds.rivals import Drawn, Rival, draw_rivals, is_fault
from backprobe.campaign.kinds.witnesses import (
    has_reports,
    is_against_diagram,
    without_slow_columns,
)
from backprobe.campaign.unknowns import Case, Unknown
from backprobe.campaign.vehicle import Vehicle
from backprobe.job.model import Job

SHORTED = Wishes("fault", fault_kinds=("sensor-shorted",), slips=False, design="thermistor")
HEALTHY = Wishes("healthy", slips=False, design="thermistor")


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BACKPROBE_CACHE", str(tmp_path / "cache"))


def random(seed: int = 0) -> np.random.Generator:
    return np.random.default_rng(seed)


def vehicles(wishes: Wishes, n: int, *, reports: bool = False) -> list[Vehicle]:
    """The first so many, with values that the control unit reports, or without."""
    drawn = (draw_vehicle(np.random.default_rng([31, k]), wishes) for k in range(10 * n))
    return [vehicle for vehicle in drawn if has_reports(vehicle) is reports][:n]


def called(vehicle: Vehicle, kind: str, fault: str = "none", **other: str) -> Rival:
    """A rival whose roles are the vehicle's, one or the other called otherwise."""
    roles = vehicle.truth.roles.items()
    renamed = tuple((pin, other.get(role.replace("-", "_"), role)) for pin, role in roles)
    return Rival(kind, fault, renamed)


def closed_switch(vehicle: Vehicle) -> Rival:
    return called(vehicle, "switch to ground", signal_thermistor="signal-switch")


def dead_shorts() -> list[Vehicle]:
    """Thermistors shorted as well as a contact closes, by three ohms or less."""
    shorted = [v for v in vehicles(SHORTED, 10) if v.truth.severity < 3.0]
    return [v for v in shorted if not any(taken.harness_ohms for taken in v.job.rounds)]


def test_a_shorted_thermistor_could_be_a_closed_switch() -> None:
    # A fact of the trade: both are a pull-up with a wire to ground, and read a few millivolts.
    plain = dead_shorts()
    assert len(plain) >= 3
    for vehicle in plain[:3]:
        found = prove(vehicle, closed_switch(vehicle), random())
        assert found.reads_the_same
        assert found.off <= found.apart <= LEAST_DIFFERENCE
        assert found.steps <= LEAST_DIFFERENCE


def test_a_thermistor_that_warms_up_is_no_switch() -> None:
    # A closed switch may open as the engine runs, which lifts its voltage; none falls a little.
    tried = 0
    for vehicle in vehicles(HEALTHY, 20):
        pin = next(p for p, role in vehicle.truth.roles.items() if role == "signal-thermistor")
        at_rest, running = (taken.volts[pin].value for taken in vehicle.job.rounds[1:3])
        if at_rest - running > 0.2:
            tried += 1
            assert not prove(vehicle, closed_switch(vehicle), random(tried)).reads_the_same
    assert tried >= 3


def test_a_healthy_connector_could_be_itself_but_not_its_wires_exchanged() -> None:
    for vehicle in vehicles(HEALTHY, 3):
        itself = called(vehicle, "temperature, thermistor")
        assert prove(vehicle, itself, random()).reads_the_same
        exchanged = called(
            vehicle,
            "temperature, thermistor",
            signal_thermistor="sensor-ground",
            sensor_ground="signal-thermistor",
        )
        assert not prove(vehicle, exchanged, random()).reads_the_same


def test_a_shorted_heater_is_no_healthy_one() -> None:
    # A heater of a fraction of an ohm would read the same; sound ones have ohms.
    wishes = Wishes("fault", fault_kinds=("sensor-shorted",), slips=False, design="oxygen-three")
    drawn = [v for v in vehicles(wishes, 8) if v.truth.fault == "sensor-shorted:heater-control"]
    assert drawn
    for vehicle in drawn[:2]:
        healthy = called(vehicle, vehicle.truth.circuit)
        assert not prove(vehicle, healthy, random()).reads_the_same


@pytest.mark.parametrize(
    ("apart", "steps", "is_same"), [(3.9, 3.9, True), (4.1, 0.0, False), (0.0, 4.1, False)]
)
def test_readings_that_are_all_nearly_too_far_off_are_too_far_together(
    apart: float, steps: float, is_same: bool
) -> None:
    case = Case(vehicles(HEALTHY, 1)[0].simulation.healthy, {})
    # The worst reading alone would be near enough.
    assert Reached(min(apart, 3.0), apart, steps, 0.0, case).reads_the_same is is_same


def test_what_no_simulated_connector_has_is_never_proved() -> None:
    vehicle = vehicles(SHORTED, 1)[0]
    for rival in (
        called(vehicle, "switch to the moon"),
        called(vehicle, "temperature, thermistor", "short-to-ground:motor"),
        called(vehicle, "temperature, thermistor", signal_thermistor="motor"),
    ):
        assert prove(vehicle, rival, random()) == Proof(reads_the_same=False)


def test_a_reported_temperature_is_not_a_switch() -> None:
    vehicle = vehicles(SHORTED, 1, reports=True)[0]
    assert not prove(vehicle, closed_switch(vehicle), random()).reads_the_same


def test_a_diagram_speaks_against_other_roles() -> None:
    vehicle = vehicles(SHORTED, 1)[0]
    connector = vehicle.job.connector
    marked = tuple(
        replace(terminal, diagram=vehicle.truth.roles[terminal.pin])
        for terminal in connector.terminals
    )
    job: Job = replace(vehicle.job, connector=replace(connector, terminals=marked))
    assert is_against_diagram(job, closed_switch(vehicle))
    assert not is_against_diagram(job, called(vehicle, "temperature, thermistor"))
    assert not prove(replace(vehicle, job=job), closed_switch(vehicle), random()).reads_the_same


def test_drawn_rivals_have_the_roles_the_fault_and_the_rounds_that_are_asked_for() -> None:
    wishes = Wishes("fault", "partial", slips=False, design="dual-track-four")
    vehicle = draw_vehicle(random(3), wishes)
    rival = called(vehicle, "position, two tracks", "swapped:sensor-ground+signal-analogue")
    states = {state.name: state for state in vehicle.simulation.states}
    layouts = set()
    for _, drawn in zip(range(20), draw_rivals(vehicle, rival, random()), strict=False):
        circuit = drawn.healthy.circuit
        assert {pin: circuit.role(key) for pin, key in drawn.pins.items()} == dict(rival.roles)
        assert len(set(drawn.pins.values())) == len(drawn.pins)
        assert drawn.case.circuit.swap is not None
        layouts.add(tuple(drawn.pins.values()))
        for name, state in drawn.healthy.states.items():
            assert state.moment.battery == states[name].moment.battery
            assert state.moment.rpm == states[name].moment.rpm
            assert state.lead == states[name].lead
    # Both signal wires on either pin.
    assert len(layouts) == 2


def test_unused_wires_fill_the_connector() -> None:
    vehicle = draw_vehicle(random(), Wishes("healthy", slips=False, design="pedal"))
    pins = list(vehicle.truth.roles)
    roles = {pins[0]: "sensor-ground", pins[4]: "signal-thermistor"}
    rival = Rival(
        "temperature, thermistor", "none", tuple((p, roles.get(p, "not-used")) for p in pins)
    )
    drawn = next(draw_rivals(vehicle, rival, random()))
    assert Counter(wire.role for wire in drawn.healthy.circuit.wires)["not-used"] == len(pins) - 2
    assert not prove(vehicle, rival, random()).reads_the_same


@pytest.mark.parametrize(("share", "is_one"), [(0.0, True), (0.21, False), (0.5, True)])
def test_a_sensor_next_to_its_curve_has_not_drifted(share: float, is_one: bool) -> None:
    option = FaultOption("sensor-drift", (), changed(), 0.25, 4.0)  # share 0.2 is a factor of one
    assert is_fault(option, share) is is_one
    assert is_fault(None, share)


def test_parts_stay_within_what_such_connectors_have() -> None:
    vehicle = vehicles(HEALTHY, 1)[0]
    drawn = list(draw_rivals(vehicle, called(vehicle, vehicle.truth.circuit), random()))
    first = drawn[0].healthy
    name, size = "signal.clamp", 0.5
    values = [each.healthy.circuit.values[name] for each in drawn]
    unknown = Unknown("value", name, size, is_factor=True)
    down, up = step_limits(first, unknown, ranges_of(drawn))
    here = first.circuit.values[name]
    for steps, limit in ((down, min(values)), (up, max(values))):
        if abs(steps) < LEAST_DIFFERENCE:
            assert here * math.exp(steps * size) == pytest.approx(limit)
    beyond = Case(first.circuit.with_edits({name: 2.0 * max(values)}), first.states)
    assert step_limits(beyond, unknown, ranges_of(drawn))[1] == 0.0
    battery = Unknown("battery", "", 0.05, round="A")
    assert step_limits(first, battery, ranges_of(drawn)) == (-LEAST_DIFFERENCE, LEAST_DIFFERENCE)


def test_slow_columns_are_added_to_the_quick_ones() -> None:
    vehicle = vehicles(SHORTED, 1, reports=True)[0]
    simulation = vehicle.simulation
    quick = sheet_with(without_slow_columns(vehicle), simulation.pins)
    names = [each.name for each in quick.readings(simulation.circuit)]
    assert names
    assert not any("ohms" in name or "scan" in name for name in names)
    quick.fill(vehicle)
    whole = {each.name: each.value for each in quick.readings(simulation.circuit)}
    assert set(names) < set(whole)
    assert any("scan" in name for name in whole)


def test_a_reported_value_is_what_the_job_says() -> None:
    # The technician's column comes from other code, in whole degrees while the state wanders.
    for vehicle in vehicles(HEALTHY, 3, reports=True):
        simulation = vehicle.simulation
        sheet = sheet_with(vehicle, simulation.pins)
        seen = {each.name: each.value for each in sheet.readings(simulation.circuit)}
        for taken in vehicle.job.rounds:
            for name, written in taken.scan.items():
                if "temperature" in name and not name.endswith("volts"):
                    assert seen[f"{taken.name} scan {name}"] == pytest.approx(
                        written.value, abs=2.0
                    )


def test_a_proof_is_kept_and_taken_from_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    vehicle = dead_shorts()[0]
    for rival in (closed_switch(vehicle), called(vehicle, "switch to the moon")):
        made = KeptProofs(vehicle, "one").proof(rival)
        with monkeypatch.context() as patched:
            patched.setattr(kept_proofs, "prove", _never)
            assert KeptProofs(vehicle, "one").proof(rival) == made
            with pytest.raises(AssertionError, match="asked again"):
                KeptProofs(vehicle, "another").proof(rival)
    assert KeptProofs(vehicle, "one")(closed_switch(vehicle))


def _never(*_: object) -> Proof:
    raise AssertionError("asked again")


def test_the_order_of_asking_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    vehicle = vehicles(SHORTED, 1)[0]
    both = (closed_switch(vehicle), called(vehicle, "temperature, thermistor"))
    first = KeptProofs(vehicle, "one")
    forward = [first.proof(rival) for rival in both]
    monkeypatch.setenv("BACKPROBE_CACHE", str(tmp_path / "other"))
    second = KeptProofs(vehicle, "one")
    backward = [second.proof(rival) for rival in reversed(both)]
    assert forward == backward[::-1]


def test_a_drawn_connector_with_its_fault_is_not_the_sound_one() -> None:
    vehicle = vehicles(HEALTHY, 1)[0]
    rival = called(vehicle, "temperature, thermistor", "open:signal-thermistor")
    drawn: Drawn = next(draw_rivals(vehicle, rival, random()))
    key = next(k for p, k in drawn.pins.items() if dict(rival.roles)[p] == "signal-thermistor")
    assert drawn.case.circuit.values[f"{key}.wire"] > 1e6
    assert drawn.healthy.circuit.values[f"{key}.wire"] < 10.0
