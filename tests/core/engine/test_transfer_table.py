"""Outputs that stand for a quantity."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.transfer_table import TransferTable
from backprobe.errors import ValueOutOfRange

# One published sensor: kHz, kg/h (a maker's table).
HERTZ = 1e3 * np.array(
    [1.81, 2.01, 2.21, 2.52, 2.74, 3.05, 3.34, 3.73, 4.62, 6.03, 7.06, 9.46, 11.8]
)
FLOW = np.array([0.0, 10, 20, 40, 60, 90, 120, 160, 250, 370, 440, 560, 640])
SENSOR = TransferTable(HERTZ, FLOW)


def test_rows_are_met_and_nothing_is_known_beyond() -> None:
    np.testing.assert_allclose(SENSOR.quantity_at(HERTZ), FLOW, atol=1e-9)
    assert np.isnan(SENSOR.quantity_at(np.array([1700.0, 12_000.0]))).all()
    assert np.isnan(SENSOR.output_at(np.array([-1.0, 650.0]))).all()


def test_a_row_left_out_is_found_again() -> None:
    """Within 5 % of flow, leaving out every inner row once; neighbours are 20 to 100 % apart."""
    for row in range(3, len(HERTZ) - 1):
        rest = TransferTable(np.delete(HERTZ, row), np.delete(FLOW, row))
        assert rest.quantity_at(HERTZ[row]) == pytest.approx(FLOW[row], rel=0.05)


@given(st.floats(1810.0, 11_800.0), st.floats(1810.0, 11_800.0))
def test_more_output_is_more_flow(first: float, second: float) -> None:
    low, high = sorted((first, second))
    flows = SENSOR.quantity_at(np.array([low, high]))
    assert flows[0] <= flows[1] + 1e-9


@given(st.floats(0.0, 640.0))
def test_there_and_back(flow: float) -> None:
    assert SENSOR.quantity_at(SENSOR.output_at(np.array(flow))) == pytest.approx(flow, abs=1e-6)


def test_two_rows_are_a_straight_line() -> None:
    pressure = TransferTable(np.array([0.5, 4.5]), np.array([0.0, 20_000.0]))
    assert pressure.quantity_at(np.array(2.5)) == pytest.approx(10_000.0)


def test_a_falling_table_is_read_too() -> None:
    falling = TransferTable(np.array([1.0, 2.0, 3.0]), np.array([9.0, 4.0, 1.0]))
    assert falling.output_at(np.array([4.0, 9.0])) == pytest.approx([2.0, 1.0])


@pytest.mark.parametrize(
    ("output", "quantity", "text"),
    [
        ([1.0], [2.0], "two rows at least"),
        ([2.0, 1.0], [1.0, 2.0], "output has to rise"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 1.5], "output has to rise"),
    ],
)
def test_a_table_out_of_order_is_refused(
    output: list[float], quantity: list[float], text: str
) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        TransferTable(np.array(output), np.array(quantity))
