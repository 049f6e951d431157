from pathlib import Path

import numpy as np
import pytest

from backprobe.errors import RecordingError
from backprobe.recordings.log import Log, LogSeries
from backprobe.recordings.log_mapping import LogMapping, MappedSeries
from backprobe.recordings.log_reading import mapping_of, read_log

TEXT = """\
Time (s),RPM,MAP (inHg),IAT (°F),MAF (mg/stroke),Odd
0.0,2000,29.92126,77,360,1
1.0,3000,29.92126,77,360,2
2.0,3000,29.92126,77,360,3
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    found = tmp_path / "log.csv"
    found.write_text(TEXT, encoding="utf-8")
    return found


def by_quantity(log: Log, quantity: str) -> LogSeries:
    return next(one for one in log.series if one.quantity == quantity)


def test_series_are_named_and_converted(path: Path) -> None:
    log = read_log(path)
    # NIST SP 811: 29.92126 inHg are 101.325 kPa; 77 degF are 25 degC.
    assert by_quantity(log, "manifold pressure").values == pytest.approx([101.325] * 3)
    assert by_quantity(log, "intake air temperature").values == pytest.approx([25.0] * 3)
    assert by_quantity(log, "engine speed").unit == "1/min"
    assert [one.name for one in log.series if not one.quantity] == ["MAF", "Odd"]
    assert any("RPM has no unit; 1/min is assumed" in remark for remark in log.remarks)
    assert any("the number of cylinders is needed" in remark for remark in log.remarks)


def test_air_a_stroke_becomes_a_flow_with_speed_and_cylinders(path: Path) -> None:
    # 360 mg a stroke, 2000 1/min, 4 cylinders: 0.36 g · 2000/60 · 2 = 24 g/s (closed form).
    flow = by_quantity(read_log(path, cylinders=4), "air mass flow")
    assert flow.unit == "g/s"
    assert flow.values == pytest.approx([24.0, 36.0, 36.0])


def test_a_mapping_corrects_what_was_taken(path: Path) -> None:
    said = LogMapping((MappedSeries("Odd", "coolant temperature", "°C"), MappedSeries("RPM", "")))
    log = read_log(path, said)
    assert by_quantity(log, "coolant temperature").values.tolist() == [1, 2, 3]
    assert "engine speed" not in {one.quantity for one in log.series}
    left_out = read_log(path, LogMapping((MappedSeries("Odd", is_kept=False),)))
    assert "Odd" not in {one.name for one in left_out.series}


def test_the_mapping_of_a_log_can_be_saved_and_used(path: Path) -> None:
    mapping = mapping_of(path)
    once, again = read_log(path), read_log(path, mapping)
    assert [(a.quantity, a.unit) for a in once.series] == [
        (b.quantity, b.unit) for b in again.series
    ]
    for a, b in zip(once.series, again.series, strict=True):
        np.testing.assert_array_equal(a.values, b.values)


def test_a_mapping_of_another_log_is_told(path: Path) -> None:
    with pytest.raises(RecordingError, match='names "Boost", which the log doesn\'t have'):
        read_log(path, LogMapping((MappedSeries("Boost"),)))


def test_two_series_of_one_quantity(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Time (s),RPM,Engine speed\n0,800,801\n1,810,811\n", encoding="utf-8")
    log = read_log(path)
    assert [one.quantity for one in log.series] == ["engine speed", ""]
    assert "Engine speed looks like engine speed too; RPM is taken." in log.remarks
    said = read_log(path, LogMapping((MappedSeries("Engine speed", "engine speed"),)))
    assert [one.quantity for one in said.series] == ["", "engine speed"]


def test_values_beyond_what_can_be_are_no_quantity(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Time (s),MAP\n0,1010\n1,1012\n", encoding="utf-8")  # hPa, not said
    log = read_log(path)
    assert log.series[0].quantity == ""
    assert any("Say its unit in the mapping" in remark for remark in log.remarks)
    said = read_log(path, LogMapping((MappedSeries("MAP", "manifold pressure", "hPa"),)))
    assert said.series[0].values == pytest.approx([101.0, 101.2])


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="The file can't be read"):
        read_log(tmp_path / "none.csv")
