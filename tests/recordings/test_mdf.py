"""ASAM MDF 4, written and read through asammdf, and held against asammdf itself."""

import builtins
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.capture import Capture, CaptureChannel
from backprobe.recordings.mdf import write_mdf
from backprobe.recordings.reading import read_capture
from tests.recordings.made import made_capture, read_or_refused, same_captures

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import asammdf


def write_groups(path: Path, groups: list[list[Any]]) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with asammdf.MDF(version="4.10") as file:
            for signals in groups:
                file.append(signals, common_timebase=True)
            file.save(path, overwrite=True)


@settings(max_examples=15)
@given(
    n_sample=st.integers(3, 2000),
    n_channel=st.integers(1, 3),
    is_even=st.booleans(),
    is_double=st.booleans(),
)
def test_round_trip(
    tmp_path_factory: pytest.TempPathFactory,
    n_sample: int,
    n_channel: int,
    is_even: bool,
    is_double: bool,
) -> None:
    capture = made_capture(n_sample, n_channel, even=is_even, double=is_double, gaps=True)
    capture = Capture(
        capture.channels, capture.interval, capture.start, capture.times, capture.source
    )
    path = tmp_path_factory.mktemp("mdf") / "c.mf4"
    write_mdf(capture, path)
    assert [each.name for each in path.parent.iterdir()] == ["c.mf4"]
    again = read_capture(path)
    if capture.times is not None and again.times is None:
        pytest.fail("uneven instants were taken for even ones")
    same_captures(again, capture, source=False)


def test_written_file_is_read_by_the_library(tmp_path: Path) -> None:
    capture = made_capture(500, 2)
    write_mdf(capture, tmp_path / "c.mf4")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with asammdf.MDF(tmp_path / "c.mf4") as file:
            signal = file.get("CH1")
            assert file.version == "4.10"
    np.testing.assert_array_equal(signal.samples, capture.channels[1].samples)
    np.testing.assert_allclose(signal.timestamps, -0.25 + 1e-3 * np.arange(500), atol=1e-15)
    assert signal.unit == "A"


def test_units_groups_and_texts(tmp_path: Path) -> None:
    times = np.arange(50) * 1e-3
    sparse = np.arange(5) * 1e-2
    write_groups(
        tmp_path / "a.mf4",
        [
            [asammdf.Signal(np.arange(5.0), sparse, name="slow", unit="kPa")],
            [
                asammdf.Signal(np.arange(50, dtype="i2"), times, name="pedal", unit="mV"),
                asammdf.Signal(np.array([b"on"] * 50), times, name="state", encoding="utf-8"),
            ],
            [asammdf.Signal(np.arange(50.0), times, name="rail", unit="V")],
        ],
    )
    capture = read_capture(tmp_path / "a.mf4")
    assert [(c.name, c.unit) for c in capture.channels] == [("pedal", "V"), ("rail", "V")]
    np.testing.assert_array_equal(capture.channels[0].samples, np.arange(50) * 1e-3)
    assert capture.interval == pytest.approx(1e-3, rel=1e-12)
    assert capture.remarks == (
        "state isn't numbers and is left out.",
        "Groups with other instants are left out: 1.",
    )
    slow = read_capture(tmp_path / "a.mf4", group=1)
    assert [(c.name, c.unit) for c in slow.channels] == [("slow", "Pa")]
    with pytest.raises(RecordingError, match=r"^a\.mf4: There is no group 4\. Choose one"):
        read_capture(tmp_path / "a.mf4", group=4)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "a.mf4"
    write_mdf(made_capture(300, 2), path)
    return path


@settings(max_examples=25)
@given(share=st.floats(0, 1, exclude_max=True))
def test_cut_file_is_refused(whole: Path, share: float) -> None:
    data = whole.read_bytes()
    cut = whole.with_name("cut.mf4")
    cut.write_bytes(data[: int(share * len(data))])
    with pytest.raises(RecordingError) as caught:
        read_capture(cut)
    assert caught.value.remedy


@settings(max_examples=25)
@given(st.data())
def test_damaged_file_is_refused_or_read(whole: Path, data: st.DataObject) -> None:
    damaged = bytearray(whole.read_bytes())
    for _ in range(3):
        damaged[data.draw(st.integers(8, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    path = whole.with_name("damaged.mf4")
    path.write_bytes(damaged)
    read_or_refused(path)


def test_missing_library_is_said(whole: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = builtins.__import__

    def without(name: str, *rest: Any, **named: Any) -> Any:
        if name == "asammdf":
            raise ImportError(name)
        return plain(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    for use in (lambda: read_capture(whole), lambda: write_mdf(small, whole)):
        with pytest.raises(RecordingError) as caught:
            use()
        assert str(caught.value) == (
            "ASAM MDF: MDF files need the library asammdf, which isn't installed."
            ' Install it with: pip install "backprobe[measurement-data]".'
        )


small = Capture((CaptureChannel("a", "V", np.arange(3.0)),), 1.0)
