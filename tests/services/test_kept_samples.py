"""A drawing misses nothing: held to brute force over all samples."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from backprobe.recordings.stored import StoredCapture
from backprobe.recordings.stored_writer import store_capture
from backprobe.services.kept_samples import KeptSamples
from tests.services.captured import write_csv

N, STEP = 300_000, 1e-4


@pytest.fixture(scope="module")
def wave() -> np.ndarray:
    rng = np.random.default_rng(1)
    found = np.sin(np.arange(N) / 900.0) + rng.normal(0, 0.02, N)
    found[123_456] = 9.0  # one glitch of one sample
    return found


@pytest.fixture(scope="module")
def kept(wave: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> KeptSamples:
    folder = tmp_path_factory.mktemp("kept")
    source = folder / "wave.npy"
    np.save(source, wave)
    from backprobe.recordings.reading import ReadOptions

    store_capture(source, folder / "samples", ReadOptions(interval=STEP))
    return KeptSamples(StoredCapture.open(folder / "samples"))


@given(
    first=st.integers(0, N - 50),
    length=st.integers(40, N),
    bins=st.integers(16, 900),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
def test_columns_hold_the_extremes_of_their_samples(
    kept: KeptSamples, wave: np.ndarray, first: int, length: int, bins: int
) -> None:
    last = min(first + length, N - 1)
    drawn = kept.drawing(first * STEP, last * STEP, bins)
    part = wave[first : last + 1]
    # Columns may reach a sample, or where many are taken together some hundred, to either side.
    around = wave[max(first - 1200, 0) : last + 1200]
    assert np.nanmin(drawn.lowest[0]) >= around.min() - 1e-6
    assert np.nanmax(drawn.highest[0]) <= around.max() + 1e-6
    assert np.nanmin(drawn.lowest[0]) <= part.min() + 1e-6
    assert np.nanmax(drawn.highest[0]) >= part.max() - 1e-6
    assert (drawn.lowest[0] <= drawn.highest[0] + 1e-12).all()


def test_a_glitch_of_one_sample_is_drawn_where_it_is(kept: KeptSamples) -> None:
    drawn = kept.drawing(0.0, (N - 1) * STEP, 400)
    column = int(np.nanargmax(drawn.highest[0]))
    assert drawn.highest[0][column] == pytest.approx(9.0)
    assert drawn.times[column] == pytest.approx(123_456 * STEP, abs=1.5 * N * STEP / 400)


def test_few_samples_are_joined_by_a_line(kept: KeptSamples, wave: np.ndarray) -> None:
    drawn = kept.drawing(1000 * STEP, 1010 * STEP, 200)
    expected = np.interp(drawn.times, np.arange(N) * STEP, wave)
    inside = (drawn.lowest[0] <= expected + 1e-9) & (drawn.highest[0] >= expected - 1e-9)
    assert inside.all()


def test_beyond_the_recording_there_is_nothing(kept: KeptSamples) -> None:
    drawn = kept.drawing(-1.0, 1.0, 100)
    assert np.isnan(drawn.lowest[0][:49]).all()
    assert np.isfinite(drawn.lowest[0][51:]).all()


@given(st.floats(-1.0, N * STEP + 1.0))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_sample_at_an_instant_is_the_nearest(
    kept: KeptSamples, wave: np.ndarray, seconds: float
) -> None:
    at, value = kept.at(0, seconds)
    number = int(np.argmin(np.abs(np.arange(N) * STEP - seconds)))
    assert abs(at - number * STEP) <= STEP * 1.001
    assert value == pytest.approx(wave[round(at / STEP)])


def test_values_that_take_turns_in_a_log_are_joined(tmp_path: Path) -> None:
    first = np.array([1.0, np.nan, 2.0, np.nan, 3.0, np.nan])
    second = np.array([np.nan, 5.0, np.nan, 6.0, np.nan, 7.0])
    rows = ["time (s),engine speed (rpm),air mass flow (g/s)"]
    for i, (a, b) in enumerate(zip(first, second, strict=True)):
        rows.append(",".join([f"{i}", *("" if np.isnan(x) else f"{x}" for x in (a, b))]))
    (tmp_path / "log.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    store_capture(tmp_path / "log.csv", tmp_path / "samples")
    joined = KeptSamples(StoredCapture.open(tmp_path / "samples"), joins=True)
    drawn = joined.drawing(0.0, 4.0, 40)
    assert np.isfinite(drawn.lowest[0]).all()


def test_a_capture_is_written_in_time_order(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "a.csv", {"a (V)": np.arange(20.0)})
    store_capture(file, tmp_path / "samples")
    found = KeptSamples(StoredCapture.open(tmp_path / "samples"))
    samples, interval, start = found.looked_at(0, 4 * 20e-6, 9 * 20e-6)
    assert samples.tolist() == [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]
    assert interval == pytest.approx(20e-6)
    assert start == pytest.approx(80e-6)


def test_uneven_samples_are_taken_anew_at_even_steps(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    times = np.cumsum(rng.uniform(0.5e-3, 1.5e-3, 4000))
    np.savez(tmp_path / "uneven.npz", time=times, signal=np.sin(2 * np.pi * 3.0 * times))
    store_capture(tmp_path / "uneven.npz", tmp_path / "samples")
    kept = KeptSamples(StoredCapture.open(tmp_path / "samples"))
    assert not kept.stored.is_even
    samples, step, start = kept.looked_at(0, times[0], times[-1])
    clock = start + step * np.arange(samples.size)
    # A line between points 1.5 ms apart misses a sine by at most (2 pi f h)^2 / 8.
    bound = (2 * np.pi * 3.0 * 1.5e-3) ** 2 / 8
    assert np.abs(samples - np.sin(2 * np.pi * 3.0 * clock)).max() < bound
