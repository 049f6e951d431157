"""Mean, extremes and alternating part of analogue signals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.waveform import blocks
from backprobe.core.waveform.levels import Instrument
from backprobe.core.waveform.ripple import measure_ripple


def test_sine_on_a_mean() -> None:
    # rms of a sine is its amplitude over the root of two (any handbook of measurement).
    x = 13.8 + 0.05 * np.sin(2 * np.pi * 0.01 * np.arange(100_000) + 0.3)
    found = measure_ripple(x, interval=1e-4)
    assert found.mean == pytest.approx(13.8, abs=1e-12)
    assert found.rms == pytest.approx(0.05 / np.sqrt(2.0), rel=1e-9)
    assert found.peak_to_peak == pytest.approx(0.1, rel=1e-3)
    assert found.sine is not None
    assert found.sine.frequency == pytest.approx(100.0, rel=1e-9)
    assert found.sine.amplitude == pytest.approx(0.05, rel=1e-7)


VALUES = st.lists(st.one_of(st.floats(-10.0, 10.0), st.sampled_from([np.nan, np.inf])), max_size=60)


@given(VALUES, st.lists(st.integers(0, 9), max_size=9))
@settings(deadline=None)
def test_stream_and_array_are_as_numpy_has_them(values: list[float], sizes: list[int]) -> None:
    x = np.array(values, dtype=float)
    parts = np.split(x, np.cumsum(sizes)[np.cumsum(sizes) <= x.size])
    found, streamed = (measure_ripple(s, interval=1.0) for s in (x, iter(parts)))
    finite = x[np.isfinite(x)]
    assert (found.n_sample, found.n_gap) == (x.size, x.size - finite.size)
    assert (streamed.n_sample, streamed.n_gap) == (found.n_sample, found.n_gap)
    np.testing.assert_array_equal(streamed.mean, found.mean)
    np.testing.assert_array_equal(streamed.rms, found.rms)
    if finite.size:
        np.testing.assert_allclose(found.mean, finite.mean(), atol=1e-12)
        np.testing.assert_allclose(found.rms, finite.std(), atol=1e-12)
        assert (found.lowest, found.highest) == (finite.min(), finite.max())
    else:
        assert np.isnan([found.mean, found.rms, found.lowest]).all()


def test_sine_is_taken_from_the_first_stretch_without_gaps() -> None:
    x = np.sin(2 * np.pi * 0.013 * np.arange(2000))
    x[:5] = np.nan
    x[1000:] = np.sin(2 * np.pi * 0.2 * np.arange(1000))
    x[1000] = np.nan
    found = measure_ripple(x, interval=1.0)
    assert found.sine is not None
    assert found.sine.frequency == pytest.approx(0.013, rel=1e-9)


def test_long_record_and_a_large_mean_keep_their_digits() -> None:
    rng = np.random.default_rng(6)
    own = rng.normal(0.0, 1.0, blocks.BLOCK + 50_001)
    found = measure_ripple(1e6 + own, interval=1.0)
    assert found.mean - 1e6 == pytest.approx(own.mean(), abs=1e-8)
    assert found.rms == pytest.approx(own.std(), rel=1e-9)


def test_instrument_counts() -> None:
    # JCGM 100, 5.1.2: by hand.
    x = np.tile([4.0, 6.0], 50)
    found = measure_ripple(x, interval=1.0, instrument=Instrument(gain=0.01, offset=0.02))
    assert found.mean_uncertainty == pytest.approx(np.hypot(0.05, 0.02))
    assert found.rms_uncertainty == pytest.approx(0.01)
