"""Predictions: slopes against differences, one by one against batches, dividers by Ohm's law."""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.combine import LEAST_AC
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.likelihood import LEAD_OHM, OPEN_OHM, Indicated, indicate
from backprobe.core.inference.limits import limit_side
from backprobe.core.inference.predict import Bools, Prediction, predict
from backprobe.core.inference.round_values import plan_rounds
from backprobe.core.inference.sheet import Array, IntArray, Quantity, Sheet, SheetRound
from backprobe.families.circuit import compile_family
from backprobe.families.hypotheses import Hypotheses, prior_slots
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

LEAST_OHM = 0.01  # of a wire with its contact
STEP = 1e-4
SNAP = SheetRound("D", plugged=True, powered=True, state=4, state_high=5)
ROUNDS = (UNPLUGGED, KEY_ON, IDLE, SNAP)
AT_TERMINAL = (
    (Quantity.VOLTS, 2.0),
    (Quantity.VOLTS_HIGH, 4.0),
    (Quantity.VOLTS_LOW, 1.0),
    (Quantity.LEVEL_HIGH, 4.5),
    (Quantity.LEVEL_LOW, 0.5),
    (Quantity.VOLTS_AC, 0.5),
    (Quantity.HERTZ, 100.0),
    (Quantity.DUTY, 0.5),
    (Quantity.VOLTS_LOADED, 2.0),
    (Quantity.HARNESS_OHM, 1000.0),
)


def everything(n: int, rounds: tuple[SheetRound, ...] = ROUNDS) -> Sheet:
    """Every quantity at every terminal in every round."""
    rows: list[Reading] = [
        (q, r, t, value, 0.01)
        for r in range(len(rounds))
        for q, value in AT_TERMINAL
        for t in range(n)
    ]
    for r in range(len(rounds)):
        rows += [(Quantity.BATTERY, r, -1, 12.5, 0.01), (Quantity.LEAD_CHECK, r, -1, 12.5, 0.01)]
        rows += [(Quantity.AMBIENT, r, -1, 20.0, 2.0)]
    rows += [(Quantity.SENSOR_OHM, 0, t, 1000.0, 10.0) for t in range(n - 1)]
    plain = sheet(n, rounds, *rows)
    n_read = plain.n_read
    return replace(
        plain,
        meter_share=0.003,
        range_number=np.arange(n_read) % 3,
        range_volt=np.full(n_read, 0.002),
    )


def told(
    table: HypothesisTable,
    readings: Sheet,
    z: Array,
    assigned: IntArray,
    lead_kind: IntArray | None = None,
    *,
    slopes: bool = False,
) -> tuple[Prediction, Indicated]:
    prediction = predict(
        table,
        z,
        readings,
        assigned=assigned,
        sensitivities=slopes,
        ohm_rounds=readings.ohm_rounds,
        lead_kind=lead_kind,
    )
    return prediction, indicate(table, readings, prediction, pick=assigned)


def differences(
    table: HypothesisTable, readings: Sheet, z: Array, assigned: IntArray, lead_kind: IntArray
) -> tuple[Array, Bools]:
    """Central differences of every indication by every coordinate, and where there is no kink."""
    n_row, n_z = z.shape
    steps = np.concatenate([np.eye(n_z), -np.eye(n_z), np.zeros((1, n_z))]) * STEP
    moved = (z[:, None] + steps).reshape(-1, n_z)
    row = np.repeat(np.arange(n_row), len(steps))
    shown = told(table.rows(row), readings, moved, assigned[row], lead_kind[row])[1]
    mean = shown.mean[:, :, 0].reshape(n_row, len(steps), readings.n_read)
    high, low, zero = mean[:, :n_z], mean[:, n_z : 2 * n_z], mean[:, 2 * n_z :]
    by = np.swapaxes((high - low) / (2 * STEP), 1, 2)
    # At a kink (a limit, a threshold) the two one-sided differences disagree.
    bend = np.swapaxes(np.abs(high - 2 * zero + low) / STEP, 1, 2)
    smooth = bend < 0.02 * (1.0 + np.abs(by))
    # An ohmmeter shows OL above `OPEN_OHM`; near it a difference of resistances is mostly rounding
    # (a gigohm beside milliohms: 1e-5 of it, and that over STEP).
    ohms = np.isin(readings.quantity, (int(Quantity.SENSOR_OHM), int(Quantity.HARNESS_OHM)))
    open_ = ohms & (np.nan_to_num(zero[:, 0], nan=0.0) > np.log(0.3 * OPEN_OHM))
    return by, smooth & np.isfinite(by) & ~open_[:, :, None]


def rounding(readings: Sheet, prediction: Prediction, shown: Indicated) -> Array:
    """What rounding may do to a central difference, (M, n_read).

    Behind megohms a voltage is the small difference that large conductances leave: the solution
    errs by the rounding of one number times the ratio of the two resistances.
    """
    mean = np.nan_to_num(shown.mean[:, :, 0], posinf=0.0)
    behind = prediction.thevenin.value[:, readings.round, np.maximum(readings.terminal, 0)]
    ohms = np.isin(readings.quantity, (int(Quantity.SENSOR_OHM), int(Quantity.HARNESS_OHM)))
    behind = np.where(ohms, np.exp(np.where(ohms, mean, 0.0)), behind)
    behind = np.where(readings.terminal >= 0, behind, 0.0)
    return np.asarray(
        np.finfo(float).eps * behind / LEAST_OHM * np.maximum(np.abs(mean), 1.0) / STEP
    )


def far_from_choices(table: HypothesisTable, layout: Layout, z: Array) -> Array:
    """Coordinates off the edges of choices, where a small step changes the option."""
    moved = z.copy()
    near = np.abs(z[:, : layout.n_free, None] - table.static.edge) < 2 * STEP
    moved[:, : layout.n_free][near.any(axis=2)] += 0.01
    return moved


FAMILIES = (
    ("thermistor-two-wire", 2, 3),
    ("hall-5v", 3, 3),
    ("air-mass-voltage-thermistor-5v", 4, 2),
    ("pick-up-biased", 2, 3),
)


def check_slopes(
    table: HypothesisTable, readings: Sheet, z: Array, assigned: IntArray, lead_kind: IntArray
) -> Array:
    """Hold every slope to its central difference; give what was expected."""
    layout = layout_of(table, readings)
    prediction, shown = told(table, readings, z, assigned, lead_kind, slopes=True)
    assert shown.by is not None
    expected, smooth = differences(table, readings, z, assigned, lead_kind)
    # A central difference errs by the third derivative times STEP squared over six, and by rounding
    # of a volt over STEP; 1e-4 of the slope bounds both where the map is smooth.
    bound = 1e-4 * (1.0 + np.abs(expected)) + rounding(readings, prediction, shown)[:, :, None]
    wrong = np.abs(shown.by - expected) > bound
    # At a limit of its value a coordinate has the slope towards the inside only.
    inside = limit_side(plan_rounds(table, layout, readings), z) == 0
    # Below `LEAST_AC` slopes of alternating volts are bounded, as the file says.
    silent = np.abs(np.nan_to_num(shown.mean[:, :, 0])) < LEAST_AC
    silent &= readings.quantity == int(Quantity.VOLTS_AC)
    blamed = np.argwhere(wrong & smooth & inside[:, None] & ~silent[:, :, None])
    assert not blamed.size, [(int(m), readings.label[i], int(k)) for m, i, k in blamed[:5]]
    assert smooth[np.isfinite(expected)].mean() > 0.95
    return expected


@pytest.mark.parametrize(("family", "n", "n_row"), FAMILIES)
@pytest.mark.parametrize("lead", LeadKind)
def test_slopes_of_every_indication_are_central_differences(
    family: str, n: int, n_row: int, lead: LeadKind
) -> None:
    whole = hypotheses(family, n).table
    # The sound circuit, and two faults from the middle of the list.
    table = whole.rows(np.linspace(0, whole.n_wire.size - 1, n_row).astype(np.int64))
    readings = everything(n)
    layout = layout_of(table, readings)
    z = far_from_choices(table, layout, draws(n_row, layout.size, 13, 0.7))
    assigned, lead_kind = identity(n_row, n), np.full((n_row, len(ROUNDS)), int(lead))
    expected = check_slopes(table, readings, z, assigned, lead_kind)
    shown = told(table, readings, z, assigned, lead_kind)[1]
    for quantity in {int(q) for q in readings.quantity}:
        mine = readings.quantity == quantity
        some = np.isfinite(shown.mean[:, mine, 0]).any()
        if some and quantity not in (Quantity.HERTZ, Quantity.DUTY, Quantity.AMBIENT):
            assert np.nanmax(np.abs(expected[:, mine])) > 0.0


@pytest.mark.parametrize("lead", LeadKind)
@pytest.mark.parametrize(("family", "n"), [("knock-two-wire", 2), ("pick-up-biased", 2)])
def test_slopes_of_what_a_weak_wire_picks_up_are_central_differences(
    family: str, n: int, lead: LeadKind
) -> None:
    table = hypotheses(family, n).table.rows(np.zeros(2, dtype=np.int64))
    rows: list[Reading] = [
        (q, r, t, 0.4, 0.001)
        for q in (Quantity.VOLTS, Quantity.VOLTS_LOADED)
        for r in (0, 1)
        for t in range(n)
    ]
    rows += [
        (q, r, -1, 12.0, 0.01) for q in (Quantity.BATTERY, Quantity.LEAD_CHECK) for r in (0, 1)
    ]
    readings = sheet(n, (UNPLUGGED, KEY_ON), *rows)
    layout = layout_of(table, readings)
    z, assigned = far_from_choices(table, layout, draws(2, layout.size, 5, 0.5)), identity(2, n)
    kind = np.full((2, 2), int(lead))
    shown = told(table, readings, z, assigned, kind, slopes=True)[1]
    assert shown.deviation_by is not None
    steps = np.concatenate([np.eye(layout.size), -np.eye(layout.size)]) * STEP
    row = np.repeat(np.arange(2), len(steps))
    moved = (z[:, None] + steps).reshape(-1, layout.size)
    there = told(table.rows(row), readings, moved, assigned[row], kind[row])[1]
    high, low = np.split(there.deviation[:, :, 0].reshape(2, len(steps), -1), 2, axis=1)
    expected = np.swapaxes((high - low) / (2 * STEP), 1, 2)
    # Without a resistor; with one, its tolerance moves the deviation too, which no slope follows.
    plain = np.isin(readings.quantity, [int(Quantity.VOLTS), int(Quantity.LEAD_CHECK)])
    assert np.abs(expected[:, plain]).max() > 1e-3
    # The error of a central difference, as above.
    assert shown.deviation_by[:, plain] == pytest.approx(expected[:, plain], rel=1e-3, abs=1e-6)


def test_hall_sensor_counts_and_its_duty_moves() -> None:
    table = healthy("hall-5v", 3).table
    readings = everything(3)
    z = np.zeros((1, layout_of(table, readings).size))
    _, shown = told(table, readings, z, identity(1, 3), slopes=True)
    assert shown.by is not None
    for quantity in (Quantity.HERTZ, Quantity.DUTY):
        i = readings.label.index(f"C {quantity.name} 1")
        assert np.isfinite(shown.mean[0, i, 0])
        assert np.abs(shown.by[0, i]).max() > 0.01


def test_fields_have_central_differences_at_every_wire() -> None:
    table = healthy("air-mass-voltage-thermistor-5v", 4).table
    readings = sheet(4, (UNPLUGGED, KEY_ON, SNAP))
    layout = layout_of(table, readings)
    z = draws(1, layout.size, 5, 0.5)
    exact = predict(table, z, readings, sensitivities=True)
    steps = STEP * np.eye(layout.size)
    rows = table.rows(np.zeros(layout.size, dtype=np.int64))
    above, below = predict(rows, z + steps, readings), predict(rows, z - steps, readings)
    for name in ("mean", "thevenin", "unit", "alternating", "high", "low"):
        high, low = getattr(above, name).value, getattr(below, name).value
        expected = np.moveaxis((high - low) / (2 * STEP), 0, -1)
        tolerance = 1e-4 * (1 + np.abs(high).max())
        assert getattr(exact, name).by[0] == pytest.approx(expected, rel=1e-4, abs=tolerance), name


# Batches ---------------------------------------------------------------------------------------
@pytest.mark.parametrize(("family", "n"), [("hall-5v", 3), ("thermistor-two-pull-ups", 2)])
def test_batch_equals_one_by_one(family: str, n: int) -> None:
    whole = hypotheses(family, n).table
    table = whole.rows(np.arange(0, whole.n_wire.size, 4))
    n_row, readings = table.n_wire.size, everything(n)
    z = draws(n_row, layout_of(table, readings).size, 3)
    assigned = identity(n_row, n)
    together = told(table, readings, z, assigned)[1]
    for m in range(n_row):
        one = np.array([m])
        alone = told(table.rows(one), readings, z[one], assigned[one])[1]
        # Both solve the same matrices; LAPACK may round differently by the batch.
        assert alone.mean[0] == pytest.approx(together.mean[m], rel=1e-9, abs=1e-9, nan_ok=True)
        assert alone.deviation[0] == pytest.approx(together.deviation[m], rel=1e-9, abs=1e-9)


def test_repeated_circuits_say_the_same_as_rows_of_their_own() -> None:
    whole = hypotheses("hall-5v", 3).table
    index = np.array([0, 5])
    shared, own = whole.repeated(index, 3), whole.rows(np.repeat(index, 3))
    readings = sheet(3, ROUNDS)
    z = draws(6, layout_of(own, readings).size, 8)
    for name in ("mean", "high", "low", "thevenin", "unit", "share_high", "log_hertz"):
        one = getattr(predict(shared, z, readings), name).value
        other = getattr(predict(own, z, readings), name).value
        assert one == pytest.approx(other, rel=1e-9, abs=1e-9, nan_ok=True)


# Circuits worked by hand -----------------------------------------------------------------------
def value_of(found: Hypotheses, prediction: Prediction, name: str, r: int) -> float:
    """A circuit value in a round, by its name."""
    return float(prediction.values[0, r, prior_slots(compile_family(*found.pairs[0]))[name]])


def test_fitted_resistor_makes_the_divider_of_ohms_law() -> None:
    found = healthy("thermistor-two-wire", 2)
    ohm = 2200.0
    rounds = (UNPLUGGED, replace(UNPLUGGED, name="B", fitted=((0, 1, ohm),)))
    readings = sheet(2, rounds)
    z = np.zeros((1, layout_of(found.table, readings).size))
    prediction = predict(found.table, z, readings, assigned=identity(1, 2))
    pull_up = value_of(found, prediction, "pull-up", 1)
    supply = prediction.mean.value[0, 0, 0]
    ground = prediction.mean.value[0, 0, 1]
    expected = ground + (supply - ground) * ohm / (ohm + pull_up)
    # Harness, rail and regulator add less than 0.5 ohm to some kilo-ohms: below 2 mV of 5 V.
    assert prediction.mean.value[0, 1, 0] == pytest.approx(expected, abs=0.002)


def test_fitted_resistor_to_battery_negative_loads_the_pull_up() -> None:
    found = healthy("thermistor-two-wire", 2)
    rounds = (UNPLUGGED, replace(UNPLUGGED, name="B", fitted=((1, -1, 1000.0),)))
    readings = sheet(2, rounds)
    z = np.zeros((1, layout_of(found.table, readings).size))
    # Terminal 2 holds the signal here: the resistor goes where the wire is, not where it was drawn.
    swapped = np.array([[1, 0]])
    prediction = predict(found.table, z, readings, assigned=swapped)
    pull_up = value_of(found, prediction, "pull-up", 1)
    supply = prediction.mean.value[0, 0, 0]
    assert prediction.mean.value[0, 1, 0] == pytest.approx(
        supply * 1000.0 / (1000.0 + pull_up), abs=0.005
    )


def test_thermistor_plugged_in_divides_the_pull_ups_supply() -> None:
    # R = R25 exp(beta (1/T - 1/298.15)), a thermistor's usual two-parameter equation.
    found = healthy("thermistor-two-wire", 2)
    readings = sheet(2, (UNPLUGGED, KEY_ON), (Quantity.SENSOR_OHM, 0, 0, 1000.0, 10.0))
    z = np.zeros((1, layout_of(found.table, readings).size))
    prediction, shown = told(found.table, readings, z, identity(1, 2))
    r25 = value_of(found, prediction, "thermistor.ohm_25", 1)
    beta = value_of(found, prediction, "thermistor.beta_kelvin", 1)
    kelvin = 273.15 + value_of(found, prediction, "temperature", 1)
    ohm = r25 * np.exp(beta * (1.0 / kelvin - 1.0 / 298.15))
    pull_up = value_of(found, prediction, "pull-up", 1)
    open_volt, ground = prediction.mean.value[0, 0, 0], prediction.mean.value[0, 1, 1]
    expected = ground + (open_volt - ground) * ohm / (ohm + pull_up)
    # The open voltage already holds the 100 Mohm insulation; wires add below 1 ohm to kilo-ohms.
    assert prediction.mean.value[0, 1, 0] == pytest.approx(expected, abs=0.003)
    assert np.exp(shown.mean[0, 0, 0]) == pytest.approx(ohm + LEAD_OHM, rel=1e-3)


def test_meter_of_ten_megohm_lowers_a_high_ohm_wire() -> None:
    found = healthy("thermistor-two-wire", 2)
    readings = sheet(2, (UNPLUGGED,), (Quantity.VOLTS, 0, 0, 5.0, 0.01))
    z = np.zeros((1, layout_of(found.table, readings).size))
    prediction, shown = told(found.table, replace(readings, input_ohm=1e4), z, identity(1, 2))
    source = prediction.thevenin.value[0, 0, 0]
    expected = prediction.mean.value[0, 0, 0] * 1e4 / (1e4 + source)
    assert shown.mean[0, 0, 0] == pytest.approx(expected, rel=1e-12)


def test_mean_of_two_levels_is_weighed_by_the_time_at_each() -> None:
    # Common practice, no source: DC volts of a square wave = duty x high + (1 - duty) x low.
    found = healthy("hall-5v", 3)
    readings = sheet(3, (IDLE,))
    for seed in range(5):
        z = draws(1, layout_of(found.table, readings).size, seed, 0.4)
        p = predict(found.table, z, readings)
        low, high, duty = (f.value[0, 0, 1] for f in (p.low, p.high, p.share_high))
        assert p.mean.value[0, 0, 1] == pytest.approx(duty * high + (1 - duty) * low, abs=1e-9)
        # RMS of what alternates: swing x sqrt(duty (1 - duty)), by integrating the square wave.
        rms = (high - low) * np.sqrt(duty * (1 - duty))
        assert p.alternating.value[0, 0, 1] == pytest.approx(rms, abs=1e-9)
        assert duty == pytest.approx(1.0 - value_of(found, p, "low-share", 0), abs=1e-9)


# Coordinates -----------------------------------------------------------------------------------
def test_states_with_a_shared_coordinate_move_together() -> None:
    # `crank` of an exhaust sensor says nothing of its own and moves with key-on; idle is its own.
    found = healthy("platinum-two-wire", 2)
    crank = SheetRound("C", plugged=True, powered=True, state=1, state_high=1)
    readings = sheet(2, (KEY_ON, crank, IDLE))
    layout = layout_of(found.table, readings)
    names = sorted(compile_family(*found.pairs[0]).driven, key=lambda n: n != "battery-volts")
    q = names.index("temperature")
    assert found.table.driven_alias[0, 1, q] == 0
    base = predict(found.table, np.zeros((1, layout.size)), readings).celsius.value[0, :, 0]
    z = np.zeros((1, layout.size))
    z[0, layout.base(0).start + q] = 0.5
    moved = predict(found.table, z, readings).celsius.value[0, :, 0] - base
    assert moved[0] > 5.0
    assert moved[1] == pytest.approx(moved[0])
    assert moved[2] == 0.0


def test_change_of_a_round_moves_that_round_only() -> None:
    found = healthy("thermistor-two-wire", 2)
    readings = sheet(2, (KEY_ON, replace(KEY_ON, name="again")))
    layout = layout_of(found.table, readings)
    names = sorted(compile_family(*found.pairs[0]).driven, key=lambda n: n != "battery-volts")
    z = np.zeros((1, layout.size))
    base = predict(found.table, z, readings).celsius.value[0, :, 0]
    z[0, layout.change(1).start + names.index("temperature")] = 1.0
    moved = predict(found.table, z, readings).celsius.value[0, :, 0] - base
    # `drift = 11.0` of the family file: one standard deviation of change between rounds.
    assert moved.tolist() == pytest.approx([0.0, 11.0])


def test_a_return_reads_a_few_ohms_and_not_seventy() -> None:
    # Common practice, no source: from a sound return to battery negative an ohmmeter shows tenths
    # of an ohm to a few ohms, its leads and the joints on the way in it; tens of ohms are a fault.
    off = replace(UNPLUGGED, powered=False)
    readings = sheet(3, (off,), (Quantity.HARNESS_OHM, 0, 2, 1.0, 0.3))
    table = healthy("hall-5v", 3).table.rows(np.zeros(20, dtype=np.int64))
    z = draws(20, layout_of(table, readings).size, 4, 0.6)
    shown = told(table, readings, z, identity(20, 3))[1]
    mean, spread = shown.mean[:, 0, 0], shown.deviation[:, 0, 0]

    def apart(ohm: float) -> Array:
        return np.asarray(np.abs(np.log(ohm + LEAD_OHM) - mean) / spread)

    for usual in (0.3, 1.0, 3.0):
        assert np.all(apart(usual) < 1.8)
    assert np.all(apart(70.0) > 3.5)
