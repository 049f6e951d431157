"""State levels by the histogram, their uncertainty, and what counts as switching."""

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.waveform.histogram import HistogramCounter
from backprobe.core.waveform.levels import Instrument, StateLevels, levels_of, state_levels
from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]


def steps(n: int, low: float, high: float, duty: float, cycles: float) -> Array:
    phase = np.arange(n) * cycles / n % 1.0
    return np.where(phase < duty, high, low)


@pytest.mark.parametrize("method", ["mode", "mean"])
@pytest.mark.parametrize("bins", [50, 100, 256])
def test_levels_of_a_noisy_square_wave(method: str, bins: int) -> None:
    # IEEE 181-2011, 5.2: mode or mean of each half of the occupied range. Ideal levels 0.5 and
    # 4.5 V with noise of 20 mV; to one bin.
    x = steps(100_000, 0.5, 4.5, 0.4, 100.0)
    x += np.random.default_rng(5).normal(0.0, 0.02, x.size)
    found = state_levels(x, bins=bins, method=method)  # type: ignore[arg-type]
    assert found.state_level_low == pytest.approx(0.5, abs=found.bin_width)
    assert found.state_level_high == pytest.approx(4.5, abs=found.bin_width)
    assert found.bin_width == pytest.approx((x.max() - x.min()) / bins)
    if method == "mode":
        # Mean of some 40,000 samples of 20 mV noise: 0.1 mV; five of that.
        assert found.state_level_low == pytest.approx(0.5, abs=0.0005)
        assert found.state_level_high == pytest.approx(4.5, abs=0.0005)
        assert found.noise == pytest.approx(0.02, rel=0.03)


def test_reference_levels_of_a_published_example() -> None:
    # Levels 0.0138 and 5.1848 V have references at 0.5309 and 4.6677 V (10 and 90 %): the worked
    # example of a numeric toolbox's manual, as quoted in public.
    found = dataclasses.replace(
        state_levels(np.array([0.0, 1.0])), state_level_low=0.0138, state_level_high=5.1848
    )
    assert found.reference_level(10.0) == pytest.approx(0.5309, abs=1e-4)
    assert found.reference_level(90.0) == pytest.approx(4.6677, abs=1e-4)
    assert found.reference_level(50.0) == pytest.approx(0.5 * (0.0138 + 5.1848))
    assert found.amplitude == pytest.approx(5.171)


@given(
    st.floats(-50.0, 50.0),
    st.floats(0.1, 50.0),
    st.floats(0.1, 0.9),
    st.floats(0.0, 0.05),
    st.integers(0, 1000),
)
@settings(max_examples=50, deadline=None)
def test_scale_offset_and_inversion_move_the_levels_along(
    offset: float, scale: float, duty: float, noise: float, seed: int
) -> None:
    x = steps(3000, 0.0, 1.0, duty, 17.3)
    x += np.random.default_rng(seed).normal(0.0, 1.0, x.size) * noise
    plain, moved, inverted = state_levels(x), state_levels(offset + scale * x), state_levels(-x)
    # Bins fall elsewhere by rounding, and with them a few samples at the edge of a peak.
    near = 0.2 * noise / np.sqrt(100.0) + 1e-9
    assert moved.state_level_low == pytest.approx(
        offset + scale * plain.state_level_low, abs=scale * near + 1e-9
    )
    assert moved.state_level_high == pytest.approx(
        offset + scale * plain.state_level_high, abs=scale * near + 1e-9
    )
    assert inverted.state_level_low == pytest.approx(-plain.state_level_high, abs=near)
    assert inverted.state_level_high == pytest.approx(-plain.state_level_low, abs=near)
    assert moved.is_switching
    assert inverted.is_switching


@pytest.mark.parametrize("noise_in_bins", [0.1, 0.5, 1.0, 3.0])
def test_uncertainty_covers_the_true_levels(noise_in_bins: float) -> None:
    rng = np.random.default_rng(11)
    width, n_trial = 4.5 / 126, 400  # V; 4000 samples make 126 bins
    hits: list[bool] = []
    hits_bins: list[bool] = []
    for _ in range(n_trial):
        low, high = rng.uniform(0.0, 1.0), rng.uniform(4.0, 5.0)
        x = steps(4000, low, high, 0.4, 40.0) + rng.normal(0.0, noise_in_bins * width, 4000)
        found = state_levels(x)
        counter = HistogramCounter(float(x.min()), float(x.max()), 126)
        counter.add(x)
        by_bins = levels_of(counter.result())
        for hit, levels in ((hits, found), (hits_bins, by_bins)):
            hit.append(abs(levels.state_level_low - low) < 1.96 * levels.low_uncertainty)
            hit.append(abs(levels.state_level_high - high) < 1.96 * levels.high_uncertainty)
    # 800 draws of 95 %: standard deviation 0.8 %; three of these.
    assert np.mean(hits) == pytest.approx(0.95, abs=0.024)
    assert np.mean(hits_bins) > 0.926  # from bins alone it may be wider than need be


def test_instrument_adds_its_own_uncertainty() -> None:
    # JCGM 100, 5.1.2: parts that do not depend on each other add in squares; by hand.
    x = steps(1000, 1.0, 5.0, 0.5, 10.0)
    found = state_levels(x, instrument=Instrument(gain=0.01, offset=0.03))
    assert found.low_uncertainty == pytest.approx(np.hypot(0.01, 0.03), rel=1e-9)
    assert found.high_uncertainty == pytest.approx(np.hypot(0.05, 0.03), rel=1e-9)
    assert found.amplitude_uncertainty == pytest.approx(0.04, rel=1e-9)


# ------------------------------------------------------------------ switching or not

Drawn = Callable[[np.random.Generator, Array], Array]  # of phase, cycles


def trapezoid(rng: np.random.Generator, phase: Array) -> Array:
    edge, duty = rng.uniform(0.001, 0.08), rng.uniform(0.2, 0.8)
    p = phase % 1.0
    return np.asarray(np.clip(np.minimum(p / edge, (duty - p) / edge), 0.0, 1.0))


def charged(rng: np.random.Generator, phase: Array) -> Array:
    """Open collector: falls at once, rises as a capacitor is charged."""
    tau, duty = rng.uniform(0.005, 0.05), rng.uniform(0.3, 0.7)
    p = phase % 1.0
    return np.asarray(np.where(p < duty, 1.0 - np.exp(-p / tau), 0.0))


def ringing(rng: np.random.Generator, phase: Array) -> Array:
    duty, depth = rng.uniform(0.3, 0.7), rng.uniform(0.1, 0.4)
    p = phase % 1.0
    since = np.where(p < duty, p, p - duty)
    ring = depth * np.exp(-since / 0.02) * np.cos(since * 2 * np.pi / 0.01)
    return np.asarray(np.where(p < duty, 1.0 - ring, ring))


def narrow(rng: np.random.Generator, phase: Array) -> Array:
    return (phase % 1.0 < rng.uniform(0.01, 0.05)).astype(np.float64)


def sine(rng: np.random.Generator, phase: Array) -> Array:
    return np.asarray(np.sin(2 * np.pi * (phase + rng.uniform())))


def triangle(rng: np.random.Generator, phase: Array) -> Array:
    turn, p = rng.uniform(0.1, 0.9), phase % 1.0
    return np.asarray(np.where(p < turn, p / turn, (1.0 - p) / (1.0 - turn)))


def rectified(rng: np.random.Generator, phase: Array) -> Array:
    return np.maximum(sine(rng, phase), rng.uniform(-0.3, 0.3))


def steady(rng: np.random.Generator, phase: Array) -> Array:
    return np.asarray(rng.normal(0.0, 1.0, phase.size))


def two_tones(rng: np.random.Generator, phase: Array) -> Array:
    other = 0.5 * np.sin(2 * np.pi * rng.uniform(1.3, 7.0) * phase)
    return np.asarray(np.sin(2 * np.pi * phase) + other)


def decaying_peaks(rng: np.random.Generator, phase: Array) -> Array:
    return np.asarray(np.exp(-(phase % 1.0) / rng.uniform(0.01, 0.2)))


def sweep(rng: np.random.Generator, phase: Array) -> Array:
    end = phase[-1]
    return np.asarray(np.clip(np.minimum(phase / end * 2.0, 2.0 - phase / end * 2.0), 0, 1))


@pytest.mark.parametrize("shape", [trapezoid, charged, ringing, narrow])
def test_two_states_are_switching(shape: Drawn) -> None:
    assert all(drawn_levels(shape, seed).is_switching for seed in range(40))


@pytest.mark.parametrize(
    "shape", [sine, triangle, rectified, steady, two_tones, decaying_peaks, sweep]
)
def test_what_moves_in_between_is_not_switching(shape: Drawn) -> None:
    assert not any(drawn_levels(shape, seed).is_switching for seed in range(40))


def drawn_levels(shape: Drawn, seed: int) -> StateLevels:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5000, 30_000))
    phase = np.arange(n) * rng.uniform(5.0, 40.0) / n
    x = shape(rng, phase) * rng.uniform(0.1, 60.0) + rng.normal(0.0, 20.0)
    spread = rng.uniform(0.0, 0.04) * (x.max() - x.min())
    return state_levels(x + rng.normal(0.0, 1.0, n) * spread)


# ------------------------------------------------------------------ edges


def test_nothing_and_one_level() -> None:
    nothing = state_levels(np.array([np.nan]))
    assert np.isnan(nothing.state_level_low)
    assert not nothing.is_switching
    assert nothing.n_sample == 0
    steady_one = state_levels(np.array([3.0, np.nan, 3.0]))
    assert (steady_one.state_level_low, steady_one.state_level_high) == (3.0, 3.0)
    assert steady_one.amplitude == 0.0
    assert not steady_one.is_switching


def test_noiseless_levels_are_exact() -> None:
    found = state_levels(steps(5000, 0.1, 4.7, 0.3, 13.0))
    assert found.state_level_low == pytest.approx(0.1, abs=1e-12)
    assert found.state_level_high == pytest.approx(4.7, abs=1e-12)
    assert found.noise == pytest.approx(0.0, abs=1e-12)


def test_unknown_method_is_told() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        state_levels(np.array([0.0, 1.0]), method="median")  # type: ignore[arg-type]
    assert str(caught.value) == "method: There is no method median; there are mode and mean."
