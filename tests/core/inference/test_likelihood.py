"""Likelihood of noted readings: Student's t, slips of the pen, OL and nothing counted."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import trapezoid
from scipy.stats import t as student

from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.likelihood import (
    BROAD_DENSITY,
    FREEDOM,
    LEAD_OHM,
    LOGARITHMIC,
    OPEN_OHM,
    QUIET_SHARE,
    SLIP_SHARE,
    Indicated,
    assignment_tables,
    indicate,
    log_likelihood,
    noted,
    pair_tables,
    quantity_log_likelihood,
    student_log_density,
    volts_log_density,
)
from backprobe.core.inference.predict import predict
from backprobe.core.inference.sheet import Array, IntArray, Quantity, Sheet
from backprobe.vocabulary import SCAN_NAMES
from tests.core.inference.small_sheets import (
    IDLE,
    KEY_ON,
    UNPLUGGED,
    Reading,
    draws,
    healthy,
    hypotheses,
    identity,
    sheet,
)

SPAN = {q: 1.0 / BROAD_DENSITY[q] for q in Quantity}  # width over which a slip is spread evenly


def density_floor(quantity: Quantity) -> float:
    return float(np.log(SLIP_SHARE * BROAD_DENSITY[quantity]))


def cost(quantity: Quantity, value: Array, mean: float, deviation: float) -> Array:
    return quantity_log_likelihood(
        quantity, value, np.full(value.shape, mean), np.full(value.shape, deviation)
    )


VOLTS_SHOWN = st.tuples(st.floats(0.02, 0.3), st.floats(0.001, 0.02))


@given(VOLTS_SHOWN)
def test_what_a_floating_wire_shows_has_probability_one(shown: tuple[float, float]) -> None:
    off = np.concatenate([-np.geomspace(1e3, 1e-6, 20_000), np.geomspace(1e-6, 1e3, 20_000)])
    log, quiet = volts_log_density(off, (np.array(shown[0]), np.array(shown[1])))
    assert trapezoid(np.exp(log), off) == pytest.approx(1.0, abs=1e-4)
    assert trapezoid(quiet * np.exp(log), off) == pytest.approx(QUIET_SHARE, abs=1e-4)


@given(st.floats(-1.0, 1.0), st.floats(1e-3, 0.3))
def test_a_wire_that_does_not_float_is_no_quiet_one_either(off: float, deviation: float) -> None:
    log, _ = volts_log_density(np.array(off), (np.array(deviation), np.array(deviation)))
    assert log == pytest.approx(student_log_density(np.array(off), np.array(deviation)))


def test_a_floating_wire_shows_a_few_millivolts_or_many() -> None:
    # Common practice, no source: mostly next to nothing, at times tens or hundreds of millivolts.
    def log(off: float) -> float:
        shown = np.array(0.1), np.array(0.007)
        return float(volts_log_density(np.array(off), shown)[0])

    assert log(0.003) > student_log_density(np.array(0.003), np.array(0.1)) + 1.5
    assert log(0.15) > student_log_density(np.array(0.15), np.array(0.1)) - 1.0


@given(residual=st.floats(-50.0, 50.0), deviation=st.floats(1e-4, 10.0))
def test_density_is_students_t(residual: float, deviation: float) -> None:
    mine = student_log_density(np.array([residual]), np.array([deviation]))[0]
    assert mine == pytest.approx(student.logpdf(residual, FREEDOM, scale=deviation), rel=1e-9)


@pytest.mark.parametrize("quantity", list(Quantity))
@pytest.mark.parametrize("told", [True, False])
def test_number_and_no_number_together_have_probability_one_at_most(
    quantity: Quantity, told: bool
) -> None:
    # Every number within the span of a slip, and "OL" or "nothing counted" once.
    width, deviation = SPAN[quantity], 0.004 * SPAN[quantity]
    grid = np.linspace(-0.5 * width, 0.5 * width, 40001)
    mean = 0.0 if told else np.nan
    numbers = trapezoid(np.exp(cost(quantity, grid, mean, deviation)), grid)
    nothing = float(np.exp(cost(quantity, np.array([np.inf]), mean, deviation)[0]))
    # A slip may also be noted as no number: it adds its density, less than half a per cent.
    assert numbers + nothing <= 1.0 + SLIP_SHARE * min(1.0, 1.0 / width) + 1.1e-4
    assert numbers + nothing > 0.94


@given(
    quantity=st.sampled_from(list(Quantity)),
    value=st.floats(-1e6, 1e6),
    deviation=st.floats(1e-3, 3.0),
)
def test_a_number_far_off_never_costs_more_than_a_slip(
    quantity: Quantity, value: float, deviation: float
) -> None:
    assert cost(quantity, np.array([value]), 1.0, deviation)[0] >= density_floor(quantity) - 1e-12


def test_a_reading_costs_more_the_further_it_is_off_until_it_is_a_slip() -> None:
    volts = np.array([0.0, 0.05, 0.2, 1.0, 5.0, 500.0])
    found = cost(Quantity.VOLTS, volts, 0.0, 0.02)
    assert np.all(np.diff(found) < 0)
    assert found[-1] == pytest.approx(density_floor(Quantity.VOLTS), abs=1e-3)
    # One absurd reading moves odds by a bounded amount: some 9 nats here, not thousands.
    assert found[0] - found[-1] < 12.0


def test_open_circuit_is_expected_above_what_the_meter_can_show() -> None:
    over, number = np.array([np.inf]), np.array([np.log(1e5)])
    for quantity in (Quantity.SENSOR_OHM, Quantity.HARNESS_OHM):
        assert cost(quantity, over, np.inf, 0.05)[0] > np.log(0.9)
        assert cost(quantity, over, float(np.log(100 * OPEN_OHM)), 0.05)[0] > np.log(0.9)
        assert cost(quantity, over, float(np.log(2200.0)), 0.05)[0] < np.log(0.001)
        assert cost(quantity, over, float(np.log(OPEN_OHM)), 0.05)[0] == pytest.approx(
            np.log(0.5), abs=0.01
        )
        # Open, yet 100 kohm were read: only as a slip.
        assert cost(quantity, number, np.inf, 0.05)[0] < density_floor(quantity) + 0.01


def test_resistances_are_compared_by_their_logarithm_with_the_leads() -> None:
    readings = sheet(
        2,
        (UNPLUGGED,),
        (Quantity.SENSOR_OHM, 0, 0, 2200.0, 22.0),
        (Quantity.SENSOR_OHM, 0, 0, np.inf, 1.0),
        (Quantity.HERTZ, 0, 0, 100.0, 1.0),
        (Quantity.VOLTS, 0, 0, 5.0, 0.02),
    )
    value, deviation = noted(readings)
    assert value == pytest.approx([np.log(2200.0 + LEAD_OHM), np.inf, np.log(100.0), 5.0])
    # d log R = dR / R: one in a hundred.
    assert deviation == pytest.approx([0.0101, 1.0, 0.01, 0.02], rel=0.01)
    assert set(LOGARITHMIC) == {Quantity.HERTZ, Quantity.SENSOR_OHM, Quantity.HARNESS_OHM}


# Through circuits ------------------------------------------------------------------------------
DC: tuple[Reading, ...] = (
    (Quantity.VOLTS, 0, 0, 5.0, 0.01),
    (Quantity.VOLTS_LOADED, 0, 0, 2.0, 0.01),
    (Quantity.BATTERY, 0, -1, 12.5, 0.01),
    (Quantity.LEAD_CHECK, 0, -1, 12.5, 0.01),
    (Quantity.VOLTS, 1, 0, 2.0, 0.01),
)
NOT_DC: tuple[Reading, ...] = (
    (Quantity.VOLTS_AC, 0, 0, 0.1, 0.01),
    (Quantity.SENSOR_OHM, 0, 0, 2000.0, 10.0),
    (Quantity.HARNESS_OHM, 0, 1, 1.0, 0.3),
    (Quantity.AMBIENT, 0, -1, 20.0, 2.0),
)


def indicated(readings: Sheet, z: Array, assigned: IntArray) -> Indicated:
    table = healthy("thermistor-two-wire", 2).table.rows(np.zeros(len(z), dtype=np.int64))
    found = predict(table, z, readings, ohm_rounds=readings.ohm_rounds)
    return indicate(table, readings, found, pick=assigned)


def metered() -> Sheet:
    plain = sheet(2, (UNPLUGGED, KEY_ON), *DC, *NOT_DC)
    number = np.array([2, 1, 2, 2, 1, 0, 0, 0, 0])
    return replace(plain, meter_share=0.003, range_number=number, range_volt=np.full(9, 0.01))


def test_the_meters_gain_moves_all_dc_readings_together() -> None:
    readings = metered()
    layout = layout_of(healthy("thermistor-two-wire", 2).table, readings)
    z = np.zeros((2, layout.size))
    z[1, layout.meter] = 2.0
    sound, moved = indicated(readings, z, identity(2, 2)).mean[:, :, 0]
    n = len(DC)
    # Two standard deviations of 0.3 %: 0.6 % more on every DC reading, nothing on the others.
    assert moved[:n] / sound[:n] == pytest.approx(np.full(n, 1.006))
    assert moved[n:].tolist() == sound[n:].tolist()


def test_a_ranges_offset_moves_the_readings_of_that_range() -> None:
    readings = metered()
    layout = layout_of(healthy("thermistor-two-wire", 2).table, readings)
    z = np.zeros((2, layout.size))
    z[1, layout.meter + 1 + 2] = 1.0  # the range of tens of volts
    sound, moved = indicated(readings, z, identity(2, 2)).mean[:, :, 0]
    assert moved - sound == pytest.approx([0.01, 0.0, 0.01, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0])


def test_a_cavity_that_nothing_uses_reads_nothing() -> None:
    table = healthy("thermistor-two-wire", 3).table
    rows: list[Reading] = [(Quantity.VOLTS, 0, 2, 0.0, 0.01), (Quantity.SENSOR_OHM, 0, 1, 1.0, 1.0)]
    readings = sheet(3, (UNPLUGGED,), *rows)
    z = np.zeros((1, layout_of(table, readings).size))
    found = predict(table, z, readings, ohm_rounds=readings.ohm_rounds)
    shown = indicate(table, readings, found, pick=identity(1, 3))
    assert abs(shown.mean[0, 0, 0]) < 0.02
    assert shown.mean[0, 1, 0] == np.inf  # the ohmmeter shows OL


def test_tables_of_assignments_hold_the_same_sum_as_the_assigned_wires() -> None:
    # Whatever the assignment: its cells of the unary and pair tables and the common factor add up
    # to the readings' likelihood with those wires.
    whole = hypotheses("thermistor-two-wire", 2).table
    table = whole.rows(np.arange(0, whole.n_wire.size, 3))
    rows: list[Reading] = [
        *DC,
        *NOT_DC,
        (Quantity.VOLTS, 2, 1, 0.02, 0.01),
        (Quantity.HERTZ, 2, 0, np.inf, 1.0),
    ]
    readings = sheet(2, (UNPLUGGED, KEY_ON, IDLE), *rows)
    n_row = table.n_wire.size
    z = draws(n_row, layout_of(table, readings).size, 4)
    found = predict(table, z, readings, ohm_rounds=readings.ohm_rounds)
    unary, common = assignment_tables(
        table, readings, log_likelihood(readings, indicate(table, readings, found))
    )
    pairs = pair_tables(table, readings, found)
    for wires in ((0, 1), (1, 0)):
        assigned = np.tile(wires, (n_row, 1))
        shown = indicate(table, readings, found, pick=assigned)
        direct = log_likelihood(readings, shown)[:, :, 0].sum(axis=1)
        total = common + unary[:, 0, wires[0]] + unary[:, 1, wires[1]]
        total = total + sum(f[:, wires[a], wires[b]] for a, b, f in pairs)
        assert total == pytest.approx(direct, rel=1e-9)


def test_a_reading_that_no_circuit_speaks_of_weighs_nothing() -> None:
    # The temperature of a sensing element says nothing of circuits without one.
    table = hypotheses("hall-5v", 3).table
    readings = sheet(3, (KEY_ON,), (Quantity.AMBIENT, 0, -1, 21.0, 2.0))
    z = draws(table.n_wire.size, layout_of(table, readings).size, 2)
    shown = indicate(table, readings, predict(table, z, readings))
    _, common = assignment_tables(table, readings, log_likelihood(readings, shown))
    assert np.ptp(common) == pytest.approx(0.0, abs=1e-12)


# What the control unit reports -----------------------------------------------------------------
def reported_volts(family: str, scan: str, z: float = 0.0) -> Array:
    """Volts that a family's hypotheses have the control unit report, key on; NaN where none."""
    table = hypotheses(family, 3).table
    plain = sheet(3, (KEY_ON,), (Quantity.INPUT_VOLTS, 0, -1, 4.0, 0.02))
    readings = replace(plain, reported=np.array([SCAN_NAMES.index(scan)]))
    at = np.full((table.n_wire.size, layout_of(table, readings).size), z)
    return np.asarray(indicate(table, readings, predict(table, at, readings)).mean[:, 0, 0])


def test_a_value_speaks_only_of_circuits_that_it_comes_from() -> None:
    assert not np.isnan(reported_volts("potentiometer-three-wire", "throttle position")).any()
    assert np.isnan(reported_volts("potentiometer-three-wire", "manifold pressure")).all()
    assert np.isnan(reported_volts("hall-5v", "engine speed")).all()


def test_no_more_is_reported_than_the_converters_reference() -> None:
    # Common practice, no source: an input at battery voltage is reported as 5 V.
    pairs = hypotheses("potentiometer-three-wire", 3).pairs
    shorted = [fault.name == "short-to-battery:signal-analogue" for _, fault in pairs]
    shown = reported_volts("potentiometer-three-wire", "throttle position")
    assert shown[np.array(shorted)] == pytest.approx([5.0])
    assert shown.max() <= 5.0
    assert shown.min() >= 0.0
