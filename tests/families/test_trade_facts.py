"""What the trade knows of circuits and their faults has to come out of the solved families.

Parts are as a textbook draws them (5.00 V, short clean wires); a meter of 10 Mohm stands from the
wire to battery negative. "Arithmetic" is Ohm's law on those parts; what names no source is common
practice without a published one.
"""

from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation
from backprobe.core.circuit.nodal import loaded_voltage
from backprobe.core.circuit.plan import Mode
from backprobe.families.fault_edits import PULLED_OHM
from backprobe.families.faults import HEALTHY, Fault, faults_of
from backprobe.families.loader import load_families
from tests.core.circuit.drawn_up import Case, Subject, solve
from tests.core.circuit.sketch import Sketch, solved

Array = NDArray[np.float64]
Known = Mapping[str, float | str]

FAMILIES = {family.id: family for family in load_families()}
METER = 10e6
BATTERY = 12.5
GHOST = 0.35  # what a wire that nothing holds may show
IDEAL = {
    "battery-volts": BATTERY,
    "feed-loss": 0.0,
    "feed-ohm": 0.02,
    "inner-offset": 0.0,
    "rail-offset": 0.0,
    "rail-ohm": 0.005,
    "body-offset": 0.0,
    "vcc-volts": 5.0,
    "ref-volts": 5.0,
    "ref-ohm": 0.05,
    "ref-limit": 0.1,
    PULLED_OHM: 0.05,
}


class Bench:
    """A family with known parts and perhaps a fault, and what a meter shows of it."""

    def __init__(self, name: str, known: Known, fault: str = "", size: float | None = None) -> None:
        family = FAMILIES[name]
        self.wires = [wire.name for wire in family.wires]
        self.subject = Subject(family, chosen(name, fault) if fault else HEALTHY)
        values = self.subject.central("key-on")
        priors = self.subject.netlist.values
        for key, value in (IDEAL | dict(known)).items():
            if key in IDEAL and key not in values:
                continue
            assert key in values, key
            values[key] = (
                float(priors[key].choices.index(value)) if isinstance(value, str) else value
            )
        if size is not None:
            values["fault.severity"] = size
        self.values = values

    def at(self, plugged: bool, levels: tuple[int, ...]) -> Evaluation:
        mode = Mode.PLUGGED if plugged else Mode.UNPLUGGED
        return solve([self.subject], [[Case(mode, levels, self.values)]])

    def volts(
        self,
        wire: str,
        *,
        plugged: bool,
        levels: tuple[int, ...] | None = None,
        load: float = METER,
    ) -> float:
        """Volts on a wire at given levels (all at their low one unless told)."""
        own = levels if levels is not None else self.subject.levels[0]
        found, place = self.at(plugged, own), self.wires.index(wire)
        source = found.thevenin[0, 0, place, place]
        return float(loaded_voltage(found.voltage[0, 0, place], source, load))

    def mean(self, wire: str, share: float, *, plugged: bool = True) -> float:
        """What a DC meter shows of an element that is at its second level for a share."""
        low, high = (self.volts(wire, plugged=plugged, levels=(level,)) for level in (0, 1))
        return (1.0 - share) * low + share * high

    def unit(self, wire: str, *, levels: tuple[int, ...] | None = None) -> float:
        """Volts at the control unit's own end of a wire, plugged in."""
        own = levels if levels is not None else self.subject.levels[0]
        return float(self.at(True, own).unit_voltage[0, 0, self.wires.index(wire)])

    def behind(self, wire: str, *, plugged: bool) -> float:
        """Resistance that the wire is fed through, ohm."""
        place = self.wires.index(wire)
        return float(self.at(plugged, self.subject.levels[0]).thevenin[0, 0, place, place])


def chosen(name: str, text: str) -> Fault:
    """A fault by kind and wire ("open signal")."""
    kind, *wires = text.split()
    found = [f for f in faults_of(FAMILIES[name]) if f.kind == kind and set(f.wires) >= set(wires)]
    assert found, text
    return found[0]


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


def thermistor(
    ohm: float, pull_up: float = 2200.0, fault: str = "", size: float | None = None
) -> Bench:
    """A thermistor that has a resistance now, whatever its curve."""
    known: dict[str, float | str] = {"pull-up": pull_up, "pull-up-feed": "vcc"}
    known |= {"temperature": 25.0, "thermistor.ohm_25": ohm}
    return Bench("thermistor-two-wire", known, fault, size)


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
LIMIT_COLD, LIMIT_HOT = (4.9, 13.0), (-0.01, 0.15)
THERMISTOR_ROWS = [
    ("", (4.99, 5.0), (2.63, 2.69), (2.63, 2.69)),
    ("open signal", (0.0, GHOST), (0.0, 0.01), LIMIT_COLD),
    ("short-to-ground signal", (0.0, 0.05), (0.0, 0.05), LIMIT_HOT),
    ("short-to-supply signal", (4.98, 5.01), (4.97, 5.01), LIMIT_COLD),
    ("short-to-battery signal", (12.3, BATTERY), (12.3, BATTERY), LIMIT_COLD),
    ("open ground", (4.99, 5.0), (4.9, 5.0), LIMIT_COLD),
    ("swapped signal ground", (4.99, 5.0), (2.63, 2.69), (2.63, 2.69)),
    ("control-unit-input signal", (0.0, GHOST), (0.0, 0.01), LIMIT_HOT),
    ("sensor-open signal", (4.99, 5.0), (4.9, 5.0), LIMIT_COLD),
    ("sensor-shorted signal", (4.99, 5.0), (0.0, 0.05), LIMIT_HOT),
]


@pytest.mark.parametrize(("fault", "unplugged", "plugged", "seen"), THERMISTOR_ROWS)
def test_fault_matrix_thermistor(
    fault: str,
    unplugged: tuple[float, float],
    plugged: tuple[float, float],
    seen: tuple[float, float],
) -> None:
    bench = thermistor(2500.0, 2200.0, fault)
    assert unplugged[0] <= bench.volts("signal", plugged=False) <= unplugged[1]
    assert plugged[0] <= bench.volts("signal", plugged=True) <= plugged[1]
    assert seen[0] <= bench.unit("signal") <= seen[1]


def test_an_open_return_puts_five_volts_on_both_wires_of_a_thermistor() -> None:
    bench = thermistor(2500.0, 2200.0, "open ground")
    for wire in ("signal", "ground"):
        assert bench.volts(wire, plugged=True) > 4.95
    # From the signal to its own open return a meter shows nothing.
    found = bench.at(True, bench.subject.levels[0]).voltage[0, 0]
    assert abs(found[0] - found[1]) < 0.01
    # Unplugged the return only floats.
    assert bench.volts("ground", plugged=False) < GHOST


def test_a_lifted_return_lifts_its_unplugged_wire_and_a_warm_signal() -> None:
    sound = thermistor(2500.0)
    bench = thermistor(2500.0, 2200.0, "ground-lifted ground", 0.3)
    assert bench.volts("ground", plugged=False) == pytest.approx(0.3, abs=0.005)
    assert bench.volts("signal", plugged=False) == pytest.approx(5.0, abs=0.01)
    rises = [
        thermistor(ohm, 2200.0, "ground-lifted ground", 0.3).volts("signal", plugged=True)
        - thermistor(ohm).volts("signal", plugged=True)
        for ohm in (2500.0, 243.0)
    ]
    assert 0.1 < rises[0] < rises[1] < 0.3
    assert bench.unit("signal") > sound.unit("signal")


def test_resistance_in_the_signal_wire_reads_high_at_the_control_unit_only() -> None:
    bench, sound = thermistor(2500.0, 2200.0, "resistance signal", 1000.0), thermistor(2500.0)
    assert bench.unit("signal") > sound.unit("signal") + 0.2
    assert bench.volts("signal", plugged=True) < sound.volts("signal", plugged=True) - 0.2
    assert bench.volts("signal", plugged=False) == pytest.approx(5.0, abs=0.01)


# ---------------------------------------------------------------- three wires, analogue
def pressure(
    ratio: float,
    fault: str = "",
    size: float | None = None,
    hold: str = "down",
    output: float = 10.0,
) -> Bench:
    """A ratiometric pressure sensor with a strong output, unless told."""
    known: dict[str, float | str] = {
        "pressure": ratio,
        "input-hold": hold,
        "pull-down.ohm": 1e5,
        "pull-up.ohm": 1e4,
        "leakage.ohm": 1e8,
        "output.ohm": output,
        "consumption.ohm": 1000.0,
    }
    return Bench("pressure-gauge-three-wire", known, fault, size)


@pytest.mark.parametrize(
    ("fault", "size", "hold", "low", "middle", "high"),
    [
        ("ground-lifted ground", 0.3, "down", 0.77, 2.65, 4.53),
        ("supply-low supply", 4.5, "down", 0.45, 2.25, 4.05),
        ("resistance signal", 1e4, "down", 0.45, 2.27, 4.09),
        ("resistance signal", 1e3, "up", 0.91, 2.73, 4.55),
    ],
)
def test_laws_of_three_wire_sensors(
    fault: str, size: float, hold: str, low: float, middle: float, high: float
) -> None:
    # Arithmetic at true 0.5, 2.5 and 4.5 V, as the control unit sees it; 10 kohm into a 100 kohm
    # pull-down, 1 kohm below a 10 kohm pull-up.
    for volt, expected in ((0.5, low), (2.5, middle), (4.5, high)):
        bench = pressure(volt / 5.0, fault, size, hold)
        assert bench.unit("signal") == pytest.approx(expected, abs=0.012)
        if fault.startswith("resistance"):  # the sensor's side stays nearly right
            assert bench.volts("signal", plugged=True) == pytest.approx(volt, abs=0.012)
            assert bench.volts("supply", plugged=True) == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize("volt", [0.5, 2.5, 4.5])
def test_a_lifted_ground_is_a_constant_offset_for_a_battery_fed_sensor(volt: float) -> None:
    # Arithmetic: its own regulator refers to its own ground.
    known: Known = {
        "flow": volt,
        "output.ohm": 10.0,
        "output.full_volt": 8.0,
        "input-hold": "down",
        "pull-down.ohm": 1e6,
    }
    name = "air-mass-voltage-three-wire"
    bench = Bench(name, known, "ground-lifted ground", 0.3)
    sound = Bench(name, known)
    offset = bench.unit("signal") - sound.unit("signal")
    assert offset == pytest.approx(0.3, abs=0.005)


ANALOGUE_ROWS = [
    ("", (-1e-6, 0.01), (2.49, 2.51), (2.49, 2.51)),
    ("open signal", (-1e-6, 0.01), (2.49, 2.51), (-1e-6, 0.01)),
    ("short-to-ground signal", (-1e-6, 0.01), (-1e-6, 1.0), (-1e-6, 1.0)),
    ("short-to-supply signal", (4.99, 5.01), (4.9, 5.01), (4.9, 5.01)),
    ("short-to-battery signal", (12.4, 12.51), (12.3, 12.51), (12.3, 12.51)),
    ("open ground", (-1e-6, 0.01), (4.4, 5.01), (4.4, 5.01)),
    ("open supply", (-1e-6, 0.01), (-1e-6, 0.2), (-1e-6, 0.2)),
    ("supply-low supply", (-1e-6, 0.01), (-1e-6, 1.3), (-1e-6, 1.3)),
    ("sensor-shorted signal", (-1e-6, 0.01), (-1e-6, 0.6), (-1e-6, 0.6)),
    ("sensor-open signal", (-1e-6, 0.01), (-1e-6, 0.01), (-1e-6, 0.01)),
]


@pytest.mark.parametrize(("fault", "unplugged", "plugged", "seen"), ANALOGUE_ROWS)
def test_fault_matrix_analogue(
    fault: str,
    unplugged: tuple[float, float],
    plugged: tuple[float, float],
    seen: tuple[float, float],
) -> None:
    # Input with a pull-down, sensor at 2.5 V behind 100 ohm; shorts of half an ohm.
    size = 0.5 if fault.startswith("short") else None
    bench = pressure(0.5, fault, size, output=100.0)
    assert unplugged[0] <= bench.volts("signal", plugged=False) <= unplugged[1]
    assert plugged[0] <= bench.volts("signal", plugged=True) <= plugged[1]
    assert seen[0] <= bench.unit("signal") <= seen[1]


def test_supply_and_ground_of_a_faulty_three_wire_sensor() -> None:
    sound = pressure(0.5)
    assert sound.volts("supply", plugged=False) == pytest.approx(5.0, abs=0.01)
    assert abs(sound.volts("ground", plugged=False)) < 0.01
    # Its own consumption pulls the inside up as soon as the return is open.
    assert pressure(0.5, "open ground").volts("ground", plugged=True) > 4.5
    broken = pressure(0.5, "open supply")
    assert broken.volts("supply", plugged=False) < GHOST
    assert broken.volts("supply", plugged=True) < 0.1
    # Pulled down to a volt: the signal follows its supply.
    weak = pressure(0.9, "supply-low supply", 1.0)
    assert weak.volts("supply", plugged=True) == pytest.approx(1.0, abs=0.01)
    assert weak.volts("signal", plugged=True) <= 0.91
    # Shorted to ground anywhere: 0 to 1 V on it, the regulator lives.
    assert pressure(0.5, "short-to-ground supply", 5.0).volts("supply", plugged=False) < 1.0
    # Shorted to battery: above 5.2 V, and all that hangs on it reads high.
    high = pressure(0.5, "short-to-battery supply", 5.0)
    assert high.volts("supply", plugged=True) > 5.2
    assert high.volts("signal", plugged=True) > 2.6


def test_an_input_without_its_pull_down_floats() -> None:
    bench = pressure(0.5, "control-unit-input signal")
    assert bench.behind("signal", plugged=False) > 1e6
    assert bench.volts("signal", plugged=True) == pytest.approx(2.5, abs=0.01)


def test_exchanged_signal_and_ground_of_a_three_wire_sensor_read_wrong() -> None:
    for ratio in (0.2, 0.8):
        bench = pressure(ratio, "swapped signal ground")
        assert abs(bench.unit("signal") - 5.0 * ratio) > 0.3


def test_exchanged_supply_and_ground_turn_the_slope_of_a_potentiometer_round() -> None:
    known: dict[str, float | str] = {"input-hold": "down", "pull-down.ohm": 1e6}
    known |= {"track.ohm": 2000.0, "track.wiper_ohm": 100.0}
    for position in (0.1, 0.5, 0.9):
        moved: Known = known | {"position": position}
        sound = Bench("potentiometer-three-wire", moved)
        turned = Bench("potentiometer-three-wire", moved, "swapped supply ground")
        both = sound.volts("signal", plugged=True) + turned.volts("signal", plugged=True)
        assert both == pytest.approx(5.0, abs=0.02)


# ---------------------------------------------------------------- three wires, Hall
def hall(fault: str = "", size: float | None = None) -> Bench:
    """A Hall sensor on 5 V below 4.7 kohm; level 1 is its output pulling."""
    known: Known = {
        "pull-up": 4700.0,
        "pull-up-feed": "5 V",
        "output.closed_ohm": 20.0,
        "output.open_ohm": 1e8,
        "consumption.ohm": 700.0,
    }
    return Bench("hall-5v", known, fault, size)


HALL_ROWS = [
    # fault, unplugged, plugged while it lets go, plugged while it pulls
    ("", (4.98, 5.0), (4.98, 5.0), (-1e-6, 0.1)),
    ("open signal", (-1e-6, GHOST), (-1e-6, GHOST), (-1e-6, 0.05)),
    ("short-to-ground signal", (-1e-6, 0.1), (-1e-6, 0.1), (-1e-6, 0.1)),
    ("short-to-supply signal", (4.98, 5.0), (4.98, 5.0), (2.0, 5.0)),
    ("short-to-battery signal", (12.4, 12.51), (12.4, 12.51), (9.0, 12.51)),
    ("open ground", (4.98, 5.0), (4.9, 5.0), (4.9, 5.0)),
    ("open supply", (4.98, 5.0), (4.98, 5.0), (4.98, 5.0)),
    ("swapped signal ground", (4.98, 5.0), (4.5, 5.0), (4.5, 5.0)),
    ("control-unit-input signal", (-1e-6, GHOST), (-1e-6, GHOST), (-1e-6, 0.05)),
    ("sensor-shorted signal", (4.98, 5.0), (-1e-6, 0.1), (-1e-6, 0.1)),
]


@pytest.mark.parametrize(("fault", "unplugged", "lets_go", "pulls"), HALL_ROWS)
def test_fault_matrix_hall(
    fault: str,
    unplugged: tuple[float, float],
    lets_go: tuple[float, float],
    pulls: tuple[float, float],
) -> None:
    bench = hall(fault)
    assert unplugged[0] <= bench.volts("signal", plugged=False) <= unplugged[1]
    for level, (least, most) in enumerate((lets_go, pulls)):
        assert least <= bench.volts("signal", plugged=True, levels=(level,)) <= most


def test_a_hall_sensor_on_a_lifted_ground_has_a_lifted_low_level() -> None:
    low = hall("ground-lifted ground", 0.3).volts("signal", plugged=True, levels=(1,))
    assert low - hall().volts("signal", plugged=True, levels=(1,)) == pytest.approx(0.3, abs=0.02)


def test_a_hall_sensor_whose_supply_is_pulled_down_is_dead() -> None:
    bench = hall("supply-low supply", 1.0)
    for level in (0, 1):
        assert bench.volts("signal", plugged=True, levels=(level,)) > 4.9


def test_a_broken_signal_wire_leaves_the_control_unit_at_its_pull_up() -> None:
    for level in (0, 1):
        assert hall("open signal").unit("signal", levels=(level,)) > 4.98


def test_a_stuck_sensor_shows_one_level() -> None:
    shares = hall("sensor-stuck signal").subject.netlist.driven["low-share"]
    assert shares.always is not None
    assert set(shares.always.choices) == {0.0, 1.0}


@pytest.mark.parametrize("share", [0.4, 0.5, 0.6])
def test_a_meter_shows_the_mean_of_a_square_wave(share: float) -> None:
    # Arithmetic: half the time low reads half the pull-up voltage.
    expected = 5.0 * (1.0 - share)
    assert hall().mean("signal", share) == pytest.approx(expected, abs=0.02)


# ---------------------------------------------------------------- air mass with thermistor
def air_mass(fault: str = "", size: float | None = None) -> Bench:
    known: Known = {
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
    return Bench("air-mass-voltage-thermistor-battery", known, fault, size)


def test_an_air_mass_sensor_without_its_feed_keeps_its_temperature() -> None:
    bench, sound = air_mass("open supply"), air_mass()
    # The sensor's own current lifts its ground by some millivolts.
    assert sound.volts("signal", plugged=True) == pytest.approx(1.5, abs=0.03)
    assert bench.volts("signal", plugged=True) < 0.05
    kept = sound.volts("temperature", plugged=True)
    assert kept == pytest.approx(2.66, abs=0.02)
    assert bench.volts("temperature", plugged=True) == pytest.approx(kept, abs=0.02)


def test_an_air_mass_sensor_without_its_ground_reads_high_on_both_wires() -> None:
    bench = air_mass("open ground")
    assert bench.volts("signal", plugged=True) > 4.0
    assert bench.volts("temperature", plugged=True) > 4.0


def test_an_unplugged_air_mass_sensor_shows_battery_ground_and_pull_ups() -> None:
    bench = air_mass()
    expected = {"supply": BATTERY, "ground": 0.0, "signal": 0.0, "temperature": 5.0}
    for wire, volt in expected.items():
        assert bench.volts(wire, plugged=False) == pytest.approx(volt, abs=0.02)


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
