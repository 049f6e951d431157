import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from backprobe.core.waveform.sample_noise import (
    noise_deviation,
    require_record,
    sample_step,
    thinned,
)
from backprobe.errors import ValueOutOfRange


@given(st.floats(1e-4, 1.0), st.floats(-100.0, 100.0), st.floats(-0.1, 0.1), st.integers(0, 1000))
def test_noise_is_told_on_any_slope(spread: float, level: float, slope: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = level + slope * np.arange(2000) + rng.normal(0.0, spread, 2000)
    values[700:] += 5.0  # one step, seen by two of 1998 differences
    # The median of 2000 dependent differences scatters by about 3 %.
    assert noise_deviation(values) == pytest.approx(spread, rel=0.15)


def test_noise_that_was_filtered_shows_over_more_samples() -> None:
    rough = np.random.default_rng(1).normal(0.0, 1.0, 50_000)
    values = gaussian_filter1d(rough, 10.0)
    assert noise_deviation(values) < 0.05 * values.std()
    assert noise_deviation(values, 100) == pytest.approx(values.std(), rel=0.05)


@pytest.mark.parametrize("step", [0.02, 10.0 / 256])
def test_steps_of_a_converter_are_a_floor(step: float) -> None:
    values = np.round(np.linspace(0.0, 5.0, 5000) / step) * step
    assert sample_step(values) == pytest.approx(step, rel=1e-9)
    # [jcgm100, F.2.2.1]: a step over the root of twelve.
    assert noise_deviation(values) == pytest.approx(step / np.sqrt(12.0), rel=1e-9)


def test_equal_and_few_samples_have_none() -> None:
    assert noise_deviation(np.full(100, 2.0)) == 0.0
    assert noise_deviation(np.array([1.0, 2.0])) == 0.0


def test_gaps_are_bridged() -> None:
    row = np.array([np.nan, 1.0, np.nan, 3.0, np.nan], dtype=np.float32)
    assert require_record(row, 1.0, "x").tolist() == [1.0, 1.0, 2.0, 3.0, 3.0]
    with pytest.raises(ValueOutOfRange, match="x: there are no samples"):
        require_record(row[:1], 1.0, "x")
    with pytest.raises(ValueOutOfRange, match=r"an interval of 0\.0 s isn't above zero"):
        require_record(row, 0.0, "x")


def test_thinning_keeps_place_mean_and_unrest() -> None:
    rng = np.random.default_rng(2)
    values = np.linspace(0.0, 1.0, 10_001) + rng.normal(0.0, 0.1, 10_001)
    record = thinned(values, 1e-4, 3.0, 1e-3)
    assert record.samples.size == 1000
    assert record.interval == pytest.approx(1e-3, rel=1e-12)
    # The middle of ten samples from 3.0 s on.
    assert record.start == pytest.approx(3.00045, abs=1e-9)
    # A variance over ten samples lacks a tenth.
    assert record.fast == pytest.approx(0.1 * np.sqrt(0.9), rel=0.03)
    assert record.samples.mean() == pytest.approx(values[:10_000].mean(), rel=1e-12)
    same = thinned(values, 1e-2, 3.0, 1e-3)
    assert same.samples is values
    assert same.fast == 0.0
