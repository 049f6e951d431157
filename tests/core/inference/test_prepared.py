"""What is prepared once and shared says the same as what is looked up each time."""

import numpy as np
import pytest

from backprobe.core.inference.indicating import indicate, slopes_read
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.predict import predict, prepare
from backprobe.core.inference.sheet import Quantity
from tests.core.inference.small_sheets import (
    IDLE,
    KEY_ON,
    UNPLUGGED,
    draws,
    hypotheses,
    identity,
    sheet,
)

ROUNDS = (UNPLUGGED, KEY_ON, IDLE)


@pytest.mark.parametrize("quantity", [q for q in Quantity if q != Quantity.SENSOR_OHM])
def test_slopes_that_a_reading_does_not_take_are_not_missed(quantity: Quantity) -> None:
    whole = hypotheses("hall-5v", 3).table
    table = whole.rows(np.arange(0, whole.n_wire.size, 5))
    n_row = table.n_wire.size
    readings = sheet(3, ROUNDS, *((quantity, r, t, 2.0, 0.01) for r in range(3) for t in range(3)))
    assigned = identity(n_row, 3)
    few = prepare(
        table, readings, assigned=assigned, sensitivities=True, slopes=slopes_read(readings)
    )
    for seed in (1, 2):  # the plan serves all coordinates
        z = draws(n_row, layout_of(table, readings).size, seed, 0.7)
        lean = predict(table, z, readings, plan=few)
        full = predict(table, z, readings, assigned=assigned, sensitivities=True)
        found = indicate(table, readings, lean, pick=assigned)
        expected = indicate(table, readings, full, pick=assigned)
        assert found.mean == pytest.approx(expected.mean, rel=1e-12, nan_ok=True)
        assert found.by is not None
        assert expected.by is not None
        assert np.array_equal(found.by, expected.by, equal_nan=True)


def test_resistance_slopes_of_the_pairs_read_are_those_of_all_pairs() -> None:
    table = hypotheses("thermistor-two-wire", 2).table
    n_row = table.n_wire.size
    readings = sheet(2, ROUNDS, (Quantity.SENSOR_OHM, 0, 0, 1000.0, 10.0))
    z = draws(n_row, layout_of(table, readings).size, 4, 0.5)
    swapped = identity(n_row, 2)[:, ::-1]
    every = predict(table, z, readings, sensitivities=True, ohm_rounds=(0,)).ohm_by
    read = predict(table, z, readings, sensitivities=True, ohm_rounds=(0,), assigned=swapped).ohm_by
    assert every is not None
    assert read is not None
    a, b = swapped[0, readings.terminal[0]], swapped[0, readings.other[0]]
    assert read[:, 0, a, b] == pytest.approx(every[:, 0, a, b], rel=1e-9, abs=1e-12)
    assert np.abs(every[:, 0, a, b]).max() > 0.1
