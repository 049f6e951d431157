"""What a fault does to a circuit: something, nothing that another one does, where its name says."""

from collections.abc import Hashable

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.circuit.plan import Mode
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.fault_edits import SEVERITY, apply_fault
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.loader import load_families
from backprobe.families.netlist import Netlist, netlist_of
from backprobe.families.schema import Family
from backprobe.vocabulary import NO_FAULT
from tests.core.circuit.drawn_up import MOMENTS, Case, Subject, solve

Array = NDArray[np.float64]

FAMILIES = {family.id: family for family in load_families()}


def chosen(family: Family, kind: str, *wires: str) -> Fault:
    return next(f for f in faults_of(family) if f.kind == kind and set(wires) <= set(f.wires))


def edited(name: str, kind: str, *wires: str) -> Netlist:
    netlist = netlist_of(FAMILIES[name])
    apply_fault(netlist, chosen(FAMILIES[name], kind, *wires))
    return netlist


def content(circuit: FamilyCircuit) -> Hashable:
    """All that can tell one circuit from another."""
    driven = [(n, d.unit, d.always, *d.states.items()) for n, d in circuit.driven.items()]
    return circuit.plan.stamps, tuple(circuit.values.items()), tuple(driven)


@pytest.mark.parametrize("name", FAMILIES)
def test_every_fault_makes_another_circuit(name: str) -> None:
    seen = {content(compile_family(FAMILIES[name])): "none"}
    for fault in faults_of(FAMILIES[name])[1:]:
        own = content(compile_family(FAMILIES[name], fault))
        assert own not in seen, (fault.name, fault.wire, seen.get(own))
        seen[own] = f"{fault.name} {fault.wire}"


def test_behind_a_dry_break_of_a_battery_feed_a_meter_shows_next_to_nothing() -> None:
    # Ohm's law with the meter's 10 Mohm; a full battery at rest, common practice 12.65 V.
    severity = edited("air-mass-voltage-three-wire", "open", "supply").values[SEVERITY]
    least, most = (12.65 * 1e7 / (1e7 + ohm) for ohm in (severity.b, severity.a))
    assert least < 0.01
    assert most > 1.0


def readings(subjects: list[Subject]) -> Array:
    """Everything that a meter could show of circuits that switch alike, (n_subject, n_reading)."""
    parts = []
    for mode, state in (*MOMENTS, (Mode.SENSOR_ALONE, "key-on")):
        cases = [
            [Case(mode, level, values) for level in subject.levels]
            for subject, values in ((one, one.central(state)) for one in subjects)
        ]
        found = solve(subjects, cases)
        z = found.thevenin
        own = np.diagonal(z, axis1=2, axis2=3)
        if mode == Mode.SENSOR_ALONE:
            between = own[..., :, None] + own[..., None, :] - z - np.swapaxes(z, 2, 3)
            parts.append(np.log(np.maximum(between[:, 0], 1e-3)).reshape(len(subjects), -1))
            continue
        for load in (1e7, 1e3):
            volts = found.voltage * load / (load + own)
            parts += [volts.max(axis=1), volts.min(axis=1)]
        parts += [found.alternating.max(axis=1), found.unit_voltage.max(axis=1)]
    return np.concatenate(parts, axis=1)


# Two ends that are alike may be exchanged unseen; a piezo ring of megohms hides some kilohms.
UNSEEN = (
    "swapped:supply-battery+heater-control",
    "swapped:supply-battery+sensor-ground",
    "swapped:supply-battery+signal-switching",
    "swapped:sensor-ground+signal-thermistor",
    "swapped:sensor-ground+signal-switch",
    "resistance:generator-signal",
)


def reads_alike(family: Family, fault: Fault) -> bool:
    """Exchanges that no meter sees: ends of what alternates, and of a track at its middle."""
    if fault.name == "swapped:generator-signal+generator-return":
        return family.kind != "oxygen"  # a cell the wrong way round reads negative
    return fault.kind == "swapped" and set(fault.wires) == {"supply-2", "ground-2"}


@pytest.mark.parametrize("name", FAMILIES)
def test_a_fault_of_usual_size_shows_somewhere(name: str) -> None:
    groups: dict[int, list[Subject]] = {}
    for fault in faults_of(FAMILIES[name]):
        # Stuck and drifted outputs are wrong by what is measured, not by what is wired.
        if fault.kind in ("sensor-stuck", "sensor-drift") or fault.name in UNSEEN:
            continue
        if not reads_alike(FAMILIES[name], fault):
            subject = Subject(FAMILIES[name], fault)
            groups.setdefault(len(subject.levels), []).append(subject)
    solved = {n: readings(subjects) for n, subjects in groups.items()}
    sound = next(
        v[0]
        for n, v in solved.items()
        if groups[n][0].circuit.fault == faults_of(FAMILIES[name])[0]
    )
    for n, found in solved.items():
        for subject, own in zip(groups[n], found, strict=True):
            if subject.circuit.fault.kind != NO_FAULT:
                assert np.abs(own - sound).max() > 0.01, subject.name


# ---------------------------------------------------------------- where a fault sits
def test_a_broken_wire_lies_before_the_probe_and_a_bad_terminal_beyond_it() -> None:
    broken = edited("potentiometer-three-wire", "open", "signal")
    assert broken.series["signal"] == SEVERITY
    assert broken.contact["signal"] != SEVERITY
    bad = edited("potentiometer-three-wire", "sensor-open", "signal")
    assert bad.contact["signal"] == SEVERITY
    assert bad.series["signal"] != SEVERITY


@pytest.mark.parametrize(
    ("name", "wire", "ends"),
    [
        ("thermistor-two-wire", "signal", {"signal.pin", "ground.pin"}),
        ("air-mass-voltage-thermistor-own-return", "signal", {"signal.pin", "return.pin"}),
        ("solenoid-two-wire", "control", {"control.pin", "supply.pin"}),
        ("oxygen-four-wire", "heater-control", {"heater-control.pin", "heater-supply.pin"}),
        ("oxygen-four-wire", "signal", {"signal.pin", "return.pin"}),
        ("throttle-body-six-wire", "motor-1", {"motor-1.pin", "motor-2.pin"}),
    ],
)
def test_a_short_inside_a_sensor_is_across_its_output(name: str, wire: str, ends: set[str]) -> None:
    (bridge,) = edited(name, "sensor-shorted", wire).bridges
    assert set(bridge[:2]) == ends
    assert bridge[3]  # it goes with the sensor when that is unplugged


def test_a_short_to_the_supply_is_to_the_connector_s_own_one_or_to_5_v_of_another() -> None:
    for name, supply in (("hall-5v", "supply"), ("thermistor-two-wire", "ref")):
        (bridge,) = edited(name, "short-to-supply", "signal").bridges
        assert set(bridge[:2]) == {"signal", supply}
    shorts = [
        e
        for e in edited("hall-8v", "short-to-supply", "signal").elements
        if e.name.startswith("short-to-")
    ]
    assert [e.nodes for e in shorts] == [("signal", "supply"), ("signal", "ref")]
    assert {e.only_if for e in shorts} == {("fault.supply-wire", word) for word in ("own", "5 V")}


def test_a_failed_input_leaves_nothing_but_its_leakage() -> None:
    netlist = edited("thermistor-two-wire", "control-unit-input", "signal")
    assert not [e for e in netlist.elements if e.side == "control-unit" and "signal.cu" in e.nodes]
    (bridge,) = netlist.bridges
    assert set(bridge[:2]) == {"signal.cu", "cu-inner"}
    prior = netlist.values[SEVERITY]
    # Mostly a wire that a meter finds hanging in the air; of a divider one resistor may be left.
    assert prior.a >= 1e5
    assert (prior.a * prior.b) ** 0.5 > 1e7


def test_a_resistor_across_a_generator_s_ends_outlives_the_bias_of_one_of_them() -> None:
    netlist = edited("pick-up-biased", "control-unit-input", "signal")
    left = [e for e in netlist.elements if e.side == "control-unit" and "signal.cu" in e.nodes]
    assert [set(e.nodes) for e in left] == [{"signal.cu", "return.cu"}]


@pytest.mark.parametrize("name", ["wide-range-five-wire", "wide-range-six-wire"])
def test_a_pump_s_drive_saturates_where_its_way_is_open(name: str) -> None:
    # Common practice, no source: an amplifier whose load is gone goes to a rail, 0 or 5 V from
    # around 2.5 V. With the reference cell's own wire open there is still a way for its current.
    usual = FAMILIES[name].driven["pump-volts"]
    for wire in ("pump", "common"):
        found = edited(name, "open", wire).driven["pump-volts"]
        assert found.prior("key-on") == usual.prior("key-on")
        for state in ("idle", "raised"):
            assert (found.prior(state).a, found.prior(state).b) == pytest.approx((-2.5, 2.5), abs=1)
    assert edited(name, "open", "reference").driven["pump-volts"] == usual


def test_a_rail_is_lifted_once_for_all_wires_that_return_through_it() -> None:
    for name, rails in (("pedal-opposed-six-wire", 1), ("air-mass-voltage-own-return", 3)):
        faults = [f for f in faults_of(FAMILIES[name]) if f.kind == "ground-lifted"]
        # Two rails may be lifted each alone, or both together.
        assert len(faults) == rails
    (fault,) = [
        f for f in faults_of(FAMILIES["pedal-opposed-six-wire"]) if f.kind == "ground-lifted"
    ]
    assert fault.wires == ("ground-1", "ground-2")


def test_a_low_second_supply_is_one_that_exists() -> None:
    netlist = edited("pedal-opposed-six-wire", "supply-low", "supply-2")
    prior = netlist.values["second-supply"]
    assert dict(zip(prior.choices, prior.weights, strict=True)) == {"shared": 0.0, "own": 1.0}


# ---------------------------------------------------------------- outputs that stick or drift
@pytest.mark.parametrize("kind", ["sensor-stuck", "sensor-drift"])
@pytest.mark.parametrize("name", ["tracks-opposed-four-wire", "pedal-half-slope-six-wire"])
def test_one_of_two_tracks_goes_wrong_and_the_other_goes_on(name: str, kind: str) -> None:
    subject = Subject(FAMILIES[name], chosen(FAMILIES[name], kind, "signal-2"))
    wires = [wire.name for wire in FAMILIES[name].wires]
    volts = []
    for position in (0.2, 0.7):
        values = subject.central("key-on") | {"position": position}
        found = solve([subject], [[Case(Mode.PLUGGED, (), values)]])
        volts.append(found.voltage[0, 0, [wires.index("signal-1"), wires.index("signal-2")]])
    first, second = np.abs(volts[1] - volts[0])
    assert first > 1.0
    assert second < 0.01


@pytest.mark.parametrize("name", ["switch-two-wire", "hall-5v", "speed-current-battery"])
def test_what_is_stuck_moves_in_no_state_and_between_no_rounds(name: str) -> None:
    family = FAMILIES[name]
    healthy = netlist_of(family).driven
    for wire in (w.name for w in family.wires if w.role.startswith("signal")):
        stuck = edited(name, "sensor-stuck", wire).driven
        changed = [n for n in stuck if stuck[n] != healthy[n]]
        assert changed
        for driven in (stuck[n] for n in changed):
            assert driven.always is not None
            assert (driven.drift, driven.moves) == (0.0, 0.0)


def test_a_stuck_current_sensor_stays_at_one_of_its_currents() -> None:
    driven = edited("speed-current-battery", "sensor-stuck", "signal").driven["high-share"]
    assert driven.always is not None
    assert driven.always.choices == (0.0, 1.0)


def test_what_carries_no_signal_cannot_stick() -> None:
    # The trim resistor in a plug, and the cells of a sensor that only its control unit moves.
    stuck = {f.wire for f in faults_of(FAMILIES["wide-range-six-wire"]) if f.kind == "sensor-stuck"}
    assert stuck == set()
    assert "sensor-stuck" in {f.kind for f in faults_of(FAMILIES["wide-range-four-wire"])}


def test_a_bare_contact_burns() -> None:
    # Common practice, no source: a worn or corroded contact closes with tens of ohms and more.
    for name in ("switch-to-battery", "switch-two-wire"):
        family = FAMILIES[name]
        (fault,) = (f for f in faults_of(family) if f.kind == "sensor-drift")
        circuit = compile_family(family, fault)
        (contact,) = (e for e in family.elements if e.kind == "contact")
        burnt = circuit.values[contact.parameters["closed_ohm"]]
        sound = family.values[contact.parameters["closed_ohm"]]
        assert burnt.a >= sound.b


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("thermistor-two-wire", "thermistor.ohm_25"),
        ("platinum-two-wire", "platinum.ohm_0"),
        ("platinum-1000-two-wire", "platinum.ohm_0"),
    ],
)
def test_a_drifted_temperature_sensor_has_ohms_beyond_the_usual(name: str, value: str) -> None:
    usual = FAMILIES[name].values[value]
    prior = edited(name, "sensor-drift", "signal").values[value]
    low, high = (
        (usual.a, usual.b)
        if usual.kind == "log_uniform"
        else (usual.a - usual.b, usual.a + usual.b)
    )
    assert prior.a < 0.8 * low
    assert prior.b > 1.25 * high


def test_a_weak_pick_up_makes_less_than_usual_and_turns_as_before() -> None:
    # Common practice, no source: a wide air gap, a tired magnet or shorted turns.
    family, weak = FAMILIES["pick-up-biased"], edited("pick-up-biased", "sensor-drift", "signal")
    usual, less = family.driven["alternating"].states, weak.driven["alternating"].states
    assert less["key-on"] == usual["key-on"]  # nothing, as long as nothing turns
    for state in ("crank", "idle", "raised"):
        assert less[state].a < 0.2 * usual[state].a
        assert less[state].b == usual[state].b
    assert weak.driven["edges"] == family.driven["edges"]
    assert weak.values["coil.ohm"].a < 0.25 * family.values["coil.ohm"].a


def test_a_poisoned_cell_shifts_both_of_its_voltages() -> None:
    family, off = FAMILIES["oxygen-four-wire"], edited("oxygen-four-wire", "sensor-drift", "signal")
    for name in ("lean-cell.volt", "rich-cell.volt"):
        assert off.values[name].a < family.values[name].a - 0.3
        assert off.values[name].b > family.values[name].b + 0.3


def test_no_fault_is_no_edit() -> None:
    for family in FAMILIES.values():
        netlist = netlist_of(family)
        apply_fault(netlist, HEALTHY)
        assert netlist == netlist_of(family)


def test_a_motor_s_wire_may_change_places_with_a_track_s() -> None:
    name = "throttle-body-six-wire"
    swapped = [
        fault
        for fault in faults_of(FAMILIES[name])
        if fault.name == "swapped:signal-analogue+motor"
    ]
    assert len(swapped) == 4  # two tracks, two ends of the motor
    for fault in swapped:
        netlist = netlist_of(FAMILIES[name])
        apply_fault(netlist, fault)
        first, second = fault.wires
        assert netlist.pin_of[first] == f"{second}.pin"
        assert netlist.pin_of[second] == f"{first}.pin"
