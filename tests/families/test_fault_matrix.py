"""The trade's fault matrix, row by row, from the solved families.

Readings of a thermistor, of a three-wire analogue sensor on an input with a pull-down and of an
open-collector Hall sensor, each with textbook parts: unplugged with the key on, plugged in, and
what the control unit sees. Common practice without a published source, and Ohm's law.
"""

import pytest

from backprobe.families.fault_electronics import BACKWARD, ONSET_VOLT
from tests.families.trade_bench import BATTERY, GHOST, Bench, Known, thermistor

# ---------------------------------------------------------------- two wires, thermistor
# Fault; unplugged; plugged, at the probe; what the control unit sees: (least, most) volts.
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
    onset: float = 0.05,
    known: Known | None = None,
) -> Bench:
    """A ratiometric pressure sensor with a strong output, unless told."""
    values: dict[str, float | str] = {
        "pressure": ratio,
        "input-hold": hold,
        "pull-down.ohm": 1e5,
        "pull-up.ohm": 1e4,
        "leakage.ohm": 1e8,
        "output.ohm": output,
        "consumption.ohm": 1000.0,
    }
    if fault:
        values[ONSET_VOLT] = onset
    return Bench("pressure-gauge-three-wire", values | dict(known or {}), fault, size)


def test_electronics_stop_drawing_a_junction_or_two_below_their_supply() -> None:
    # Common practice, no source: with its return open a sensor's ground stands some tenths of a
    # volt to a volt below its supply.
    ground = pressure(0.5, "open ground", onset=0.8)
    assert ground.volts("supply", plugged=True) == pytest.approx(5.0, abs=0.01)
    assert ground.volts("ground", plugged=True) == pytest.approx(4.2, abs=0.02)


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
    ("sensor-open ground", (-1e-6, 0.01), (4.4, 5.01), (4.4, 5.01)),
]


def test_a_bad_ground_contact_beyond_the_probe_leaves_feed_and_return_as_they_were() -> None:
    # Common practice, no source: a spread terminal is found at neither of the two, only by what
    # the signal does.
    sound, bad = pressure(0.5), pressure(0.5, "sensor-open ground")
    for probed, near in (("supply", 5.0), ("ground", 0.0)):
        assert sound.volts(probed, plugged=True) == pytest.approx(near, abs=0.02)
        assert bad.volts(probed, plugged=True) == pytest.approx(near, abs=0.02)
    assert bad.volts("signal", plugged=True) > sound.volts("signal", plugged=True) + 1.5


def test_a_track_without_its_supply_moves_along_what_is_left() -> None:
    # Ohm's law, 5 V over a pull-up of 100 kohm, 4 kohm of track of which the wiper leaves a quarter
    # or three, and 1 kohm at the wiper: 5 * 2 / 102 = 98 mV and 5 * 4 / 104 = 192 mV; the supply
    # itself is sound at the probe.
    def at(share: float) -> Bench:
        known: Known = {
            "position": share,
            "track.ohm": 4000.0,
            "track.wiper_ohm": 1000.0,
            "input-hold": "up",
            "pull-up.ohm": 1e5,
            "leakage.ohm": 1e9,
        }
        return Bench("potentiometer-three-wire", known, "sensor-open supply", 1e9)

    for share, volt in ((0.25, 0.098), (0.75, 0.192)):
        assert at(share).volts("supply", plugged=True) == pytest.approx(5.0, abs=0.01)
        assert at(share).volts("signal", plugged=True) == pytest.approx(volt, abs=0.006)


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
    # From its ground to its output there is a junction; while it pulls, little is left of that.
    ("swapped signal ground", (4.98, 5.0), (0.4, 0.9), (0.05, 0.9)),
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


@pytest.mark.parametrize("pull_up", [1000.0, 10000.0])
def test_a_saturated_output_leaves_its_volts_whatever_the_pull_up(pull_up: float) -> None:
    # Textbook: the saturation voltage of a bipolar transistor hardly depends on its current.
    known: Known = {"pull-up": pull_up, "pull-up-feed": "5 V", "output.closed_volt": 0.25}
    bench = Bench("hall-5v", {**known, "output.closed_ohm": 3.0})
    low = bench.volts("signal", plugged=True, levels=(1,))
    assert low == pytest.approx(0.25 + 5.0 * 4.0 / pull_up, abs=0.005)
    # At half duty a meter shows the mean of the two levels.
    assert bench.mean("signal", 0.5) == pytest.approx(0.5 * (5.0 + low), abs=0.02)


def test_a_saturated_output_gives_nothing_back() -> None:
    # Without a pull-up nothing flows: a transistor is no source of its saturation voltage.
    known: Known = {"output.closed_volt": 0.25, "signal.insulation-ohm": 1e12}
    bench = Bench("hall-5v", known, "short-to-ground signal", size=1.0)
    assert abs(bench.volts("signal", plugged=True, levels=(1,))) < 0.01


# ---------------------------------------------------------------- junctions of an output's chip
@pytest.mark.parametrize(("fault", "ohm"), [("open supply", 1e9), ("short-to-ground supply", 1.0)])
@pytest.mark.parametrize(
    ("back_feed", "expected"), [("blocked", (4.95, 5.0)), ("taken", (0.3, 1.2))]
)
def test_an_unfed_output_leaves_its_pull_up_alone_only_where_it_is_protected(
    fault: str, ohm: float, back_feed: str, expected: tuple[float, float]
) -> None:
    # A pull-up of 10 kohm against megohms of meter and output; else a junction's volts or two, as
    # the little that the pull-up gives does not feed the electronics (textbook).
    bench = pressure(0.5, fault, ohm, hold="up", known={"fault.back-feed": back_feed})
    shown = bench.volts("signal", plugged=True)
    assert expected[0] <= shown <= expected[1]


# Textbook: a silicon junction stands at 0.5 V with tens of microampere and at 0.95 V, its own
# resistance included, with a hundred milliampere.
JUNCTION = (0.5, 0.95)


def test_an_unfed_output_with_a_junction_to_its_supply_holds_its_pull_up_down() -> None:
    known: Known = {
        "pull-up": 4700.0,
        "pull-up-feed": "5 V",
        # 700 ohm up to its 5 V.
        "fault.consumption-full-volt": 5.0,
        "fault.consumption-ampere": 5.0 / 700.0,
        "fault.upper-junction": "there",
    }
    bench = Bench("hall-5v", known, "open supply")
    shown = bench.volts("signal", plugged=True, levels=(0,))
    # A divider of pull-up and consumption, with the junction's volts in it.
    low, high = (v + (5.0 - v) * 700.0 / 5400.0 for v in JUNCTION)
    assert low - 0.01 <= shown <= high + 0.01


def test_a_sensor_the_wrong_way_round_holds_its_supply_at_two_junctions() -> None:
    # Supply and ground exchanged: what the regulator gives goes through both junctions in a row.
    bench = pressure(0.5, "swapped supply ground", hold="down")
    supply = bench.volts("supply", plugged=True)
    assert 2 * JUNCTION[0] <= supply <= 2 * JUNCTION[1]
    # The output stands between the two.
    assert bench.volts("signal", plugged=True) == pytest.approx(supply / 2, abs=0.1)


def test_a_chip_the_wrong_way_round_holds_its_supply_at_one_junction_and_leaves_its_signal() -> (
    None
):
    # Every substrate is a diode from ground to supply (textbook); the open collector never pulls.
    known: dict[str, float | str] = {
        "pull-up": 2200.0,
        "pull-up-feed": "5 V",
        BACKWARD: "chip",
        "junction-ohm": 4.0,
    }
    bench = Bench("hall-5v", known, "swapped supply ground")
    # Behind 4 ohm at the 100 mA that the regulator gives at most: Ohm's law.
    for level in (0, 1):
        supply = bench.volts("supply", plugged=True, levels=(level,))
        assert supply == pytest.approx(0.5 + 0.4, abs=0.1)
        assert bench.volts("signal", plugged=True, levels=(level,)) == pytest.approx(5.0, abs=0.05)
