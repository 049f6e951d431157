"""Parquet by others, and what is left of a damaged file."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.reading import read_capture
from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import extremes_path, write_parquet
from tests.recordings.made import made_capture, read_or_refused


def test_table_of_others(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "time (ms)": [0.0, 0.5, 1.0, 1.5],
            "CH1 (mV)": [1.0, None, 3.0, float("inf")],
            "count": pl.Series([1, 2, 3, 4], dtype=pl.Int16),
            "note": ["a", "b", "c", "d"],
        }
    )
    frame.write_parquet(tmp_path / "a.parquet")
    capture = read_capture(tmp_path / "a.parquet")
    assert capture.interval == pytest.approx(5e-4, rel=1e-12)
    assert [(c.name, c.unit) for c in capture.channels] == [("CH1", "V"), ("count", "")]
    np.testing.assert_array_equal(capture.channels[0].samples, [1e-3, np.nan, 3e-3, np.nan])
    assert [c.samples.dtype.itemsize for c in capture.channels] == [8, 4]
    assert capture.remarks == ("Left out, since not numbers: note.",)


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
def test_dates_are_seconds_from_the_first(unit: str, tmp_path: Path) -> None:
    begin = datetime(2026, 3, 2, 23, 59, 59)  # noqa: DTZ001 - a column without a zone
    times = pl.Series([begin + timedelta(milliseconds=250 * n) for n in range(8)])
    frame = pl.DataFrame({"when": times.cast(pl.Datetime(unit)), "u": np.arange(8.0)})  # type: ignore[arg-type]
    frame.write_parquet(tmp_path / "a.parquet")
    capture = read_capture(tmp_path / "a.parquet")
    assert (capture.start, capture.interval, capture.times) == (0.0, 0.25, None)


def test_missing_interval_is_asked_for(tmp_path: Path) -> None:
    pl.DataFrame({"u": [1.0, 2.0]}).write_parquet(tmp_path / "a.parquet")
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.parquet")
    assert str(caught.value) == (
        "a.parquet: The time between samples isn't told."
        " Give the time between two samples, or name a column time."
    )
    assert read_capture(tmp_path / "a.parquet", interval=0.5).interval == 0.5


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "c"
    write_parquet(made_capture(30_000, 2, even=False), path)
    return path


@given(share=st.floats(0, 1, exclude_max=True))
def test_cut_file_is_refused(whole: Path, share: float) -> None:
    data = whole.read_bytes()
    cut = whole.with_name("cut")
    cut.write_bytes(data[: int(share * len(data))])
    for use in (read_capture, StoredCapture.open):
        with pytest.raises(RecordingError) as caught:
            use(cut)
        assert caught.value.remedy


@given(st.data())
def test_damaged_file_is_refused_or_read(whole: Path, data: st.DataObject) -> None:
    original = whole.read_bytes()
    damaged = bytearray(original)
    # Half of the places are in the list of contents at the end, where damage does most.
    for low in (4, 4, len(damaged) - 1500, len(damaged) - 1500):
        damaged[data.draw(st.integers(low, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    path = whole.with_name("damaged")
    path.write_bytes(damaged)
    read_or_refused(path)
    extremes_path(path).write_bytes(extremes_path(whole).read_bytes())
    try:
        StoredCapture.open(path).extremes(0, 0, None, 5)
    except RecordingError as error:
        is_told = bool(error.remedy)
    else:
        is_told = True
    assert is_told


@given(st.data())
def test_damaged_extremes_are_refused_or_read(whole: Path, data: st.DataObject) -> None:
    path = whole.with_name("half")
    path.write_bytes(whole.read_bytes())
    damaged = bytearray(extremes_path(whole).read_bytes())
    for _ in range(3):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    extremes_path(path).write_bytes(damaged)
    try:
        StoredCapture.open(path).extremes(0, 0, None, 5)
    except RecordingError as error:
        is_told = bool(error.remedy)
    else:
        is_told = True
    assert is_told


def test_extremes_of_another_capture_are_refused(whole: Path) -> None:
    path = whole.with_name("mixed")
    write_parquet(made_capture(20_000, 2), path)
    extremes_path(path).write_bytes(extremes_path(whole).read_bytes())
    with pytest.raises(RecordingError) as caught:
        StoredCapture.open(path).extremes(0, 0, None, 5)
    assert str(caught.value) == (
        "mixed.extremes: The extremes of this stored capture are missing or belong to another one."
        " Keep both files together, or store the capture again."
    )
