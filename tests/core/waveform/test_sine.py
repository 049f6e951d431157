"""A sine in noise, against published bounds and tables."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.waveform.sine import (
    Window,
    bin_value,
    fit_sine,
    frequency_bound,
    goertzel,
    peak_frequency,
    window_figures,
)
from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]


def tone(n: int, interval: float, hertz: float, phase: float, amplitude: float = 1.0) -> Array:
    return np.asarray(amplitude * np.cos(2 * np.pi * hertz * interval * np.arange(n) + phase))


def test_frequency_reaches_the_bound() -> None:
    # Kay 1993, eq. 3.41 (Rife & Boorstyn 1974): amplitude 1, noise 0.1, 1000 samples at 10 kHz
    # allow no less than 0.02466 Hz.
    bound = frequency_bound(1.0, 0.1, 1000, 10e3)
    assert bound == pytest.approx(0.02466, abs=5e-6)
    rng = np.random.default_rng(4)
    off, covered, told = [], [], []
    for _ in range(400):
        hertz = rng.uniform(200.0, 3000.0)
        x = tone(1000, 1e-4, hertz, rng.uniform(0.0, 6.3)) + rng.normal(0.0, 0.1, 1000)
        found = fit_sine(x, 1e-4)
        assert found is not None
        off.append(found.frequency - hertz)
        told.append(found.frequency_uncertainty)
        covered.append(abs(off[-1]) < 1.96 * found.frequency_uncertainty)
        covered.append(abs(found.amplitude - 1.0) < 1.96 * found.amplitude_uncertainty)
    # 400 draws tell a standard deviation to 3.5 %.
    assert 0.9 < np.std(off) / bound < 1.15
    assert np.mean(told) == pytest.approx(bound, rel=0.02)
    assert np.mean(covered) == pytest.approx(0.95, abs=0.025)  # 800 draws: three times 0.8 %


@given(st.floats(0.01, 0.45), st.floats(-3.0, 3.0), st.floats(0.1, 50.0), st.floats(-20.0, 20.0))
@settings(max_examples=60, deadline=None)
def test_noiseless_sine_is_found_again(
    cycles: float, phase: float, amplitude: float, mean: float
) -> None:
    found = fit_sine(mean + tone(500, 1e-3, cycles * 1e3, phase, amplitude), 1e-3)
    assert found is not None
    # Rounding of 500 samples with their mean up to two hundred times the amplitude.
    assert found.frequency == pytest.approx(cycles * 1e3, rel=1e-9)
    assert found.amplitude == pytest.approx(amplitude, rel=1e-8)
    assert found.mean == pytest.approx(mean, abs=1e-8 * amplitude + 1e-12)
    assert (found.phase - phase + np.pi) % (2 * np.pi) - np.pi == pytest.approx(0.0, abs=1e-7)


def test_interpolated_line_is_within_a_part_of_a_bin() -> None:
    # Between bins of 10 Hz; Hann's lobe is a parabola in decibels to some thousandths of a bin.
    for hertz in (203.3, 455.0, 999.1):
        assert peak_frequency(tone(1000, 1e-4, hertz, 0.4), 1e-4) == pytest.approx(hertz, abs=0.1)


@given(st.lists(st.floats(-5.0, 5.0), min_size=4, max_size=64).map(np.array), st.data())
@settings(deadline=None)
def test_one_bin_is_that_of_the_transform(x: Array, data: st.DataObject) -> None:
    # By definition (Goertzel 1958): equal to bin k of the discrete Fourier transform.
    k = data.draw(st.integers(0, x.size // 2))
    expected = np.fft.fft(x)[k]
    near = 1e-9 * (np.abs(x).sum() + 1e-300)
    assert bin_value(x, k) == pytest.approx(expected, abs=near)
    assert goertzel(x, k) == pytest.approx(expected, abs=near)


@pytest.mark.parametrize(
    ("window", "loss", "bandwidth", "near"),
    [
        # Harris 1978, Table 1: scallop loss in dB, noise bandwidth in bins.
        ("boxcar", 3.92, 1.00, 0.01),
        ("hann", 1.42, 1.50, 0.01),
        ("hamming", 1.75, 1.36, 0.03),
        ("blackman", 1.10, 1.73, 0.01),
    ],
)
def test_windows_are_those_of_the_table(
    window: Window, loss: float, bandwidth: float, near: float
) -> None:
    found = window_figures(window)
    assert found == pytest.approx((loss, bandwidth), abs=near)


def test_no_sine_in_equal_samples_and_too_few() -> None:
    assert fit_sine(np.full(100, 3.0), 1.0) is None
    with pytest.raises(ValueOutOfRange) as caught:
        fit_sine(np.zeros(7), 1.0)
    assert str(caught.value) == "samples: 7 samples are too few for a frequency."
