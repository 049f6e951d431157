import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from backprobe.core.waveform.channel_pair import PairVerdict, channel_pair
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array

INTERVAL = 1e-5


def wandering(rng: np.random.Generator, n: int, smooth: float = 6.0) -> Array:
    """Smooth noise that repeats nowhere, deviation 1."""
    values = gaussian_filter1d(rng.normal(0.0, 1.0, n), smooth)
    return np.asarray(values / values.std())


def delayed(rng: np.random.Generator, n: int, delay: float) -> tuple[Array, Array]:
    """One smooth signal sampled twice, the second later by a number of samples (may be broken)."""
    # Eight times as many samples: a straight line between two is 1e-4 of the deviation off.
    fine = wandering(rng, (n + 400) * 8, 48.0)
    at = (np.arange(n) + 200) * 8
    later = np.interp(at - 8.0 * delay, np.arange(fine.size), fine)
    return fine[at], later


@given(
    st.floats(-100.0, 100.0),
    st.floats(0.2, 3.0),
    st.sampled_from([1.0, -1.0]),
    st.floats(-2.0, 2.0),
    st.integers(0, 1000),
)
def test_delay_gain_and_offset_come_back(
    delay: float, size: float, sign: float, offset: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    a, later = delayed(rng, 1500, delay)
    b = offset + sign * size * later + rng.normal(0.0, 0.05 * size, a.size)
    found = channel_pair(a, b, INTERVAL)
    # Five standard uncertainties; a fiftieth of a sample for the interpolation of the truth.
    assert abs(found.delay - delay * INTERVAL) < 5.0 * found.delay_uncertainty + 0.02 * INTERVAL
    assert abs(found.gain - sign * size) < 5.0 * found.gain_uncertainty + 1e-3 * size
    assert abs(found.offset - offset) < 5.0 * found.offset_uncertainty + 1e-3 * size
    assert found.residual == pytest.approx(0.05 * size, rel=0.15)
    if sign < 0.0:
        assert found.verdict is PairVerdict.INVERTED
    else:
        assert found.verdict in (PairVerdict.SCALED, PairVerdict.ALIKE)


def test_stated_uncertainty_of_the_delay_is_its_scatter() -> None:
    rng = np.random.default_rng(101)
    off = []
    for _ in range(150):
        a, later = delayed(rng, 600, 3.3)
        found = channel_pair(a, later + rng.normal(0.0, 0.2, a.size), INTERVAL)
        off.append((found.delay - 3.3 * INTERVAL) / found.delay_uncertainty)
    # A standard deviation of 150 draws: 6 % of itself, three of these.
    assert float(np.std(off)) == pytest.approx(1.0, rel=0.18)
    assert abs(float(np.mean(off))) < 0.3


def test_alike_scaled_partly_unrelated_flat() -> None:
    rng = np.random.default_rng(102)
    a, other = wandering(rng, 4000), wandering(rng, 4000)
    noise = rng.normal(0.0, 0.02, a.size)
    assert channel_pair(a, a + noise, INTERVAL).verdict is PairVerdict.ALIKE
    assert channel_pair(a, 0.5 * a + noise, INTERVAL).verdict is PairVerdict.SCALED
    assert channel_pair(a, a + 0.8 * other, INTERVAL).verdict is PairVerdict.PARTLY
    assert channel_pair(a, np.full(a.size, 5.0), INTERVAL).verdict is PairVerdict.FLAT
    unrelated = channel_pair(a, other, INTERVAL)
    assert unrelated.verdict is PairVerdict.UNRELATED
    assert np.isnan(unrelated.delay)


def test_unrelated_channels_raise_no_alarm() -> None:
    rng = np.random.default_rng(103)
    alarms = sum(
        channel_pair(wandering(rng, 2000), wandering(rng, 2000), INTERVAL).verdict
        is not PairVerdict.UNRELATED
        for _ in range(200)
    )
    assert alarms <= 3


def test_a_signal_that_repeats_has_no_single_delay() -> None:
    time = np.arange(5000) * INTERVAL
    rng = np.random.default_rng(104)
    square = np.where(time * 1000.0 % 1.0 < 0.5, 0.0, 5.0)
    later = np.roll(square, 20) + rng.normal(0.0, 0.05, time.size)
    found = channel_pair(square, later, INTERVAL)
    assert found.repeats_after == pytest.approx(1e-3, rel=0.02)
    assert (found.delay - 20 * INTERVAL + 0.5e-3) % 1e-3 == pytest.approx(0.5e-3, abs=1e-5)
    assert found.could_be_inverted
    upside_down = channel_pair(square, 5.0 - square, INTERVAL)
    assert upside_down.verdict is PairVerdict.INVERTED
    assert upside_down.could_be_inverted
    near = channel_pair(square, later, INTERVAL, largest_delay=0.4e-3)
    assert near.delay == pytest.approx(20 * INTERVAL, abs=0.5 * INTERVAL)
    single = channel_pair(wandering(rng, 5000), wandering(rng, 5000), INTERVAL)
    assert np.isnan(single.repeats_after)


def test_channels_of_different_records_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="Take both from one record"):
        channel_pair(np.zeros(20), np.zeros(21), INTERVAL)
