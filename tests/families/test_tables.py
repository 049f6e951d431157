"""Facts of the trade that every reading table has to show.

Where no source is named, a fact is common practice without a published source.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import norm

from backprobe.families import fault_edits, fault_electronics
from backprobe.families.faults import SHORT_OHM, Fault, faults_of
from backprobe.families.loader import load_families
from backprobe.families.schema import Driven, Family, Prior
from backprobe.families.tables import Range, Row, reading_rows

UNPLUGGED, KEY_ON, IDLE = "unplugged, key on", "plugged, key on", "idle"
FAMILIES = {family.id: family for family in load_families()}


def known(
    name: str, values: Mapping[str, float], driven: Mapping[str, float] | None = None
) -> Family:
    """A family with some values and driven quantities known."""
    family = FAMILIES[name]
    assert set(values) <= set(family.values)
    assert set(driven or {}) <= set(family.driven)
    moved = {
        key: Driven(family.driven[key].unit, always=Prior("fixed", value))
        for key, value in (driven or {}).items()
    }
    fixed = {key: Prior("fixed", value) for key, value in values.items()}
    return replace(family, values={**family.values, **fixed}, driven={**family.driven, **moved})


def chosen(family: Family, kind: str, wire: str) -> Fault:
    return next(f for f in faults_of(family) if f.kind == kind and f.wire == wire)


def cell(family: Family, row: Row, state: str, wire: str) -> Range:
    return row.volts[state][[one.name for one in family.wires].index(wire)]


def reading(family: Family, state: str, wire: str) -> Range:
    return cell(family, reading_rows(family, faults=())[0], state, wire)


@cache
def rows(name: str, kind: str = "", wire: str = "") -> tuple[Row, ...]:
    family = FAMILIES[name]
    return reading_rows(family, faults=(chosen(family, kind, wire),) if kind else ())


def healthy(name: str, state: str, wire: str) -> Range:
    return cell(FAMILIES[name], rows(name)[0], state, wire)


def with_fault(name: str, kind: str, wire: str, state: str, at: str) -> Range:
    return cell(FAMILIES[name], rows(name, kind, wire)[1], state, at)


@pytest.mark.parametrize(
    ("name", "wire"),
    [
        ("thermistor-two-wire", "signal"),
        ("thermistor-two-pull-ups", "signal"),
        ("platinum-two-wire", "signal"),
        ("platinum-100-two-wire", "signal"),
        ("platinum-1000-two-wire", "signal"),
        ("air-mass-frequency-thermistor-5v", "signal"),
        ("air-mass-frequency-thermistor-battery", "signal"),
        ("air-mass-frequency-two-feeds", "temperature"),
        ("pressure-manifold-thermistor", "temperature"),
        ("serial-pulse-three-wire", "signal"),
        ("hall-battery", "signal"),
    ],
)
def test_an_unplugged_pulled_up_wire_reads_the_full_pull_up_voltage(name: str, wire: str) -> None:
    found = healthy(name, UNPLUGGED, wire)
    assert 4.9 < found.low <= found.middle < 5.1


@pytest.mark.parametrize(
    "name", ["air-mass-voltage-three-wire", "potentiometer-three-wire", "pressure-gauge-three-wire"]
)
def test_an_unplugged_analogue_wire_mostly_reads_nothing(name: str) -> None:
    assert healthy(name, UNPLUGGED, "signal").middle < 0.1


def test_regulated_supplies_and_grounds_read_as_they_should() -> None:
    for name in ("potentiometer-three-wire", "air-mass-voltage-thermistor-5v", "hall-5v"):
        for state in (UNPLUGGED, KEY_ON):
            supply, ground = healthy(name, state, "supply"), healthy(name, state, "ground")
            assert 4.85 < supply.low <= supply.high < 5.15
            assert -0.02 < ground.low <= ground.high < 0.1


# 5 V on both wires of a plugged thermistor: its sensor ground is open.
def test_an_open_ground_puts_five_volts_on_both_wires_of_a_thermistor() -> None:
    for wire in ("signal", "ground"):
        found = with_fault("thermistor-two-wire", "open", "ground", KEY_ON, wire)
        assert 4.8 < found.low <= found.high < 5.2


def test_exchanging_the_wires_of_a_thermistor_changes_nothing() -> None:
    for wire in ("signal", "ground"):
        found = with_fault("thermistor-two-wire", "swapped", "ground", KEY_ON, wire)
        assert found.is_like(healthy("thermistor-two-wire", KEY_ON, wire))


def test_a_failed_pull_up_leaves_nothing_on_the_unplugged_wire() -> None:
    for name in ("thermistor-two-wire", "hall-5v"):
        found = with_fault(name, "control-unit-input", "signal", UNPLUGGED, "signal")
        assert found.high < 0.1


def test_a_ratiometric_sensor_without_ground_reads_high_and_without_supply_low() -> None:
    name = "pressure-manifold-three-wire"
    # Up to its supply less a junction, what its own consumption drops, and the volt or so that its
    # electronics need to draw anything; commonly near the supply.
    without_ground = with_fault(name, "open", "ground", IDLE, "signal")
    assert without_ground.low > 3.5
    assert without_ground.middle > 4.2
    # Most inputs pull down. Where one pulls up, a sensor that is protected from being fed backward
    # leaves it alone, up to the 5 V that it is fed with.
    without_supply = with_fault(name, "open", "supply", IDLE, "signal")
    assert without_supply.middle < 0.3
    assert without_supply.high < 5.15


def without_cache(name: str, kind: str, wire: str, state: str) -> Range:
    """What the signal of a family shows with a fault, as its priors stand now."""
    family = FAMILIES[name]
    rows = reading_rows(family, faults=(chosen(family, kind, wire),))
    return cell(family, rows[-1], state, "signal")


def test_an_unprotected_sensor_without_supply_holds_its_signal_low(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Where the input pulls up: a junction above its dead supply, and the one or two junctions that
    # its electronics leave there before they draw what the pull-up brings.
    always = replace(fault_electronics.BACK_FEED_TAKEN, weights=(1.0, 0.0))
    monkeypatch.setattr(fault_electronics, "BACK_FEED_TAKEN", always)
    shown = without_cache("pressure-manifold-three-wire", "open", "supply", IDLE)
    assert shown.middle < 0.3
    assert shown.high < 0.7 + 1.1


def test_a_short_to_battery_shows_battery_voltage(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "pressure-manifold-three-wire"
    with_leaks = without_cache(name, "short-to-battery", "signal", UNPLUGGED)
    assert with_leaks.middle > 11.0
    # Where damp only leaks, what pulls the input down takes its share: still beyond any 5 V.
    assert with_leaks.low > 6.0
    monkeypatch.setattr(fault_edits, "LEAK_OHM", SHORT_OHM)
    assert without_cache(name, "short-to-battery", "signal", UNPLUGGED).low > 11.0


# Makers' texts: 0.40 to 0.50 V bias; hot 0.1 to 0.9 V.
def test_a_zirconia_cell_rests_at_its_bias_and_swings_when_hot() -> None:
    rest = healthy("oxygen-three-wire", UNPLUGGED, "signal")
    assert 0.35 < rest.low <= rest.high < 0.6
    hot = healthy("oxygen-three-wire", IDLE, "signal")
    assert hot.low < 0.25
    assert 0.65 < hot.high < 1.1


# A maker's table: the four cell wires of a wide-range sensor stand at 2.4 to 2.8 V.
def test_unplugged_cell_wires_of_a_wide_range_sensor_stand_near_two_and_a_half_volts() -> None:
    for wire in ("pump", "reference", "common", "trim"):
        assert 2.4 < healthy("wide-range-six-wire", UNPLUGGED, wire).middle < 2.8


@pytest.mark.parametrize(("ohm", "above"), [(300.0, 0.45), (1e7, 0.0)])
def test_a_reference_cell_that_is_cold_shows_what_the_control_unit_holds_it_at(
    ohm: float, above: float
) -> None:
    # Nernst voltage of a hot cell; common practice, no source: a cold one is megohms and shows
    # none of it, with the engine running too.
    values = {"reference-bias.volt": 0.0, "reference-bias.ohm": 1e5, "virtual-ground.volt": 2.5}
    family = known("wide-range-six-wire", values, {"reference-ohm": ohm})
    assert reading(family, IDLE, "reference").middle == pytest.approx(2.5 + above, abs=0.04)


@pytest.mark.parametrize("name", ["wide-range-five-wire", "wide-range-six-wire"])
def test_a_wide_range_cell_may_be_cold_with_the_engine_running_but_seldom_is(name: str) -> None:
    for state in ("idle", "raised"):
        prior = FAMILIES[name].driven["reference-ohm"].prior(state)
        megohms = norm.sf(np.log(1e6 / prior.a) / np.log(prior.b))
        assert 0.001 < megohms < 0.05
        assert 100.0 < prior.a < 1000.0


def test_a_driver_that_is_off_leaves_its_wire_at_battery_voltage() -> None:
    control, feed = (healthy("injector-two-wire", KEY_ON, wire) for wire in ("control", "supply"))
    assert control.middle == pytest.approx(feed.middle, abs=0.1)
    # 0.1 to 0.8 V across a driver that is on.
    family = known("solenoid-two-wire", {"coil.ohm": 20.0}, {"driven": 1.0})
    assert reading(family, KEY_ON, "control").high < 0.8
    # A meter shows the mean of pulses: battery voltage times the share of time off.
    family = known("solenoid-two-wire", {"coil.ohm": 20.0}, {"driven": 0.25})
    assert reading(family, KEY_ON, "control").middle == pytest.approx(0.75 * 12.4, abs=0.3)


# SAE J2716 as a meter sees it: a near-steady 3.0 to 4.2 V whatever the value.
def test_serial_pulses_read_a_steady_middle_voltage() -> None:
    found = healthy("serial-pulse-three-wire", KEY_ON, "signal")
    assert 2.9 < found.low <= found.high < 4.4


def test_pulses_of_an_air_mass_sensor_read_about_half_the_pull_up_voltage() -> None:
    found = healthy("air-mass-frequency-thermistor-battery", IDLE, "signal")
    assert 2.3 < found.middle < 2.9


# 7 and 14 mA through 75, 100 and 115 ohm: 0.53/1.05, 0.70/1.40, 0.81/1.61 V (Ohm's law).
@pytest.mark.parametrize(
    ("shunt", "low", "high"), [(75.0, 0.525, 1.05), (100.0, 0.70, 1.40), (115.0, 0.805, 1.61)]
)
def test_a_two_wire_speed_sensor_shows_its_current_over_the_shunt(
    shunt: float, low: float, high: float
) -> None:
    currents = {"shunt.ohm": shunt, "low-current.ampere": 0.007, "added-current.ampere": 0.007}
    for share, volts in ((0.0, low), (1.0, high)):
        level = {"high-share": share, "inner-offset": 0.0, "rail-offset": 0.0}
        family = known("speed-current-battery", currents, level)
        assert reading(family, KEY_ON, "signal").middle == pytest.approx(volts, abs=0.01)


# A 10 kohm thermistor of a published data sheet at 0, 25, 50 and 100 degC below 2.2 kohm and
# 5.000 V: 4.6274, 4.0984, 3.2699, 1.5332 V. One beta (3382 K, 25/50) follows it between 0 and
# 50 degC within 1 %.
@pytest.mark.parametrize(("celsius", "volts"), [(0.0, 4.6274), (25.0, 4.0984), (50.0, 3.2699)])
def test_a_thermistor_divides_the_pull_up_voltage(celsius: float, volts: float) -> None:
    values = {"pull-up": 2200.0, "thermistor.ohm_25": 10_000.0, "thermistor.beta_kelvin": 3382.0}
    family = known("thermistor-two-wire", values, {"temperature": celsius})
    assert reading(family, KEY_ON, "signal").middle == pytest.approx(volts, abs=0.04)


# IEC 60751: 200 ohm at 0 degC, 277.01 at 100, 781.0 at 850; below 1 kohm and 5 V: 0.83 to 2.19 V.
@pytest.mark.parametrize(("celsius", "ohm"), [(0.0, 200.0), (100.0, 277.01), (850.0, 780.96)])
def test_platinum_rises_with_temperature(celsius: float, ohm: float) -> None:
    values = {"pull-up.ohm": 1000.0, "platinum.ohm_0": 200.0}
    family = known("platinum-two-wire", values, {"temperature": celsius})
    expected = 5.0 * ohm / (ohm + 1000.0)
    assert reading(family, KEY_ON, "signal").middle == pytest.approx(expected, abs=0.03)


def test_two_tracks_keep_their_relation() -> None:
    def both(name: str, position: float) -> tuple[float, float]:
        values = {"track-1.wiper_ohm": 100.0, "track-2.wiper_ohm": 100.0, "track-ohm": 2000.0}
        if "pedal-offset" in name:
            values |= {"second-track-ohm": 2000.0, "upper-end.ohm": 500.0, "lower-end.ohm": 500.0}
        row = reading_rows(known(name, values, {"position": position}), faults=())[0]
        names = [wire.name for wire in FAMILIES[name].wires]
        ranges = row.volts[KEY_ON]
        return (
            ranges[names.index("signal-1")].middle,
            ranges[names.index("signal-2")].middle,
        )

    for position in (0.2, 0.7):
        first, second = both("tracks-opposed-four-wire", position)
        assert first + second == pytest.approx(5.0, abs=0.2)
        first, second = both("pedal-half-slope-six-wire", position)
        assert second == pytest.approx(first / 2, abs=0.1)
    differences = [b - a for a, b in (both("pedal-offset-six-wire", p) for p in (0.2, 0.7))]
    assert differences[0] == pytest.approx(differences[1], abs=0.05)
    assert differences[0] > 0.5


def test_a_two_bar_sensor_and_a_barometric_one_read_the_barometer_differently() -> None:
    # 3.9 to 4.8 V for the 1 bar type, less at height; the ranges allow for other makes and meet.
    manifold = healthy("pressure-manifold-three-wire", KEY_ON, "signal")
    boost = healthy("pressure-boost-three-wire", KEY_ON, "signal")
    assert 3.9 < manifold.middle < 4.8
    assert boost.middle < 2.6
    assert boost.high < manifold.middle


def test_an_inductive_pick_up_alternates_only_when_it_turns() -> None:
    row = reading_rows(FAMILIES["pick-up-grounded"], faults=())[0]
    assert row.alternating[KEY_ON][0] is None
    crank, idle = row.alternating["cranking"][0], row.alternating[IDLE][0]
    assert crank is not None
    assert idle is not None
    # 0.2 to 2 V rms while cranking, a large spread.
    assert crank.low < 0.5
    assert crank.high > 1.0
    assert idle.middle > crank.middle
    assert row.hertz[IDLE][0] is not None


def test_the_healthy_circuit_comes_first_and_every_fault_once() -> None:
    family = FAMILIES["switch-two-wire"]
    found = reading_rows(family)
    assert found[0].fault.name == "none"
    assert [row.fault for row in found] == list(faults_of(family))
    assert set(found[0].volts) == {
        UNPLUGGED, KEY_ON, "cranking", IDLE, "raised speed", "throttle snap", "sweep",
    }  # fmt: skip


# Common practice, no source: without current a throttle rests a little open on its springs; moved
# by hand it goes below that, to its closed stop, and to wide open.
@pytest.mark.parametrize(
    "name",
    ["throttle-body-six-wire", "throttle-body-parallel-six-wire"],
    ids=["opposed", "parallel"],
)
def test_a_throttle_moved_by_hand_goes_below_its_rest(name: str) -> None:
    family = FAMILIES[name]
    position = family.driven["position"]
    rest, stop = position.prior("key-on"), position.prior("sweep-low")
    assert stop is not rest
    assert stop.a < rest.a
    assert stop.b < rest.b


# No DC source of a vehicle at rest lies outside ground and battery, some tenths of a volt aside: a
# network of resistances and such sources can't leave these ends.
@pytest.mark.parametrize(
    "name", ["hall-5v", "hall-8v", "hall-battery", "pressure-manifold-three-wire"]
)
@pytest.mark.parametrize("kind", ["open", "resistance"])
def test_a_starved_sensor_stays_between_ground_and_battery(name: str, kind: str) -> None:
    for wire in ("supply", "signal", "ground"):
        for state in (UNPLUGGED, IDLE):
            found = with_fault(name, kind, "supply", state, wire)
            assert -1.0 < found.low <= found.high < 16.0
