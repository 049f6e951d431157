"""Fuel trims gathered by speed and load."""

import math

import pytest

from backprobe.errors import UsageError
from backprobe.services.trim_table import typed_table


def test_typed_trims_stand_at_the_standard_points() -> None:
    table = typed_table({"loaded": [1.0], "idle": [22.0, 3.0]}, "air mass")
    assert [cell.name for cell in table.cells] == ["idle", "pulling"]
    assert table.cells[0].trims == (22.0, 3.0)
    assert math.isnan(table.cells[1].trims[1])
    readings = table.readings()
    assert readings.trim.shape == (2, 2)
    assert readings.trim[0, 0] == pytest.approx(0.22)
    # 2.0 litres by the air equation: 2.7 g/s at idle, 11.1 at 2500 (a worked example).
    assert table.cells[0].flow * 2.0 == pytest.approx(2.7, abs=0.15)
    assert 0.15 < table.cells[0].load < 0.25


def test_a_bank_without_values_is_no_bank() -> None:
    assert typed_table({"idle": [float("nan"), 3.0]}).n_bank == 1


def test_a_trim_at_the_limit_is_marked() -> None:
    """One step of a trim is 100/128 % (SAE J1979): 24.2 % is the last below 25."""
    (cell,) = typed_table({"idle": [24.22, -25.0]}).cells
    assert cell.limited == (True, True)
    (cell,) = typed_table({"idle": [22.0]}).cells
    assert cell.limited == (False,)


@pytest.mark.parametrize(
    ("trims", "text"),
    [
        ({}, "No trim is given"),
        ({"idle": [math.nan]}, "No trim is given"),
        ({"up": [1]}, "no point"),
    ],
)
def test_nothing_typed_is_said(trims: dict[str, list[float]], text: str) -> None:
    with pytest.raises(UsageError, match=text):
        typed_table(trims)
