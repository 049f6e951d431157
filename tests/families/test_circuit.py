"""Families drawn up as circuits: what is there in which mode, and the lone sensor."""

import math

import numpy as np
import pytest

from backprobe.core.circuit.plan import Mode
from backprobe.families.circuit import compile_family
from backprobe.families.fault_edits import LIFT_SHARE, SEVERITY
from backprobe.families.faults import faults_of
from backprobe.families.loader import load_families, parse_family
from backprobe.families.schema import Family
from tests.core.circuit.drawn_up import Case, Subject, solve

FAMILIES = {family.id: family for family in load_families()}

# A coil that some vehicles have a diode across; that diode is a resistance to an ohmmeter.
WITH_PARTS = """
format = 1
id = "relay-with-parts"
title = "relay"
kind = "actuator"
prior = 1.0
about = "A relay coil, or on some vehicles a resistor in its place."
source = "common practice"

[[wire]]
name = "supply"
role = "supply-battery"
to = "feed"

[[wire]]
name = "control"
role = "driver-control"
to = "control.cu"

[value.part]
choice = ["coil", "none"]
weights = [0.7, 0.3]
source = "common practice"

[[control-unit]]
name = "bias"
kind = "resistor"
between = ["control.cu", "cu-inner"]
ohm = 100000

[[sensor]]
name = "coil"
kind = "coil"
between = ["supply.pin", "control.pin"]
ohm = 85
only_if = { value = "part", is = "coil" }
"""


def between(family: Family, known: dict[str, float], first: int, second: int) -> float:
    """What an ohmmeter shows between two terminals of the lone sensor."""
    subject = Subject(family)
    case = Case(Mode.SENSOR_ALONE, subject.levels[0], subject.central("key-on") | known)
    z = solve([subject], [[case]]).thevenin[0, 0]
    return float(z[first, first] + z[second, second] - z[first, second] - z[second, first])


def test_resistance_of_a_lone_thermistor() -> None:
    known = {"thermistor.ohm_25": 2210.0, "temperature": 25.0}
    found = between(FAMILIES["thermistor-two-wire"], known, 0, 1)
    assert found == pytest.approx(2210.0, abs=0.1)  # and two contacts of some milliohms


def test_resistance_of_a_lone_track_at_its_ends_and_from_its_wiper() -> None:
    family = FAMILIES["potentiometer-three-wire"]
    known = {"track.ohm": 2000.0, "track.wiper_ohm": 800.0, "position": 0.25}
    assert between(family, known, 0, 2) == pytest.approx(2000.0, rel=0.005)
    assert between(family, known, 1, 2) == pytest.approx(800.0 + 500.0, rel=0.005)
    assert between(family, known, 1, 0) == pytest.approx(800.0 + 1500.0, rel=0.005)


def test_a_part_that_is_not_there_is_open_to_an_ohmmeter() -> None:
    family = parse_family(WITH_PARTS, "relay-with-parts.toml")
    assert between(family, {"part": 0.0}, 0, 1) == pytest.approx(85.0, abs=0.1)
    assert between(family, {"part": 1.0}, 0, 1) > 1e8


def test_terminals_of_one_passive_part_belong_together() -> None:
    assert compile_family(FAMILIES["thermistor-two-wire"]).component == (0, 0)
    # Heater and cell of an oxygen sensor: nothing joins them, and electronics hide nothing.
    four = compile_family(FAMILIES["oxygen-four-wire"])
    names = [wire.name for wire in four.family.wires]
    group = dict(zip(names, four.component, strict=True))
    assert group["heater-supply"] == group["heater-control"]
    assert group["heater-supply"] not in {group["signal"], group["return"]}
    assert not four.active_ends[names.index("heater-supply")]
    assert all(compile_family(FAMILIES["hall-5v"]).active_ends)


def test_supplies_that_nothing_hangs_on_are_left_out() -> None:
    nodes = compile_family(FAMILIES["thermistor-two-wire"]).plan.node_names
    assert "vcc" in nodes
    assert "feed" not in nodes
    nodes = compile_family(FAMILIES["solenoid-two-wire"]).plan.node_names
    assert "feed" in nodes
    assert "vcc" not in nodes


@pytest.mark.parametrize("name", FAMILIES)
def test_with_the_key_off_nothing_is_fed(name: str) -> None:
    subject = Subject(FAMILIES[name])
    case = Case(Mode.UNPLUGGED_OFF, subject.levels[0], subject.central("key-on"))
    found = solve([subject], [[case]])
    # Where nothing flows no ground stands off another; an input's leakage has nothing to leak from.
    assert np.abs(found.voltage).max() < 0.001


@pytest.mark.parametrize("mode", [Mode.UNPLUGGED_OFF, Mode.PLUGGED_OFF])
def test_with_the_key_off_a_bad_ground_path_lifts_nothing(mode: Mode) -> None:
    # Ohm's law: what lifts it is the control unit's own current. Common practice, no source.
    family = FAMILIES["thermistor-two-wire"]
    lifted = next(f for f in faults_of(family) if f.kind == "ground-lifted")
    subject = Subject(family, lifted)
    values = subject.central("key-on") | {SEVERITY: 0.5, LIFT_SHARE: 1.0}
    awake = Mode.UNPLUGGED if mode == Mode.UNPLUGGED_OFF else Mode.PLUGGED
    place = [w.name for w in family.wires].index("ground")
    found = [
        solve([subject], [[Case(each, subject.levels[0], values)]]).voltage[0, 0, place]
        for each in (awake, mode)
    ]
    assert found[0] == pytest.approx(0.5, abs=0.06)
    assert abs(found[1]) < 0.001


def test_with_the_key_off_an_ohmmeter_finds_what_an_unpowered_control_unit_is() -> None:
    subject = Subject(FAMILIES["thermistor-two-wire"])
    values = subject.central("key-on") | {"pull-up": 2200.0, "off-ohm": 3000.0}
    found = solve([subject], [[Case(Mode.UNPLUGGED_OFF, subject.levels[0], values)]])
    assert found.thevenin[0, 0, 0, 0] == pytest.approx(5200.0, rel=0.001)
    assert found.thevenin[0, 0, 1, 1] < 1.0


@pytest.mark.parametrize(
    ("name", "ohm", "wire"),
    [("oxygen-four-wire", "bias.ohm", "signal"), ("pick-up-biased", "bias-ohm", "signal")],
)
def test_with_the_key_off_a_bias_keeps_its_own_resistor(name: str, ohm: str, wire: str) -> None:
    # Resistances in series add up: 100 kohm behind what the dead control unit is, 3 kohm. An
    # input's own 1 Gohm across both ends of a pick-up hardly counts.
    subject = Subject(FAMILIES[name])
    values = subject.central("key-on") | {ohm: 1e5, "off-ohm": 3000.0}
    values |= {"input.ohm": 1e9} if "input.ohm" in values else {}
    found = solve([subject], [[Case(Mode.UNPLUGGED_OFF, subject.levels[0], values)]])
    place = [w.name for w in FAMILIES[name].wires].index(wire)
    assert found.thevenin[0, 0, place, place] == pytest.approx(103e3, rel=0.001)


def test_parts_that_depend_on_the_plug_are_there_only_then() -> None:
    families = [
        f
        for f in FAMILIES.values()
        if any((e.only_if or ("",))[0] == "connector" for e in f.elements)
    ]
    assert families  # a throttle body's driver looks for its motor
    for family in families:
        circuit = compile_family(family)
        assert "connector" not in circuit.slots
        for subject in [Subject(family)]:
            values = subject.central("key-on")
            cases = [
                Case(mode, subject.levels[0], values) for mode in (Mode.UNPLUGGED, Mode.PLUGGED)
            ]
            assert np.isfinite(solve([subject], [cases]).voltage).all()


def test_every_wire_has_its_own_ohms_insulation_and_contact() -> None:
    for family in FAMILIES.values():
        netlist = Subject(family).netlist
        for wire in family.wires:
            for value in (netlist.series[wire.name], netlist.contact[wire.name]):
                assert netlist.values[value].a < 1.0
            insulation = netlist.values[f"{wire.name}.insulation-ohm"]
            assert insulation.a == pytest.approx(math.sqrt(1e8 * 1e10))
