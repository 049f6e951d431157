"""What a fault leaves of its circuit, with textbook parts.

Facts of the trade, common practice, no source, but where a closed form is named: Ohm's law.
"""

from importlib.resources import files

import pytest

from backprobe.families.circuit import compile_family
from backprobe.families.faults import faults_of
from backprobe.families.loader import parse_family
from tests.families.trade_bench import BATTERY, GHOST, METER, Bench


def injector(fuse: str) -> Bench:
    known: dict[str, float | str] = {
        "diagnosis": "battery",
        "bias-battery.ohm": 1e4,
        "fault.fuse": fuse,
        "fault.blown-ohm": 1e9,
    }
    return Bench("injector-two-wire", known, "short-to-ground supply", size=0.1)


def test_a_blown_fuse_takes_the_feed_and_leaves_the_control_unit_its_own() -> None:
    blown = injector("blown")
    assert abs(blown.volts("supply", plugged=False)) < GHOST
    # Its driver looks for a broken wire through 10 kohm to its own battery feed.
    fed = BATTERY * METER / (METER + 1e4)
    assert blown.volts("control", plugged=False) == pytest.approx(fed, abs=0.05)
    # Plugged in, the coil ties that wire to the shorted one.
    assert abs(blown.volts("control", plugged=True)) < 0.1


def test_a_fuse_that_holds_lets_the_short_pull_the_feed() -> None:
    assert injector("intact").volts("supply", plugged=False) < BATTERY - 1.0


@pytest.mark.parametrize("offset", [-0.02, 0.0, 0.03])
def test_a_chafed_wire_stands_at_the_body_and_not_at_battery_negative(offset: float) -> None:
    known: dict[str, float | str] = {"body-offset": offset}
    bench = Bench("pressure-manifold-three-wire", known, "short-to-ground signal", size=0.1)
    assert bench.volts("signal", plugged=False) == pytest.approx(offset, abs=1e-3)


@pytest.mark.parametrize("leak", [1e7, 1e8, 1e10])
def test_without_its_pull_up_an_open_collector_shows_what_it_leaks(leak: float) -> None:
    known: dict[str, float | str] = {
        "fault.output-leak-ohm": leak,
        "fault.output-floor-volt": 0.15,
        "output.open_ohm": 1e12,
        "signal.insulation-ohm": 1e12,
    }
    bench = Bench("hall-5v", known, "control-unit-input signal", size=3e9)
    # A divider of the leak and the meter.
    alone = 5.0 * METER / (METER + leak)
    assert bench.volts("signal", plugged=True, levels=(0,)) == pytest.approx(alone, rel=0.02)
    # With next to no current a saturated transistor keeps tens to hundreds of millivolts across
    # itself (Ebers and Moll 1954 for a bare one, from memory; more behind a driver stage).
    assert bench.volts("signal", plugged=True, levels=(1,)) == pytest.approx(0.15, abs=0.005)


# 0.1 A through 45 ohm more: 4.5 V lost while the current holds. Where it falls with the voltage
# from 10 V down, they are 100 ohm, and a divider.
@pytest.mark.parametrize(
    ("full", "expected"), [(2.0, BATTERY - 4.5), (10.0, BATTERY * 100.0 / 145.0)]
)
def test_starved_electronics_draw_their_current_or_what_little_is_left_lets_through(
    full: float, expected: float
) -> None:
    known: dict[str, float | str] = {
        "fault.consumption-ampere": 0.1,
        "fault.consumption-full-volt": full,
        "supply.contact-ohm": 1e-3,
        "ground.contact-ohm": 1e-3,
        "ground.wire-ohm": 1e-3,
    }
    bench = Bench("air-mass-voltage-three-wire", known, "resistance supply", size=45.0)
    assert bench.volts("supply", plugged=True) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    "ohm", ["60.0", "{ normal = [60.0, 40.0] }", "{ choice = [40.0, 80.0], weights = [0.5, 0.5] }"]
)
def test_whatever_a_family_file_says_of_a_consumption_starves(ohm: str) -> None:
    name = "air-mass-voltage-three-wire"
    text = (files("backprobe.families") / "data" / f"{name}.toml").read_text(encoding="utf-8")
    start = text.index("ohm = ", text.index('name = "consumption"'))
    end = text.index("\n", start)
    sourced = ohm.replace(" }", ', source = "common practice" }')
    family = parse_family(f"{text[:start]}ohm = {sourced}{text[end:]}", f"{name}.toml")
    (fault,) = (f for f in faults_of(family) if f.name == "resistance:supply-battery")
    ampere = compile_family(family, fault).values["fault.consumption-ampere"]
    # Ohm's law at the 12.6 V of a full battery, for 60 ohm.
    assert 0.0 < ampere.a <= 12.6 / 60.0 <= ampere.b
