"""What the trade knows of sensor circuits has to hold in the simulated ones.

Voltages without another source are arithmetic on 5.00 V and ideal parts, or common practice
without a source; each test says which.
"""

from collections.abc import Mapping

import numpy as np
import pytest

from backprobe.campaign.block import Moment
from backprobe.campaign.circuit import Circuit, draw_circuit
from backprobe.campaign.connectors import DESIGNS
from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.faulting import apply, option_name, options
from backprobe.campaign.inputs import INF
from backprobe.campaign.nodal import Netlist
from backprobe.campaign.readings import Bench, BlackLead
from backprobe.campaign.temperature import PUBLISHED_OHM

METER = 10e6
LEAD = BlackLead(0.001, 0.0)
# Parts as a textbook draws them.
IDEAL = {
    "rails.vcc.volt": 5.0,
    "rails.ref.volt": 5.0,
    "rails.ref.ohm": 0.1,
    "rails.ref.limit": 0.1,
    "rails.ref.others": 1e-4,
    "rails.ref.weak": 1.0,
    "rails.ground.ohm": 0.01,
    "rails.feed.drop": 0.0,
    "rails.lift.whole": 0.0,
    "rails.lift.ampere": 20.0,
}
QUIET = {"rails.inner": 0.0, "rails.offset": 0.0, "rails.body": 0.0}


def ideal(name: str, values: Mapping[str, float]) -> Circuit:
    """A connector of a kind with textbook parts and clean, short wires."""
    design = next(each for each in DESIGNS if each.name == name)
    circuit = draw_circuit(np.random.default_rng(3), design, unused=0)
    wires: dict[str, float] = {}
    for wire in circuit.wires:
        wires |= {
            f"{wire.key}.wire": 0.05,
            f"{wire.key}.contact": 0.01,
            f"{wire.key}.damp": 1e11,
            f"{wire.key}.ghost": 0.0,
        }
    return circuit.with_edits({**IDEAL, **wires, **values})


def with_fault(circuit: Circuit, name: str, severity: float | None = None) -> Circuit:
    """The circuit with a named fault, as bad as it gets unless said: fewest ohms in a short."""
    option = next(each for each in options(circuit) if option_name(circuit, each) == name)
    worst = option.low if option.kind.startswith("short-to-") else option.high
    return apply(circuit, option, worst if severity is None else severity)


def volts(
    circuit: Circuit,
    key: str,
    *,
    plugged: bool,
    quantities: Mapping[str, float],
    rpm: float = 0.0,
    load: float = INF,
) -> float:
    """What a meter shows from a terminal to battery negative, key on."""
    now = Moment(plugged, True, rpm > 0.0, False, rpm, 12.5, {**QUIET, **quantities})
    return Bench(circuit, METER).levels(now, LEAD, key, load).mean()


def thermistor(ohm_20: float = 2500.0) -> Circuit:
    """Two wires, 2.2 kohm pull-up, a part of 2500 ohm at 20 degC (curve A at that point)."""
    circuit = ideal("thermistor", {"signal.up": 2200.0, "signal.leak": 1e9, "signal.scale": 1.0})
    block = next(each for each in circuit.blocks if each.name == "signal")
    now = block.ohm({**circuit.values}, 20.0)  # type: ignore[attr-defined]  # a Thermistor
    return circuit.with_edits({"signal.scale": ohm_20 / now, "signal.hot pull-up": INF})


AT_20 = {"signal.celsius": 20.0}


# ---------------------------------------------------------------- what is this wire?
@pytest.mark.parametrize(
    ("pull_up", "expected"), [(1e3, 2.50), (2.2e3, 1.56), (4.7e3, 0.88), (1e4, 0.45)]
)
def test_a_kilo_ohm_to_ground_tells_the_pull_up(pull_up: float, expected: float) -> None:
    # Arithmetic: 5 V x 1 k / (1 k + pull-up).
    circuit = ideal("thermistor", {"signal.up": pull_up, "signal.leak": 1e9})
    loaded = volts(circuit, "signal", plugged=False, quantities=AT_20, load=1000.0)
    assert loaded == pytest.approx(expected, abs=0.006)


def test_a_kilo_ohm_hardly_moves_the_reference() -> None:
    # Common practice, no source: unchanged within 0.02 V.
    circuit = ideal("pressure", {})
    free = volts(circuit, "supply", plugged=False, quantities={})
    loaded = volts(circuit, "supply", plugged=False, quantities={}, load=1000.0)
    assert 0.0 < free - loaded < 0.02


@pytest.mark.parametrize(
    ("celsius", "place", "expected"),
    [(0.0, 1, 3.64), (20.0, 2, 2.66), (40.0, 3, 1.74), (80.0, 5, 0.64), (100.0, 6, 0.39)],
)
def test_volts_of_a_published_thermistor(celsius: float, place: int, expected: float) -> None:
    # Resistances: published curve table of parts makers' thermistors; volts: 2.2 kohm, 5 V.
    circuit = thermistor(PUBLISHED_OHM[0][place])
    found = volts(circuit, "signal", plugged=True, quantities=AT_20)
    assert found == pytest.approx(expected, abs=0.01), celsius


# ---------------------------------------------------------------- two wires, thermistor
THERMISTOR_ROWS = [
    ("none", (4.99, 5.01), (2.60, 2.70)),
    ("open:signal-thermistor", (-0.01, 0.06), (-0.01, 0.06)),
    ("short-to-ground:signal-thermistor", (0.0, 0.2), (0.0, 0.2)),
    ("short-to-supply:signal-thermistor", (4.9, 5.01), (4.9, 5.01)),
    ("short-to-battery:signal-thermistor", (11.5, 12.5), (11.5, 12.5)),
    ("open:sensor-ground", (4.99, 5.01), (4.9, 5.01)),
    ("control-unit-input:signal-thermistor", (-0.01, 0.06), (-0.01, 0.06)),
    ("sensor-open:signal-thermistor", (4.99, 5.01), (4.99, 5.01)),
    ("sensor-shorted:signal-thermistor", (4.99, 5.01), (0.0, 0.12)),
    ("swapped:sensor-ground+signal-thermistor", (4.99, 5.01), (2.60, 2.70)),
]


@pytest.mark.parametrize(("fault", "unplugged", "plugged"), THERMISTOR_ROWS)
def test_fault_matrix_thermistor(
    fault: str, unplugged: tuple[float, float], plugged: tuple[float, float]
) -> None:
    # Common practice, no source: signal against battery negative, key on.
    circuit = thermistor()
    faulty = circuit if fault == "none" else with_fault(circuit, fault)
    for state, (low, high) in ((False, unplugged), (True, plugged)):
        assert low <= volts(faulty, "signal", plugged=state, quantities=AT_20) <= high


def test_open_return_puts_five_volts_on_both_thermistor_wires() -> None:
    # Common practice: plugged in, 5 V on both wires of a thermistor = sensor ground open.
    faulty = with_fault(thermistor(), "open:sensor-ground")
    assert volts(faulty, "ground", plugged=True, quantities=AT_20) > 4.9
    assert volts(faulty, "ground", plugged=False, quantities=AT_20) < 0.1


@pytest.mark.parametrize(("ohm", "celsius"), [(2500.0, 20.0), (1175.0, 40.0), (243.0, 90.0)])
def test_lifted_return_reads_cold_most_at_the_hot_end(ohm: float, celsius: float) -> None:
    # Arithmetic on curve A, 2.2 kohm, 0.2 V lift: 90 reads 78, 40 reads 37, 20 reads 18 degC.
    reads_as = {20.0: 2731.0, 40.0: 1320.0, 90.0: 340.0}[celsius]  # curve A at 18, 37, 78 degC
    faulty = with_fault(thermistor(ohm), "ground-lifted:sensor-ground", 0.2)
    seen = volts(faulty, "signal", plugged=True, quantities=AT_20)
    as_if = volts(thermistor(reads_as), "signal", plugged=True, quantities=AT_20)
    assert seen == pytest.approx(as_if, abs=0.03)
    assert volts(faulty, "ground", plugged=False, quantities=AT_20) == pytest.approx(0.2, abs=0.01)


# ---------------------------------------------------------------- three wires, analogue
def pressure(
    volt: float, values: Mapping[str, float] | None = None
) -> tuple[Circuit, dict[str, float]]:
    """A pressure sensor with a strong output, its input held down by 100 kohm."""
    circuit = ideal(
        "pressure",
        {
            "signal.up": INF,
            "signal.down": 1e5,
            "signal.leak": 1e9,
            "signal.ohm": 10.0,
            "signal.source": 0.02,
            "signal.sink": 0.02,
            "signal.start": 2.5,
            "signal.ampere": 0.005,
            "signal.full": 3.0,
            "signal.in series": 0.05,
            "signal.inner leak": 1e6,
            "signal.substrate": 1.0,
            "signal.offset": 0.0,
            "signal.slope": 1.0,
            "signal.ratiometric": 1.0,
            **(values or {}),
        },
    )
    return circuit, {"signal.volt": volt}


@pytest.mark.parametrize(("volt", "expected"), [(0.5, 0.77), (2.5, 2.65), (4.5, 4.53)])
def test_lifted_return_of_a_ratiometric_sensor(volt: float, expected: float) -> None:
    # Arithmetic: 0.3 V lift, error biggest at the low end.
    circuit, q = pressure(volt)
    faulty = with_fault(circuit, "ground-lifted:sensor-ground", 0.3)
    found = volts(faulty, "signal", plugged=True, quantities=q)
    assert found == pytest.approx(expected, abs=0.012)


@pytest.mark.parametrize(("volt", "expected"), [(0.5, 0.45), (2.5, 2.25), (4.5, 4.05)])
def test_low_supply_of_a_ratiometric_sensor(volt: float, expected: float) -> None:
    # Arithmetic: reference 0.5 V low, error grows to the high end.
    circuit, q = pressure(volt)
    faulty = with_fault(circuit, "supply-low:supply-regulated", 0.9)
    assert volts(faulty, "supply", plugged=True, quantities=q) == pytest.approx(4.5, abs=0.04)
    found = volts(faulty, "signal", plugged=True, quantities=q)
    assert found == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize(("volt", "expected"), [(0.5, 0.45), (2.5, 2.27), (4.5, 4.09)])
def test_series_resistance_in_the_signal_wire_seen_by_the_control_unit(
    volt: float, expected: float
) -> None:
    # Arithmetic: 10 kohm into 100 kohm pull-down; the sensor's side stays right.
    circuit, q = pressure(volt)
    faulty = with_fault(circuit, "resistance:signal-analogue", 1e4)
    now = Moment(True, True, False, False, 0.0, 12.5, {**QUIET, **q})
    seen = Bench(faulty, METER).input_volts(now, "signal")
    assert seen == pytest.approx(expected, abs=0.015)
    assert volts(faulty, "signal", plugged=True, quantities=q) == pytest.approx(volt, abs=0.02)


@pytest.mark.parametrize(("volt", "expected"), [(0.5, 0.91), (2.5, 2.73), (4.5, 4.55)])
def test_series_resistance_below_a_pull_up(volt: float, expected: float) -> None:
    # Arithmetic: 1 kohm into a 10 kohm pull-up to 5 V looks like a lifted return.
    circuit, q = pressure(volt, {"signal.up": 1e4, "signal.down": INF})
    faulty = with_fault(circuit, "resistance:signal-analogue", 1e3)
    now = Moment(True, True, False, False, 0.0, 12.5, {**QUIET, **q})
    seen = Bench(faulty, METER).input_volts(now, "signal")
    assert seen == pytest.approx(expected, abs=0.02)


ANALOGUE_ROWS = [
    ("none", (0.0, 0.02), (2.48, 2.52)),
    ("open:signal-analogue", (0.0, 0.02), (2.48, 2.55)),
    ("short-to-ground:signal-analogue", (0.0, 0.02), (0.0, 0.6)),
    ("short-to-supply:signal-analogue", (4.9, 5.01), (4.3, 5.01)),
    ("short-to-battery:signal-analogue", (11.0, 12.5), (9.0, 12.5)),
    ("open:sensor-ground", (0.0, 0.02), (4.2, 5.0)),
    ("open:supply-regulated", (0.0, 0.02), (0.0, 0.3)),
    ("sensor-shorted:signal-analogue", (0.0, 0.02), (0.0, 0.65)),
    ("sensor-open:signal-analogue", (0.0, 0.02), (0.0, 0.02)),
]


@pytest.mark.parametrize(("fault", "unplugged", "plugged"), ANALOGUE_ROWS)
def test_fault_matrix_analogue(
    fault: str, unplugged: tuple[float, float], plugged: tuple[float, float]
) -> None:
    # Common practice, no source: input with a pull-down, sensor at 2.5 V.
    circuit, q = pressure(2.5)
    faulty = circuit if fault == "none" else with_fault(circuit, fault)
    for state, (low, high) in ((False, unplugged), (True, plugged)):
        assert low <= volts(faulty, "signal", plugged=state, quantities=q) <= high


def test_open_return_of_an_analogue_sensor_lifts_its_ground_pin() -> None:
    # Common practice: the sensor's own consumption pulls its ground up to its supply.
    circuit, q = pressure(2.5)
    faulty = with_fault(circuit, "open:sensor-ground")
    assert volts(faulty, "ground", plugged=True, quantities=q) > 4.0


def test_reference_shorted_to_ground_is_pulled_down_by_its_limit() -> None:
    # Common practice: reference to ground anywhere: 0 to 1 V on it.
    circuit, q = pressure(2.5)
    faulty = with_fault(circuit, "short-to-ground:supply-regulated", 2.0)
    assert volts(faulty, "supply", plugged=False, quantities=q) < 1.0


# ---------------------------------------------------------------- three wires, Hall
def hall() -> Circuit:
    """A speed sensor on 5 V below a 4.7 kohm pull-up to 5 V, half of the time low."""
    return ideal(
        "hall-crank",
        {
            "signal.up": 4700.0,
            "signal.leak": 1e9,
            "signal.up to": 0.0,
            "signal.duty": 0.5,
            "signal.saturation": 0.1,
            "signal.on ohm": 10.0,
            "signal.start": 3.0,
            "signal.in series": 0.05,
            "signal.inner leak": 3e6,
            "signal.substrate": 0.0,
            "signal.full": 3.0,
            "signal.ampere": 0.008,
        },
    )


HALL_ROWS = [
    ("none", (4.95, 5.01), (2.3, 2.8)),
    ("open:signal-switching", (-0.01, 0.1), (-0.01, 2.6)),
    ("short-to-ground:signal-switching", (0.0, 0.1), (0.0, 0.1)),
    ("short-to-supply:signal-switching", (4.9, 5.01), (2.4, 5.01)),
    ("open:sensor-ground", (4.95, 5.01), (4.4, 5.01)),
    ("open:supply-regulated", (4.95, 5.01), (4.2, 5.01)),
    ("control-unit-input:signal-switching", (-0.01, 0.1), (-0.01, 2.6)),
    ("sensor-stuck:signal-switching", (4.95, 5.01), (4.9, 5.01)),
    ("sensor-shorted:signal-switching", (4.95, 5.01), (0.0, 0.2)),
]


@pytest.mark.parametrize(("fault", "unplugged", "turning"), HALL_ROWS)
def test_fault_matrix_hall(
    fault: str, unplugged: tuple[float, float], turning: tuple[float, float]
) -> None:
    # Common practice, no source; a DC meter shows the mean of a switching signal.
    circuit = hall()
    faulty = circuit if fault == "none" else with_fault(circuit, fault)
    standing = volts(faulty, "signal", plugged=False, quantities={})
    assert unplugged[0] <= standing <= unplugged[1]
    running = volts(faulty, "signal", plugged=True, quantities={}, rpm=800.0)
    assert turning[0] <= running <= turning[1]


def test_two_wire_current_sensor_over_its_shunt() -> None:
    # Makers' texts: 7 mA and 14 mA; over 100 ohm 0.70 and 1.40 V (arithmetic).
    values = {"signal.low": 0.007, "signal.high": 0.014, "signal.shunt": 100.0}
    for at_rest, expected in ((0.0, 0.70), (1.0, 1.40)):
        circuit = ideal("current", {**values, "signal.at rest": at_rest})
        found = volts(circuit, "signal", plugged=True, quantities={})
        assert found == pytest.approx(expected, abs=0.05)


def test_key_off_tells_a_short_to_a_switched_feed_from_one_to_a_permanent_one() -> None:
    # Common practice, no source: some live wires stay live with the key off, others don't.
    for permanent, expected in ((1.0, 12.5), (0.0, 0.0)):
        circuit = thermistor().with_edits({"rails.short is permanent": permanent})
        faulty = with_fault(circuit, "short-to-battery:signal-thermistor", 0.1)
        off = Moment(False, False, False, False, 0.0, 12.5, QUIET)
        seen = Bench(faulty, METER).levels(off, LEAD, "signal").mean()
        assert seen == pytest.approx(expected, abs=0.3)


# ---------------------------------------------------------------- wire and healthy sheets
def test_drop_along_a_wire_out_and_back() -> None:
    # 3 m out and back, 0.5 mm2 class 5 (IEC 60228: at most 39.0 mohm/m), 0.5 A: 117 mV at 20 degC;
    # at 80 degC 1/0.8092 as much, 145 mV.
    for factor, expected in ((1.0, 0.117), (1.0 / 0.8092, 0.145)):
        net = Netlist()
        net.current("far", 0.5)
        net.resistor("far", "near", 3.0 * 0.039 * factor)
        net.resistor("near", "battery-", 3.0 * 0.039 * factor)
        assert net.solve()["far"] == pytest.approx(expected, abs=1e-3)


def test_sheets_of_healthy_vehicles_look_healthy() -> None:
    # Common practice, no source: reference 4.7 to 5.2 V, grounds below 0.15 V, a battery feed
    # within 1 V of the battery (dead, if it waits for the engine), an oxygen cell's bias 0.35 to
    # 0.55 V; here over 40 vehicles.
    for number in range(40):
        rng = np.random.default_rng([11, number])
        vehicle = draw_vehicle(rng, Wishes("healthy", "full", slips=False), number)
        taken = vehicle.job.rounds[0]
        assert taken.battery_volts is not None
        assert taken.black_lead_check is not None
        assert abs(taken.battery_volts.value - taken.black_lead_check.value) < 0.25
        for pin, role in vehicle.truth.roles.items():
            seen = taken.volts[pin].value
            if role == "supply-regulated":
                assert 4.7 < seen < 5.25 or 7.0 < seen < 10.5
            elif role == "supply-battery":
                waits = vehicle.simulation.circuit.values["rails.feed.waits"] > 0.5
                expected = 0.0 if waits else taken.battery_volts.value
                assert -0.2 < expected - seen < 1.0
            elif role in {"sensor-ground", "shield"}:
                assert abs(seen) < 0.15
            elif role == "signal-thermistor":
                assert 4.75 < seen < 5.2
