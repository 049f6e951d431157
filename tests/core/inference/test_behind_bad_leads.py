"""What a meter and a loading resistor show behind a bad black lead: circuits worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.sheet import Quantity
from tests.core.inference.small_sheets import (
    KEY_ON,
    UNPLUGGED,
    Reading,
    healthy,
    identity,
    sheet,
)
from tests.core.inference.test_predict import told


def test_black_lead_offset_is_taken_from_every_voltage_of_its_round() -> None:
    found = healthy("thermistor-two-wire", 2)
    rows: list[Reading] = [(Quantity.VOLTS, r, t, 1.0, 0.01) for r in (0, 1) for t in (0, 1)]
    readings = sheet(2, (UNPLUGGED, KEY_ON), *rows)
    layout = layout_of(found.table, readings)
    z = np.zeros((1, layout.size))
    bad = np.array([[LeadKind.SOUND, LeadKind.WANDERING]], dtype=np.int64)
    sound = told(found.table, readings, z, identity(1, 2), bad)[1].mean[0, :, 0]
    z[0, layout.lead(1)[0]] = 0.5
    p, shown = told(found.table, readings, z, identity(1, 2), bad)
    moved = shown.mean[0, :, 0] - sound
    point, offset = p.lead_ohm.value[0, 1, 0], p.lead_offset.value[0, 1, 0]
    assert offset > 0.4
    left = offset * 1e7 / (1e7 + point + p.thevenin.value[0, 1])
    assert moved == pytest.approx([0.0, 0.0, *-left], abs=1e-12)


@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(100.0, 1e5), st.booleans())
def test_a_loading_resistor_is_behind_a_bad_point_or_beside_a_bad_clip(
    lift: float, resistance: float, load: float, clip: bool
) -> None:
    # Kirchhoff's current law at the wire, by hand; which of both it is, is what the reading fits.
    found = healthy("thermistor-two-wire", 2)
    rows: list[Reading] = [
        (Quantity.VOLTS, 0, 0, 1.0, 0.01),
        (Quantity.VOLTS_LOADED, 0, 0, 1, 0.01),
    ]
    readings = replace(sheet(2, (UNPLUGGED,), *rows), load_ohm=np.full(2, load))
    layout = layout_of(found.table, readings)
    z = np.zeros((1, layout.size))
    z[0, list(layout.lead(0))] = lift, resistance
    for kind in (LeadKind.STEADY, LeadKind.WANDERING):
        bad = np.array([[kind]], dtype=np.int64)
        p = told(found.table, readings, z, identity(1, 2), bad)[0]
        source, volt = p.thevenin.value[0, 0, 0], p.mean.value[0, 0, 0]
        point, lifted = p.lead_ohm.value[0, 0, 0], p.lead_offset.value[0, 0, 0]
        meter = readings.input_ohm
        loaded = (volt - lifted) * load / (source + point + load)
        if clip:
            to_meter = 1.0 / (meter + point)
            total = 1.0 / source + 1.0 / load + to_meter
            wire = (volt / source + lifted * to_meter) / total
            loaded = (wire - lifted) * meter * to_meter
        by_hand = [(volt - lifted) * meter / (source + point + meter), loaded]
        taken = replace(readings, value=np.array([1.0, loaded]))
        shown = told(found.table, taken, z, identity(1, 2), bad)[1]
        assert shown.mean[0, :, 0] == pytest.approx(by_hand, rel=1e-9, abs=1e-12)


def test_a_clip_that_hangs_free_leaves_nothing_of_a_loaded_reading() -> None:
    # Common practice, no source: through a lead without contact a test lamp stays dark, while the
    # meter alone still shows volts.
    found = healthy("hall-battery", 3)
    rows: list[Reading] = [(Quantity.VOLTS, 0, 0, 9, 0.01), (Quantity.VOLTS_LOADED, 0, 0, 1, 0.01)]
    readings = replace(sheet(3, (UNPLUGGED,), *rows), load_ohm=np.full(2, 1000.0))
    layout = layout_of(found.table, readings)
    z = np.zeros((1, layout.size))
    z[0, layout.lead(0)[1]] = 0.5  # some hundred kilohms
    bad = np.array([[LeadKind.WANDERING]], dtype=np.int64)
    alone, loaded = told(found.table, readings, z, identity(1, 3), bad)[1].mean[0, :, 0]
    assert alone > 10.0
    assert abs(loaded) < 0.1


def test_an_unused_cavity_shows_anything_between_nothing_and_a_lifted_ground() -> None:
    found = healthy("thermistor-two-wire", 3)
    readings = sheet(3, (UNPLUGGED,), (Quantity.VOLTS, 0, 2, -0.46, 0.01))
    layout = layout_of(found.table, readings)
    z = np.zeros((1, layout.size))
    z[0, layout.lead(0)[0]] = 1.0
    bad = np.array([[LeadKind.STEADY]], dtype=np.int64)

    def deviations(value: float, kind: LeadKind) -> float:
        read = replace(readings, value=np.array([value]))
        shown = told(found.table, read, z, identity(1, 3), np.array([[kind]], dtype=np.int64))[1]
        return float(abs(value - shown.mean[0, 0, 0]) / shown.deviation[0, 0, 0])

    lift = float(told(found.table, readings, z, identity(1, 3), bad)[0].lead_offset.value[0, 0, 0])
    assert lift > 0.3
    for share in (0.01, 0.5, 0.98):
        assert deviations(-share * lift, LeadKind.STEADY) < 0.5
    assert deviations(3.0 * lift, LeadKind.STEADY) > 3.0
    assert deviations(-0.5 * lift, LeadKind.SOUND) > 5.0
