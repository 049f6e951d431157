"""The content tells the kind, whatever the name; what doesn't fit the kind is refused."""

import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from backprobe.errors import RecordingError
from backprobe.recordings.delimited_mapping import ColumnMapping, MappedColumn
from backprobe.recordings.mdf import write_mdf
from backprobe.recordings.reading import ARRAYS, ReadOptions, kind_of, open_source, read_capture
from backprobe.recordings.stored_writer import write_parquet
from tests.recordings.made import made_capture, wav_bytes

MAPPING = ColumnMapping(",", ".", (MappedColumn("u"),), interval=1.0)


def make(kind: str, path: Path) -> None:
    if kind == "wav":
        path.write_bytes(wav_bytes(np.zeros((9, 1), "<i2"), 10))
    elif kind == "npy":
        with path.open("wb") as file:
            np.save(file, np.zeros(9))
    elif kind == "npz":
        with path.open("wb") as file:
            np.savez(file, u=np.zeros(9), dt=np.float64(1.0))
    elif kind == "mdf":
        write_mdf(made_capture(9, 1), path)
    elif kind == "parquet":
        write_parquet(made_capture(9, 1), path)
    elif kind == "vcd":
        path.write_bytes(
            b"\n$timescale 1 s $end $var wire 1 ! a $end $enddefinitions $end #0 0! #5 1! "
        )
    else:
        path.write_bytes(b"t (s),u\n0,1\n1,2\n2,3\n")


@pytest.mark.parametrize("kind", ["wav", "npy", "npz", "mdf", "parquet", "vcd", "text"])
def test_name_does_not_matter(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "misleading.csv"
    make(kind, path)
    assert kind_of(path.read_bytes()[:100], path) == kind
    capture = read_capture(path, interval=None if kind != "npy" else 1.0)
    assert capture.source == "misleading.csv"
    assert capture.channels[0].samples.size >= 3
    if kind != "text":
        with pytest.raises(RecordingError) as caught:
            read_capture(path, MAPPING)
        assert str(caught.value) == (
            "misleading.csv: A description of columns was given, but this isn't a text with"
            " columns. Leave it out, or name the right file."
        )
    if kind not in ("wav", *ARRAYS):
        with pytest.raises(RecordingError, match="volts at full scale was given, but this isn't"):
            read_capture(path, volts_at_full_scale=5.0)
    if kind != "mdf":
        with pytest.raises(RecordingError, match="A group was given, but this isn't an MDF"):
            open_source(path, ReadOptions(group=1))


def test_workbook_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.csv", "w") as archive:
        archive.writestr("sheet.xml", "<a/>")
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.csv")
    assert str(caught.value) == (
        "a.csv: This is an archive or a workbook, not a recording."
        " Unpack it, or save the sheet as text with columns."
    )


def test_missing_file_and_folder_are_told(tmp_path: Path) -> None:
    for path in (tmp_path / "none", tmp_path):
        with pytest.raises(RecordingError, match="The file can't be read: ") as caught:
            read_capture(path)
        assert caught.value.remedy == "Look whether it's there and may be read."


@pytest.mark.parametrize("interval", [0.0, -1.0, float("inf"), float("nan")])
def test_interval_that_can_not_be_is_refused(interval: float, tmp_path: Path) -> None:
    pl.DataFrame({"u": [1.0, 2.0]}).write_parquet(tmp_path / "a")
    with pytest.raises(RecordingError, match=r"^reading a recording: interval can't be"):
        read_capture(tmp_path / "a", interval=interval)
