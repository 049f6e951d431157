"""A plain log: heads in words, commas and semicolons, blanks, and what it refuses."""

from pathlib import Path

import numpy as np
import pytest

from backprobe.errors import RecordingError
from backprobe.services.air_log import read_plain_log


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "text",
    [
        "time (s),engine speed (1/min),air mass flow (g/s)\n0,780,3.2\n0.5,,3.3\n1,790,\n",
        "Time [s];Engine speed [1/min];Air mass flow [g/s]\n0;780;3,2\n0,5;;3,3\n1;790;\n",
    ],
)
def test_columns_by_their_heads(tmp_path: Path, text: str) -> None:
    found = read_plain_log(written(tmp_path, text))
    assert [(s.quantity, s.unit) for s in found.series] == [
        ("engine speed", "1/min"),
        ("air mass flow", "g/s"),
    ]
    np.testing.assert_array_equal(found.series[0].times, [0.0, 1.0])
    np.testing.assert_array_equal(found.series[1].values, [3.2, 3.3])


def test_a_cell_that_is_no_number_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingError) as caught:
        read_plain_log(written(tmp_path, "time (s),lambda\n0,1.0\n1,lean\n"))
    assert str(caught.value) == 'log.csv, row 3: "lean" is no number. Leave the cell blank.'


@pytest.mark.parametrize("text", ["", "speed,flow\n1,2\n", "time\n"])
def test_no_time_no_log(tmp_path: Path, text: str) -> None:
    with pytest.raises(RecordingError, match="first column of a plain log is the time"):
        read_plain_log(written(tmp_path, text))


def test_what_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="can't be read"):
        read_plain_log(tmp_path / "missing.csv")
