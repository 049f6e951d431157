"""A fault that is there in wiggled rounds only: elsewhere the circuit is the sound one."""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.inference.choices import HELD, track_of
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.predict import predict
from backprobe.core.inference.round_values import plan_rounds, round_values
from backprobe.core.inference.sheet import Quantity, Sheet, SheetRound
from backprobe.families.faults import ABSENT_SEVERITY
from backprobe.vocabulary import NO_FAULT
from tests.core.inference.small_sheets import KEY_ON, UNPLUGGED, draws, hypotheses, identity, sheet
from tests.core.inference.test_predict import check_slopes, everything, far_from_choices, told

WIGGLED = replace(KEY_ON, name="W", wiggled=True)
KEPT = replace(WIGGLED, keeps=True)
FAMILIES = [("thermistor-two-wire", 2), ("potentiometer-three-wire", 3), ("hall-5v", 3)]


def whole(n: int, *, comes_and_goes: bool = True, wiggled: SheetRound = WIGGLED) -> Sheet:
    rounds = (UNPLUGGED, KEY_ON, wiggled)
    return replace(everything(n, rounds), comes_and_goes=comes_and_goes)


@pytest.mark.parametrize(("family", "n"), FAMILIES)
def test_where_it_isnt_there_the_circuit_is_the_sound_one(family: str, n: int) -> None:
    found = hypotheses(family, n)
    kinds = [fault.kind for _, fault in found.pairs]
    rows = np.array([h for h, kind in enumerate(kinds) if kind in ("open", "resistance")])
    # Where nothing but the severity is added, values by name are the sound circuit's own.
    names = [set(found.free_name[h]) - {found.severity_name} for h in rows]
    sound = found.sound(int(rows[0]))
    same = [h for h, own in zip(rows, names, strict=True) if own == set(found.free_name[sound])]
    assert same
    readings = whole(n)
    resting = (readings.round != 2) & (readings.quantity == int(Quantity.VOLTS))
    layout = layout_of(found.table, readings)
    for h in same:
        z = draws(6, layout.size, seed=int(h), size=0.5)
        of_sound = z.copy()
        for f, name in enumerate(found.free_name[sound]):
            if name >= 0:
                (at,) = np.flatnonzero(found.free_name[h] == name)
                of_sound[:, f] = z[:, at]
        wires = identity(6, n)
        with_fault = told(found.table.rows(np.full(6, h)), readings, z, wires)[1].mean[:, :, 0]
        without = told(found.table.rows(np.full(6, sound)), readings, of_sound, wires)[1]
        apart = np.abs(with_fault - without.mean[:, :, 0])
        # The sound wire's own milliohms beside those that are left, at a milliampere.
        assert np.nanmax(apart[:, resting]) < 1e-4


@pytest.mark.parametrize("wiggled", [WIGGLED, KEPT], ids=["read", "kept"])
@pytest.mark.parametrize(("family", "n"), FAMILIES)
def test_slopes_are_the_limits_of_differences(family: str, n: int, wiggled: SheetRound) -> None:
    found = hypotheses(family, n)
    kinds = [fault.kind for _, fault in found.pairs]
    rows = np.array([h for h, kind in enumerate(kinds) if kind in ABSENT_SEVERITY])
    table, readings = found.table.rows(rows), whole(n, wiggled=wiggled)
    layout = layout_of(table, readings)
    z = far_from_choices(table, layout, draws(rows.size, layout.size, 4, 0.7))
    expected = check_slopes(
        table, readings, z, identity(rows.size, n), np.zeros((rows.size, 3), dtype=np.int64)
    )
    # By its severity, no reading of a resting round changes, and some of a wiggled one do.
    own = expected[np.arange(rows.size), :, table.severity_at]
    resting = readings.round != 2
    assert np.nanmax(np.abs(own[:, resting])) == 0.0
    assert np.nanmax(np.abs(own[:, ~resting]), axis=1).min() > 0.0


def test_its_severity_is_told_by_wiggled_rounds_alone() -> None:
    table, readings = hypotheses("thermistor-two-wire", 2).table, whole(2)
    layout = layout_of(table, readings)
    plan = plan_rounds(table, layout, readings)
    values = round_values(plan, draws(table.n_wire.size, layout.size, seed=5))
    for h in np.flatnonzero(~np.isnan(table.absent)):
        slot, at = table.free_slot[h, table.severity_at[h]], table.severity_at[h]
        assert np.all(values.value[h, :2, :, slot] == table.absent[h])
        assert np.all(values.value[h, 2, :, slot] != table.absent[h])
        assert values.static_slope[h, :2, 0, at].tolist() == [0.0, 0.0]
        assert values.static_slope[h, 2, 0, at] != 0.0


@pytest.mark.parametrize(("family", "n"), FAMILIES)
def test_what_the_meter_keeps_is_the_lower_and_the_higher_of_both(family: str, n: int) -> None:
    found = hypotheses(family, n)
    rows = np.flatnonzero(~np.isnan(found.table.absent))
    table = found.table.rows(rows)
    kept, apart = whole(n, wiggled=KEPT), whole(n)
    layout, plain = layout_of(table, kept), layout_of(table, apart)
    assert (layout.n_end, plain.n_end) == (2, 1)
    # The same coordinates in both layouts, as nothing else has a second end; nothing wanders.
    z = np.zeros((rows.size, layout.size))
    z[:, : layout.n_free] = draws(rows.size, layout.n_free, seed=9, size=0.5)
    at_once = predict(table, z, kept, assigned=identity(rows.size, n))
    by_itself = predict(table, z[:, : plain.size], apart, assigned=identity(rows.size, n))
    low, high = by_itself.low.value[:, 1:], by_itself.high.value[:, 1:]
    low, high = low.min(axis=1), high.max(axis=1)
    assert at_once.low.value[:, 2] == pytest.approx(low, abs=1e-9)
    assert at_once.high.value[:, 2] == pytest.approx(high, abs=1e-9)
    assert np.max(high - low) > 1.0


def test_a_fault_that_stays_is_there_in_all_rounds() -> None:
    table, readings = hypotheses("thermistor-two-wire", 2).table, whole(2, comes_and_goes=False)
    layout = layout_of(table, readings)
    values = round_values(
        plan_rounds(table, layout, readings), draws(table.n_wire.size, layout.size, seed=5)
    )
    for h in np.flatnonzero(table.severity_at >= 0):
        own = values.value[h, :, 0, table.free_slot[h, table.severity_at[h]]]
        assert np.all(own == own[0])


def test_every_kind_that_comes_and_goes_has_a_severity() -> None:
    for family, n in FAMILIES:
        found = hypotheses(family, n)
        for h, (_, fault) in enumerate(found.pairs):
            may = fault.kind in ABSENT_SEVERITY
            assert may == bool(np.isfinite(found.table.absent[h]))
            assert not may or found.table.severity_at[h] >= 0
            assert fault.kind != NO_FAULT or found.table.severity_at[h] == -1


def test_with_the_engine_standing_wiggling_moves_nothing_but_the_battery() -> None:
    table, readings = hypotheses("thermistor-two-wire", 2).table, whole(2)
    sound = table.rows(np.zeros(1, dtype=np.int64))
    layout = layout_of(sound, readings)
    values = round_values(
        plan_rounds(sound, layout, readings), draws(1, layout.size, seed=6)
    ).value[0, :, 0]
    slots = sound.driven_slot[0]
    battery, *others = slots[slots >= 0]
    assert np.all(values[1, others] == values[2, others])
    assert values[1, battery] != values[2, battery]
    assert np.any(values[0, others] != values[1, others])


def test_a_tooth_moves_seldom_while_a_wire_is_wiggled() -> None:
    table, readings = hypotheses("hall-5v", 3).table, sheet(3, (KEY_ON, WIGGLED))
    track = track_of(table, layout_of(table, readings))
    assert track.moves[:, 1] == pytest.approx(HELD * track.moves[:, 0])
