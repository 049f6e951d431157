"""What the trade knows of circuits has to come out of the solved families.

"Arithmetic" is Ohm's law on textbook parts (`trade_bench.py`); what names no source is common
practice without a published one. Faults one by one are in `test_fault_matrix.py`.
"""

import numpy as np
import pytest

from backprobe.families.fault_electronics import prior_ends
from backprobe.families.netlist import netlist_of
from tests.core.circuit.sketch import Sketch, solved
from tests.families.trade_bench import BATTERY, FAMILIES, Bench, Known, thermistor


# ---------------------------------------------------------------- what is this wire?
def roles(*wanted: str) -> list[tuple[str, str]]:
    return [(f.id, w.name) for f in FAMILIES.values() for w in f.wires if w.role in wanted]


@pytest.mark.parametrize(("name", "wire"), roles("signal-thermistor"))
def test_an_unplugged_thermistor_wire_reads_its_full_pull_up_voltage(name: str, wire: str) -> None:
    bench = Bench(name, {})
    assert bench.volts(wire, plugged=False) == pytest.approx(5.0, abs=0.01)
    assert bench.volts(wire, plugged=True) < 4.8


@pytest.mark.parametrize("name", [n for n in FAMILIES if n.startswith("air-mass-frequency")])
def test_an_unplugged_frequency_wire_reads_its_full_pull_up_voltage(name: str) -> None:
    bench = Bench(name, {})
    for levels in bench.subject.levels:
        assert bench.volts("signal", plugged=False, levels=levels) == pytest.approx(5.0, abs=0.02)


@pytest.mark.parametrize("name", sorted({name for name, _ in roles("supply-regulated")}))
def test_a_regulated_supply_stays_when_the_sensor_is_plugged_in(name: str) -> None:
    bench = Bench(name, {})
    for family, wire in roles("supply-regulated"):
        if family == name:
            free = bench.volts(wire, plugged=False)
            assert free > 4.95
            assert abs(free - bench.volts(wire, plugged=True)) < 0.06


@pytest.mark.parametrize(
    ("pull_up", "shown"), [(1000.0, 2.50), (2200.0, 1.56), (4700.0, 0.88), (10000.0, 0.45)]
)
def test_a_kilo_ohm_to_ground_tells_the_pull_up(pull_up: float, shown: float) -> None:
    # Arithmetic: 5 V x 1 k / (1 k + pull-up); the pull-up is 1 k x (V0 / V1 - 1).
    bench = Bench("thermistor-two-wire", {"pull-up": pull_up})
    free = bench.volts("signal", plugged=False)
    loaded = bench.volts("signal", plugged=False, load=1000.0)
    assert loaded == pytest.approx(shown, abs=0.006)
    assert 1000.0 * (free / loaded - 1.0) == pytest.approx(pull_up, rel=0.002)


def test_a_kilo_ohm_moves_neither_supply_nor_feed_nor_ground() -> None:
    bench = Bench("air-mass-voltage-thermistor-5v", {})
    for wire in ("supply", "ground"):
        free = bench.volts(wire, plugged=False)
        assert abs(free - bench.volts(wire, plugged=False, load=1000.0)) < 0.02
    bench = Bench("air-mass-voltage-three-wire", {})
    free = bench.volts("supply", plugged=False)
    assert free == pytest.approx(BATTERY, abs=0.01)
    assert abs(free - bench.volts("supply", plugged=False, load=1000.0)) < 0.02


def test_five_volts_through_a_kilo_ohm_into_a_good_ground_stay_below_20_millivolts() -> None:
    bench = Bench("potentiometer-three-wire", {})
    assert 5.0 * bench.behind("ground", plugged=False) / 1000.0 < 0.02


def test_an_unplugged_driver_wire_shows_nothing_or_a_weak_bias() -> None:
    for word, low, high in (("low", 0.0, 0.1), ("middle", 1.0, 4.6), ("battery", 11.5, BATTERY)):
        for name in ("solenoid-two-wire", "injector-two-wire", "relay-two-wire"):
            bench = Bench(name, {"diagnosis": word, "bias-middle.volt": 3.0})
            assert low <= bench.volts("control", plugged=False) <= high
            # Weak: a kilo-ohm takes it to next to nothing.
            assert bench.volts("control", plugged=False, load=1000.0) < 0.8


def test_cell_wires_rest_at_their_bias() -> None:
    # Makers' texts: 0.40 to 0.50 V with the cell cold or unplugged.
    for name in ("oxygen-two-wire", "oxygen-three-wire", "oxygen-four-wire"):
        bench = Bench(name, {"bias.volt": 0.45})
        # A meter of 10 Mohm loads the weak bias a little.
        assert bench.volts("signal", plugged=False) == pytest.approx(0.45, abs=0.02)
        assert bench.volts("signal", plugged=False, load=1000.0) < 0.02


@pytest.mark.parametrize(
    ("state", "least", "most"),
    [("crank", 0.0, 0.2), ("idle", -0.05, 0.05), ("raised", -0.05, 0.05)],
)
def test_the_block_is_above_the_post_while_cranking_and_may_be_below_it_while_charging(
    state: str, least: float, most: float
) -> None:
    # Common practice, no source: the starter's current goes one way, the charging current the
    # other. A wire that touches the body reads what the body stands at.
    low, high = prior_ends(FAMILIES["hall-5v"].driven["body-offset"].prior(state))
    assert low <= least < most <= high
    for volt in (least, most):
        bench = Bench("hall-5v", {"body-offset": volt}, "short-to-ground signal", 0.5)
        assert bench.volts("signal", plugged=True) == pytest.approx(volt, abs=0.005)


# ---------------------------------------------------------------- two wires, thermistor
# Published curve table of parts makers' thermistors, ohm, and volts below 1, 2.2 and 4.7 kohm.
CURVE_A = {
    -20: (15462.0, 4.70, 4.38, 3.83),
    0: (5896.0, 4.27, 3.64, 2.78),
    20: (2500.0, 3.57, 2.66, 1.74),
    40: (1175.0, 2.70, 1.74, 1.00),
    60: (596.0, 1.87, 1.07, 0.56),
    80: (323.0, 1.22, 0.64, 0.32),
    90: (243.0, 0.98, 0.50, 0.25),
    100: (187.0, 0.79, 0.39, 0.19),
    120: (113.0, 0.51, 0.24, 0.12),
}


@pytest.mark.parametrize("celsius", CURVE_A)
def test_volts_of_a_published_curve(celsius: int) -> None:
    ohm, *volts = CURVE_A[celsius]
    for pull_up, expected in zip((1000.0, 2200.0, 4700.0), volts, strict=True):
        bench = thermistor(ohm, pull_up)
        assert bench.volts("signal", plugged=True) == pytest.approx(expected, abs=0.0062)


def believed(volt: float, pull_up: float = 2200.0) -> float:
    """Temperature that a control unit makes of a voltage by curve A, degC."""
    ohm = pull_up * volt / (5.0 - volt)
    celsius = np.array(sorted(CURVE_A), dtype=float)
    logs = np.log([CURVE_A[int(t)][0] for t in celsius])
    inverse = np.interp(-np.log(ohm), -logs, -1.0 / (celsius + 273.15))
    return float(-1.0 / inverse - 273.15)


@pytest.mark.parametrize(
    ("celsius", "fault", "size", "reads"),
    [
        # Series resistance bites hot.
        (90, "resistance signal", 100.0, 78.0),
        (20, "resistance signal", 100.0, 19.0),
        (90, "resistance ground", 300.0, 63.0),
        (20, "resistance ground", 300.0, 17.0),
        # A lifted return reads cold, most at the hot end.
        (90, "ground-lifted ground", 0.2, 78.0),
        (40, "ground-lifted ground", 0.2, 37.0),
        (20, "ground-lifted ground", 0.2, 18.0),
    ],
)
def test_what_resistance_and_a_lifted_return_make_of_a_temperature(
    celsius: int, fault: str, size: float, reads: float
) -> None:
    # Arithmetic on curve A and 2.2 kohm.
    bench = thermistor(CURVE_A[celsius][0], 2200.0, fault, size)
    assert believed(bench.unit("signal")) == pytest.approx(reads, abs=1.0)


# Fault, unplugged, plugged at the probe, what the control unit sees: (least, most) volts.


# ---------------------------------------------------------------- air mass with thermistor
AIR_MASS: Known = {
    "flow": 1.5,
    "output.ohm": 100.0,
    "output.full_volt": 8.0,
    "consumption.ohm": 60.0,
    "input-hold": "down",
    "pull-down.ohm": 2e5,
    "thermistor-pull-up": 2200.0,
    "thermistor.ohm_25": 2500.0,
    "air-temperature": 25.0,
}


def air_mass(fault: str = "", size: float | None = None) -> Bench:
    return Bench("air-mass-voltage-thermistor-battery", AIR_MASS, fault, size)


def test_an_air_mass_sensor_without_its_feed_keeps_its_temperature() -> None:
    bench, sound = air_mass("open supply"), air_mass()
    # The sensor's own current lifts its ground by some millivolts.
    assert sound.volts("signal", plugged=True) == pytest.approx(1.5, abs=0.03)
    assert bench.volts("signal", plugged=True) < 0.05
    kept = sound.volts("temperature", plugged=True)
    assert kept == pytest.approx(2.66, abs=0.02)
    assert bench.volts("temperature", plugged=True) == pytest.approx(kept, abs=0.02)


def test_an_air_mass_sensor_without_its_feed_lets_go_of_a_pulled_up_input() -> None:
    # Its output drives nothing; a junction to its dead supply, and its consumption, hold the wire
    # at some 0.6 V (textbook: 0.5 V with tens of microampere).
    known: Known = {**AIR_MASS, "input-hold": "up", "pull-up.ohm": 47_000.0}
    bench = Bench("air-mass-voltage-thermistor-battery", known, "open supply")
    assert bench.volts("signal", plugged=False) == pytest.approx(5.0, abs=0.05)
    assert 0.4 < bench.volts("signal", plugged=True) < 0.8


@pytest.mark.parametrize("load", [1e3, 1e7])
def test_an_air_mass_sensor_without_its_ground_hands_on_what_its_consumption_brings(
    load: float,
) -> None:
    # Ground pin near the battery's voltage through the consumption; from there a junction.
    bench = air_mass("open ground")
    shown = bench.volts("signal", plugged=True, load=load)
    brought = BATTERY * load / (load + 64.0) if load < 1e6 else BATTERY
    assert brought - 1.3 < shown < brought


@pytest.mark.parametrize(("ohm", "most"), [(0.1, 0.9), (0.8, 1.1), (4.0, 1.9)])
def test_an_air_mass_sensor_on_its_output_s_wire_returns_its_current_through_a_junction(
    ohm: float, most: float
) -> None:
    # Ground and output exchanged: 0.2 A flow from the chip's ground to its output. Textbook: a
    # silicon junction of that current stands at 0.6 to 0.9 V, and its own resistance adds to it.
    known: Known = {**AIR_MASS, "junction-volt": 0.65, "junction-ohm": ohm}
    bench = Bench("air-mass-voltage-thermistor-battery", known, "swapped signal ground")
    assert 0.6 < bench.volts("signal", plugged=True) < most


def test_a_junction_s_own_resistance_is_from_a_power_part_s_to_a_small_one_s() -> None:
    # Common practice, no source: tenths of an ohm to some ohms.
    prior = netlist_of(FAMILIES["air-mass-voltage-three-wire"]).values["junction-ohm"]
    assert prior.kind == "log_uniform"
    assert prior.a < 0.3
    assert 3.0 < prior.b < 20.0


def test_an_air_mass_sensor_without_its_ground_reads_high_on_both_wires() -> None:
    bench = air_mass("open ground")
    assert bench.volts("signal", plugged=True) > 4.0
    assert bench.volts("temperature", plugged=True) > 4.0


def test_an_unplugged_air_mass_sensor_shows_battery_ground_and_pull_ups() -> None:
    bench = air_mass()
    expected = {"supply": BATTERY, "ground": 0.0, "signal": 0.0, "temperature": 5.0}
    for wire, volt in expected.items():
        assert bench.volts(wire, plugged=False) == pytest.approx(volt, abs=0.02)


@pytest.mark.parametrize("name", [n for n in FAMILIES if n.startswith("air-mass")])
def test_a_hot_element_draws_more_with_more_air(name: str) -> None:
    # Common practice, no source: at idle 1 to 2.2 times of what it draws without flow.
    driven = FAMILIES[name].driven["heating"]
    consumption = FAMILIES[name].values["consumption.ohm"]
    usual = (consumption.a * consumption.b) ** 0.5
    assert driven.prior("key-on").a > 100.0 * consumption.b
    idle, raised = driven.prior("idle"), driven.prior("raised")
    assert usual / idle.b < 0.02
    assert usual / idle.a > 1.1
    assert raised.a < idle.a
    assert raised.b < idle.b


@pytest.mark.parametrize("times", [1.0, 1.5, 2.0])
def test_resistance_of_an_air_mass_ground_lifts_more_with_more_air(times: float) -> None:
    # Arithmetic: a divider of the ground's 3 ohm and what the sensor draws, 60 ohm at key-on.
    hot = 60.0 / (times - 1.0) if times > 1.0 else 1e6
    known: Known = {"consumption.ohm": 60.0, "flow": 1.2, "output.full_volt": 8.0, "heating": hot}
    series = {"ground.wire-ohm": 3.0, "supply.wire-ohm": 0.02}
    bench = Bench("air-mass-voltage-three-wire", {**known, **series})
    expected = BATTERY * 3.0 / (60.0 / times + 3.0)
    assert bench.volts("ground", plugged=True) == pytest.approx(expected, abs=0.02)


# ---------------------------------------------------------------- others
@pytest.mark.parametrize(
    ("celsius", "ohm"),
    [(0, 200.0), (100, 277.0), (300, 424.0), (500, 562.0), (700, 691.0), (850, 781.0)],
)
def test_an_exhaust_temperature_sensor_rises_with_temperature(celsius: int, ohm: float) -> None:
    # IEC 60751, 200 ohm at 0 degC; below 1 kohm to 5 V: 0.83 to 2.2 V (arithmetic).
    known: Known = {"pull-up.ohm": 1000.0, "platinum.ohm_0": 200.0, "temperature": celsius}
    bench = Bench("platinum-two-wire", known)
    expected = 5.0 * ohm / (ohm + 1000.0)
    assert 0.83 < expected < 2.2
    assert bench.volts("signal", plugged=True) == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(
    ("name", "size"), [("platinum-100-two-wire", 1), ("platinum-1000-two-wire", 10)]
)
@pytest.mark.parametrize(
    ("celsius", "pt100"), [(-50, 80.31), (0, 100.0), (100, 138.51), (400, 247.09), (850, 390.48)]
)
def test_platinum_of_another_size_follows_the_same_table(
    name: str, size: int, celsius: int, pt100: float
) -> None:
    # IEC 60751, 100 ohm at 0 degC; 1000 ohm has ten times as much everywhere. Below 1 kohm to 5 V.
    known: Known = {"pull-up.ohm": 1000.0, "platinum.ohm_0": 100.0 * size, "temperature": celsius}
    ohm = pt100 * size
    shown = Bench(name, known).volts("signal", plugged=True)
    assert shown == pytest.approx(5.0 * ohm / (ohm + 1000.0), abs=0.004)


def test_an_open_exhaust_temperature_sensor_reads_hot_and_a_shorted_one_cold() -> None:
    # The opposite sense of a thermistor.
    for fault, low, high in (
        ("sensor-open signal", 4.9, 5.0),
        ("sensor-shorted signal", 0.0, 0.05),
    ):
        known: Known = {"pull-up.ohm": 1000.0, "platinum.ohm_0": 200.0, "temperature": 20.0}
        found = Bench("platinum-two-wire", known, fault).volts("signal", plugged=True)
        assert low <= found <= high


def test_ten_ohm_more_are_about_thirteen_degrees_to_a_platinum_sensor() -> None:
    known = {"pull-up.ohm": 1000.0, "platinum.ohm_0": 200.0}
    more = Bench(
        "platinum-two-wire", known | {"temperature": 20.0}, "resistance signal", 10.0
    ).unit("signal")
    at = [
        abs(Bench("platinum-two-wire", known | {"temperature": t}).unit("signal") - more)
        for t in (30.0, 33.0, 36.0)
    ]
    assert min(at) == at[1]


@pytest.mark.parametrize("name", ["solenoid-two-wire", "injector-two-wire", "relay-two-wire"])
def test_a_low_side_driver_off_on_and_pulsed(name: str) -> None:
    bench = Bench(name, {"coil.ohm": 14.0, "driver.closed_ohm": 0.3, "diagnosis": "low"})
    off, on = (bench.volts("control", plugged=True, levels=(level,)) for level in (0, 1))
    assert off == pytest.approx(BATTERY, abs=0.15)  # battery voltage while it is off
    assert 0.1 < on < 0.8  # what a driver leaves across itself
    # A DC meter on pulses shows battery voltage times the share of time off.
    assert bench.mean("control", 0.25) == pytest.approx(0.75 * BATTERY, abs=0.2)


THROTTLE_BODIES = [name for name in FAMILIES if name.startswith("throttle-body")]
RELEASED, DRIVING = 1e10, 0.01


@pytest.mark.parametrize("name", THROTTLE_BODIES)
def test_a_released_bridge_leaves_both_leads_of_its_motor_at_their_bias(name: str) -> None:
    # Common practice, no source: a few volts through kilo-ohms, plugged in as unplugged.
    known: Known = {"motor-bias": 3.5, "bias-ohm-1": 1e4, "bias-ohm-2": 2e4, "motor.ohm": 2.0}
    bench = Bench(name, {**known, "bridge": RELEASED})
    for wire in ("motor-1", "motor-2"):
        for plugged in (False, True):
            assert bench.volts(wire, plugged=plugged) == pytest.approx(3.5, abs=0.02)
    driving = Bench(name, {**known, "bridge": DRIVING})
    for wire in ("motor-1", "motor-2"):  # both low, whatever they rest at unplugged
        assert driving.volts(wire, plugged=False) == pytest.approx(3.5, abs=0.02)
        assert driving.volts(wire, plugged=True, levels=(0, 0)) < 0.01
    assert driving.volts("motor-1", plugged=True, levels=(1, 1)) > 8.0


def test_a_bridge_switched_in_antiphase_holds_both_leads_about_the_middle() -> None:
    # Of a share 0.5 + d / 2 one lead is high, the other one as long low: the means lie d apart
    # about half of the feed (a bridge's own arithmetic).
    known: Known = {"rest-level": 0.5, "bridge": 0.01, "motor.ohm": 1000.0}
    bench = Bench("throttle-body-six-wire", known)
    mean = {
        wire: 0.9 * bench.volts(wire, plugged=True, levels=(0, 0))
        + 0.1 * bench.volts(wire, plugged=True, levels=(1, 1))
        for wire in ("motor-1", "motor-2")
    }
    assert mean["motor-1"] == pytest.approx(BATTERY * 0.55, abs=0.05)
    assert mean["motor-2"] == pytest.approx(BATTERY * 0.45, abs=0.05)


@pytest.mark.parametrize("name", THROTTLE_BODIES)
def test_a_bridge_is_often_released_with_the_engine_off_and_seldom_with_it_running(
    name: str,
) -> None:
    # Common practice, no source.
    bridge = FAMILIES[name].driven["bridge"]
    released = {s: bridge.prior(s).weights[0] for s in ("key-on", "crank", "idle", "raised")}
    assert bridge.prior("key-on").choices == (RELEASED, DRIVING)
    assert 0.2 < released["key-on"] < 0.5
    assert max(released["crank"], released["idle"], released["raised"]) <= 0.1


@pytest.mark.parametrize(
    ("shunt", "low", "high"), [(75.0, 0.53, 1.05), (100.0, 0.70, 1.40), (115.0, 0.81, 1.61)]
)
def test_current_of_a_two_wire_sensor_over_the_shunt(shunt: float, low: float, high: float) -> None:
    # Makers' texts: 7 and 14 mA; Ohm's law.
    known: Known = {
        "shunt.ohm": shunt,
        "low-current.ampere": 0.007,
        "added-current.ampere": 0.007,
        "low-current.full_volt": 2.4,
        "added-current.full_volt": 2.4,
    }
    bench = Bench("speed-current-5v", known)
    for level, expected in ((0, low), (1, high)):
        found = bench.volts("signal", plugged=True, levels=(level,))
        assert found == pytest.approx(expected, abs=0.008)
    assert abs(bench.volts("signal", plugged=False)) < 0.005  # stiff, near nothing
    assert bench.behind("signal", plugged=False) == pytest.approx(shunt, rel=0.01)


def test_foreign_voltage_on_an_oxygen_cell_is_above_what_a_cell_can_make() -> None:
    # Common practice: anything above 1.1 V is foreign.
    bench = Bench("oxygen-four-wire", {}, "short-to-battery signal")
    assert bench.volts("signal", plugged=True) > 1.1
    bench = Bench("oxygen-four-wire", {}, "short-to-ground signal")
    assert abs(bench.volts("signal", plugged=True)) < 0.02
    # With its wire broken the control unit keeps its own bias.
    bench = Bench("oxygen-four-wire", {"bias.volt": 0.45}, "open signal")
    assert bench.unit("signal") == pytest.approx(0.45, abs=0.02)


@pytest.mark.parametrize(("celsius", "drop"), [(20.0, 0.117), (80.0, 0.145)])
def test_drop_along_a_wire_out_and_back(celsius: float, drop: float) -> None:
    # 3 m out and 3 m back, 0.5 mm2 class 5 (IEC 60228: at most 39.0 mohm/m at 20 degC), 0.5 A;
    # to another temperature by 254.5 / (234.5 + t), IEC 60228 annex.
    ohm = 3.0 * 0.039 * (234.5 + celsius) / 254.5
    sketch = Sketch()
    sketch.source("feed", "0", 12.0, 1e-6)
    sketch.resistor("feed", "lamp", ohm)
    sketch.resistor("lamp", "return", 12.0 / 0.5 - 2 * ohm)  # 0.5 A in all
    sketch.resistor("return", "0", ohm)
    feed, lamp, back = solved(sketch, "feed", "lamp", "return").voltage[0, 0]
    assert (feed - lamp) + back == pytest.approx(drop, abs=1e-3)
