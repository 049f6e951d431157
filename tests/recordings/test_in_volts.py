"""Samples without a unit, taken times the volts that one of them means."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.recordings.reading import read_capture


@given(
    counts=st.lists(st.integers(-32768, 32767), min_size=3, max_size=30),
    volts=st.floats(1e-6, 1e3),
)
def test_counts_of_a_converter_become_volts(
    tmp_path_factory: pytest.TempPathFactory, counts: list[int], volts: float
) -> None:
    path = tmp_path_factory.mktemp("in") / "a.npy"
    np.save(path, np.array(counts, dtype=np.int16))
    capture = read_capture(path, interval=1e-6, volts_at_full_scale=volts)
    (channel,) = capture.channels
    assert channel.unit == "V"
    # One product of two doubles each: the same rounding as here.
    np.testing.assert_array_equal(channel.samples, np.array(counts, dtype=np.float64) * volts)
    assert f"One in the file was given by hand as {volts:g} V." in capture.remarks


def test_a_channel_with_a_unit_of_its_own_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    wave, current = np.array([0.0, 0.5, 1.0]), np.array([1.0, 2.0, 3.0])
    arrays = {"interval": np.array(1e-3), "signal": wave, "current (A)": current}
    np.savez(path, **arrays)  # type: ignore[arg-type]  # its stub takes names for its own options
    found = {c.name: c for c in read_capture(path, volts_at_full_scale=5.0).channels}
    assert {name: c.unit for name, c in found.items()} == {"signal": "V", "current": "A"}
    np.testing.assert_array_equal(found["signal"].samples, wave * 5.0)
    np.testing.assert_array_equal(found["current"].samples, current)
