"""What a control unit makes of a thermistor's voltage: its own curve, whatever is in the way.

Expected temperatures come from the divider's law and the one-beta law worked by themselves.
"""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.core.circuit.plan import FIRST_SLOT
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.round_readings import COLDEST, HOTTEST, OPEN_SHARE
from backprobe.core.inference.sheet import Array, Quantity, Sheet
from backprobe.families.circuit import compile_family
from backprobe.vocabulary import SCAN_NAMES
from tests.core.inference.small_sheets import (
    IDLE,
    KEY_ON,
    UNPLUGGED,
    draws,
    hypotheses,
    identity,
    sheet,
)
from tests.core.inference.test_predict import check_slopes, far_from_choices, told

COOLANT = SCAN_NAMES.index("coolant temperature")
FAMILY = "thermistor-two-wire"


def reports(*rounds: int) -> Sheet:
    """The reported temperature and the volts at its input in some of three rounds."""
    rows = [
        (q, r, -1, 20.0 if q == Quantity.INPUT_CELSIUS else 2.0, 1.0)
        for q in (Quantity.INPUT_CELSIUS, Quantity.INPUT_VOLTS)
        for r in rounds
    ]
    plain = sheet(2, (UNPLUGGED, KEY_ON, IDLE), *rows)
    return replace(plain, reported=np.full(plain.n_read, COOLANT))


def of_kind(kind: str, wire: str = "signal", *, is_poor: bool = False) -> int:
    found = hypotheses(FAMILY, 2)
    return next(
        h
        for h, (_, fault) in enumerate(found.pairs)
        if (fault.kind, fault.is_poor) == (kind, is_poor) and fault.wire in ("", wire)
    )


def shown(h: int, seed: int = 3) -> tuple[Array, Array, Array]:
    """Reported temperature and input volts of 40 draws (plugged in), and the circuits' values."""
    found, readings = hypotheses(FAMILY, 2), reports(1)
    table = found.table.rows(np.full(40, h))
    z = draws(40, layout_of(table, readings).size, seed, 0.6)
    prediction, told_of = told(table, readings, z, identity(40, 2))
    mean = told_of.mean[:, :, 0]
    return mean[:, 0], mean[:, 1], prediction.values[:, 1]


def by_hand(volts: Array, pull_up: Array, ohm_25: Array, beta: Array) -> Array:
    ohm = pull_up * volts / (5.0 - volts)
    return np.asarray(1.0 / (np.log(ohm / ohm_25) / beta + 1.0 / 298.15) - 273.15)


@pytest.mark.parametrize(
    ("kind", "is_poor"),
    [
        ("none", False),
        ("sensor-open", True),
        ("resistance", False),
        ("short-to-ground", False),
        ("sensor-drift", False),
    ],
)
def test_it_is_what_its_own_input_says(kind: str, is_poor: bool) -> None:
    h = of_kind(kind, is_poor=is_poor)
    celsius, volts, values = shown(h)
    pull_up, ohm_25, beta = (values[:, s] for s in hypotheses(FAMILY, 2).table.curve_slot[h])
    expected = by_hand(volts, pull_up, ohm_25, beta).clip(COLDEST, HOTTEST)
    inside = (volts > 0.01) & (volts < 5.0 * OPEN_SHARE)
    assert inside.sum() > 10
    assert celsius[inside] == pytest.approx(expected[inside], abs=1e-6)


def test_a_sound_circuit_is_reported_as_warm_as_it_is() -> None:
    # The inner 5 V within its two percent, the ground within its millivolts: a few degrees, most
    # where a hot thermistor leaves little of the 5 V.
    h = of_kind("none")
    table = hypotheses(FAMILY, 2).table
    celsius, _, values = shown(h)
    true = values[:, table.driven_slot[h, table.celsius[h]]]
    within = (true > 0.0) & (true < 90.0)
    assert within.sum() > 15
    apart = np.abs(celsius - true)[within]
    assert np.median(apart) < 1.5
    assert np.quantile(apart, 0.9) < 4.0


def test_a_drifted_sensor_is_read_by_the_curve_it_should_have() -> None:
    # With all else sound the reported temperature is off by what its resistance is off by.
    h = of_kind("sensor-drift")
    table = hypotheses(FAMILY, 2).table
    circuit = compile_family(*hypotheses(FAMILY, 2).pairs[h])
    own = FIRST_SLOT + circuit.slots.index("thermistor.ohm_25")
    celsius, _, values = shown(h)
    _, reckoned_with, beta = table.curve_slot[h]
    assert reckoned_with != own
    true = values[:, table.driven_slot[h, table.celsius[h]]]
    ratio = np.log(values[:, own] / values[:, reckoned_with]) / values[:, beta]
    expected = 1.0 / (1.0 / (true + 273.15) + ratio) - 273.15
    within = (true > 0.0) & (true < 90.0) & (expected > -20.0) & (expected < 90.0)
    assert within.sum() > 8
    assert np.median(np.abs(celsius - expected)[within]) < 1.5
    assert np.median(np.abs(true - expected)[within]) > 10.0


def test_ohms_in_the_way_make_it_colder_and_leaks_warmer() -> None:
    table = hypotheses(FAMILY, 2).table
    for kind, is_poor, sign in (("sensor-open", True, -1.0), ("short-to-ground", False, 1.0)):
        h = of_kind(kind, is_poor=is_poor)
        celsius, _, values = shown(h)
        true = values[:, table.driven_slot[h, table.celsius[h]]]
        assert np.mean(sign * (celsius - true) > 5.0) > 0.6


def test_slopes_are_central_differences() -> None:
    found, readings = hypotheses(FAMILY, 2), reports(1, 2)
    rows = np.arange(found.table.n_wire.size)
    table = found.table.rows(rows)
    z = far_from_choices(
        table, layout_of(table, readings), draws(rows.size, layout_of(table, readings).size, 8, 0.6)
    )
    check_slopes(
        table, readings, z, identity(rows.size, 2), np.zeros((rows.size, 3), dtype=np.int64)
    )


def test_an_open_wire_reads_as_cold_as_can_be() -> None:
    # Unplugged, the input stands at its supply (common practice, no source: -40 degC is reported).
    found, readings = hypotheses(FAMILY, 2), reports(0)
    table = found.table.rows(np.zeros(20, dtype=np.int64))
    z = draws(20, layout_of(table, readings).size, 5, 0.6)
    assert told(table, readings, z, identity(20, 2))[1].mean[:, 0, 0] == pytest.approx(COLDEST)
