"""Arrays as NumPy saves them."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings import numpy_files
from backprobe.recordings.reading import read_capture
from tests.recordings.made import read_or_refused

TYPES = ("u1", "i2", "u4", "i8", "f2", "f4", "f8", ">f4", "?")


@given(dtype=st.sampled_from(TYPES), n_channel=st.integers(1, 4), n_sample=st.integers(2, 50))
def test_npy_samples_stand_in_rows(
    tmp_path_factory: pytest.TempPathFactory, dtype: str, n_channel: int, n_sample: int
) -> None:
    path = tmp_path_factory.mktemp("npy") / "a.npy"
    table = np.arange(n_sample * n_channel).reshape(n_sample, n_channel).astype(dtype)
    np.save(path, table[:, 0] if n_channel == 1 else table)
    capture = read_capture(path, interval=1e-3)
    assert capture.interval == 1e-3
    for channel, column in zip(capture.channels, table.T, strict=True):
        np.testing.assert_array_equal(channel.samples, column.astype(np.float64))


@pytest.mark.parametrize("compress", [False, True])
@pytest.mark.parametrize("time", ["time (ms)", "t", "dt", "fs"])
def test_npz_tells_its_time(
    time: str, compress: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(numpy_files, "BLOCK", 1000)
    n = 2500
    told = {
        "time (ms)": np.arange(n) * 0.5,
        "t": np.arange(n) * 5e-4,
        "dt": np.float64(5e-4),
        "fs": np.array(2000),
    }[time]
    volts = np.sin(np.arange(n) / 100).astype("f4")
    save = np.savez_compressed if compress else np.savez
    arrays: dict[str, Any] = {time: told, "CH1 (mV)": volts, "count": np.arange(n)}
    save(tmp_path / "a.npz", **arrays)
    capture = read_capture(tmp_path / "a.npz")
    assert capture.interval == pytest.approx(5e-4, rel=1e-12)
    assert capture.times is None
    assert [(c.name, c.unit) for c in capture.channels] == [("CH1", "V"), ("count", "")]
    np.testing.assert_array_equal(capture.channels[0].samples, volts.astype("f8") * 1e-3)
    np.testing.assert_array_equal(capture.channels[1].samples, np.arange(n))


def test_fields_are_channels(tmp_path: Path) -> None:
    table = np.zeros(5, dtype=[("t_ms", "f8"), ("volts", "f4")])
    table["t_ms"], table["volts"] = np.arange(5) * 2.0, np.arange(5)
    np.save(tmp_path / "a.npy", table)
    capture = read_capture(tmp_path / "a.npy")
    assert capture.interval == pytest.approx(2e-3, rel=1e-12)
    assert [c.name for c in capture.channels] == ["volts"]


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (
            np.zeros(5),
            (
                "a.npy: The time between samples isn't told."
                " Give the time between two samples, or save an .npz"
                " with an array named time or interval."
            ),
        ),
        (
            np.zeros((2, 500)),
            (
                "a.npy: 500 channels are too many; samples stand in rows, channels in columns."
                " Save the transposed array."
            ),
        ),
        (
            np.zeros(5, complex),
            (
                "a.npy: Values of type complex128 aren't samples."
                " Save real numbers: whole ones or floats."
            ),
        ),
    ],
)
def test_what_is_no_capture_is_refused(values: np.ndarray, said: str, tmp_path: Path) -> None:
    np.save(tmp_path / "a.npy", values)
    with pytest.raises(RecordingError) as caught:
        read_capture(tmp_path / "a.npy")
    assert str(caught.value) == said


def test_objects_are_never_unpacked(tmp_path: Path) -> None:
    np.save(tmp_path / "a.npy", np.array([print, 1], dtype=object), allow_pickle=True)
    with pytest.raises(RecordingError, match="aren't samples"):
        read_capture(tmp_path / "a.npy", interval=1.0)


@given(share=st.floats(0, 1, exclude_max=True), kind=st.sampled_from(["npy", "npz", "compressed"]))
def test_cut_file_is_refused_or_said(
    tmp_path_factory: pytest.TempPathFactory, share: float, kind: str
) -> None:
    path = tmp_path_factory.mktemp("cut") / "a"
    samples = np.arange(100.0)
    with path.open("wb") as file:
        if kind == "npy":
            np.save(file, samples)
        else:
            save = np.savez if kind == "npz" else np.savez_compressed
            save(file, volts=samples, dt=np.float64(0.5))
    whole = path.read_bytes()
    path.write_bytes(whole[: math.floor(share * len(whole))])
    capture = read_or_refused(path, interval=0.5)
    if capture is None:
        return
    assert kind == "npy"
    n_there = capture.channels[0].samples.size
    np.testing.assert_array_equal(capture.channels[0].samples, samples[:n_there])
    assert f"The file is cut short: {n_there} of 100 samples are there." in capture.remarks


@given(st.data())
def test_damaged_archive_is_refused_or_read(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("bad") / "a"
    with path.open("wb") as file:
        np.savez_compressed(file, volts=np.arange(100.0), dt=np.float64(0.5))
    damaged = bytearray(path.read_bytes())
    for _ in range(4):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(damaged)
    read_or_refused(path)
