"""Freeze frames as trims."""

import math

import pytest

from backprobe.job.model import Code
from backprobe.services.trim_frames import frame_cells
from backprobe.services.trim_table import joined, typed_table

FRAME = {
    "Engine speed": "812 rpm",
    "absolute load": "20 %",
    "short fuel trim bank 1": "+7.0 %",
    "long fuel trim bank 1": "+15.6 %",
}


def test_a_frame_with_speed_load_and_trims_is_a_cell() -> None:
    (cell,) = frame_cells([Code("P0171", "stored", FRAME), Code("P0300")])
    assert cell.name == "freeze frame of P0171"
    (trim,) = cell.trims
    assert trim == pytest.approx(22.6)
    # By hand: 20 % of 1.184 g a litre in 812/120 strokes a second.
    assert cell.flow == pytest.approx(0.2 * 1.184 * 812 / 120)
    assert cell.load == pytest.approx(0.2)


def test_what_tells_no_trim_is_passed_over() -> None:
    for missing in FRAME:
        short = {name: text for name, text in FRAME.items() if name != missing}
        assert frame_cells([Code("P0171", "stored", short)]) == ()
    assert frame_cells([Code("P0171", "stored", FRAME | {"Engine speed": "fast"})]) == ()


def test_a_frame_joins_what_was_typed() -> None:
    cells = typed_table({"idle": [1.0, 2.0]}).cells + frame_cells([Code("P0171", "stored", FRAME)])
    table = joined(cells, "air mass")
    assert table.n_bank == 2
    assert math.isnan(table.cells[1].trims[1])
    assert table.readings().trim.shape == (2, 2)
