"""Pulses of waves with known edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import crossing_instants
from backprobe.core.waveform.pulses import PulseCounter, Pulses, pulses_of

Array = NDArray[np.float64]


def edged(middles: Array, edge: float, n: int, interval: float) -> Array:
    """0 V, then straight edges to 5 V and back in turn, sampled."""
    corners = np.stack([middles - edge / 2, middles + edge / 2], axis=1).ravel()
    volts = np.tile([0.0, 5.0, 5.0, 0.0], middles.size)[: corners.size]
    return np.asarray(np.interp(np.arange(n) * interval, corners, volts))


def pulses_between(middles: Array, interval: float = 1e-4) -> Pulses:
    n = int((middles[-1] + 0.01) / interval)
    x = edged(middles, 8 * interval, n, interval)
    return pulses_of(crossing_instants(x, 2.5, hysteresis=0.5, interval=interval))


@given(st.lists(st.floats(1e-3, 5e-3), min_size=4, max_size=30))
@settings(max_examples=60, deadline=None)
def test_edges_are_given_back(spans: list[float]) -> None:
    # IEEE 181: pulses lie between mid-reference instants. The edges are as the wave was made with;
    # 1e-12 relative is some thousand units in the last place, what interpolation leaves.
    middles = 2e-3 + np.concatenate([[0.0], np.cumsum(spans)])
    found = pulses_between(middles)
    rises, falls = middles[0::2], middles[1::2]
    n = falls.size
    np.testing.assert_allclose(
        found.pulse_duration.values, falls - rises[:n], rtol=1e-12, atol=1e-15
    )
    np.testing.assert_allclose(
        found.pulse_separation.values, rises[1:] - falls[: rises.size - 1], rtol=1e-12, atol=1e-15
    )
    np.testing.assert_allclose(found.period.values, np.diff(rises), rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(found.frequency.values, 1.0 / np.diff(rises), rtol=1e-12, atol=1e-15)
    m = rises.size - 1
    np.testing.assert_allclose(
        found.duty.values, (falls - rises[:n])[:m] / np.diff(rises), rtol=1e-12, atol=1e-15
    )
    np.testing.assert_allclose(found.period.instants, rises[:-1], rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(found.pulse_separation.instants, falls[:m], rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(found.period_change.values, np.diff(np.diff(rises)), atol=2e-15)


def test_jitter_of_known_periods() -> None:
    rng = np.random.default_rng(2)
    own = rng.normal(0.0, 5e-5, 400)
    starts = 2e-3 + np.cumsum(4e-3 + own)
    middles = np.stack([starts, starts + 1e-3], axis=1).ravel()
    found = pulses_between(middles)
    periods = np.diff(starts)
    assert found.period_jitter == pytest.approx(periods.std(ddof=1), rel=1e-9)
    assert found.cycle_to_cycle_jitter == pytest.approx(np.diff(periods).std(ddof=1), rel=1e-9)
    # Independent periods: the change of one to the next spreads sqrt 2 times as much; 400 of them.
    assert found.cycle_to_cycle_jitter / found.period_jitter == pytest.approx(2**0.5, rel=0.1)
    assert found.mean_frequency == pytest.approx(399 / (starts[-1] - starts[0]), rel=1e-12)


def test_missing_pulses_are_counted() -> None:
    # Period falling from 5 to 3 ms, as an engine speeds up; one and then two pulses are missing.
    starts = 2e-3 + np.cumsum(np.linspace(5e-3, 3e-3, 60))
    gone = np.delete(starts, [20, 40, 41])
    middles = np.stack([gone, gone + 1e-3], axis=1).ravel()
    found = pulses_between(middles)
    assert found.dropouts.count == 2
    np.testing.assert_allclose(found.dropouts.instants, [starts[19], starts[39]], rtol=1e-12)
    assert found.dropouts.values.tolist() == [1.0, 2.0]
    assert found.glitches.count == 0


def test_short_pulse_is_a_glitch() -> None:
    starts = 2e-3 + 5e-3 * np.arange(30)
    middles = np.stack([starts, starts + 2.5e-3], axis=1).ravel()
    extra = np.array([starts[15] + 4e-3, starts[15] + 4.2e-3])
    found = pulses_between(np.sort(np.concatenate([middles, extra])), 2e-5)
    assert found.glitches.count == 1
    assert found.glitches.instants[0] == pytest.approx(extra[0], rel=1e-9)
    assert found.glitches.values[0] == pytest.approx(0.2e-3, rel=1e-9)


def test_steady_pulses_have_no_odd_ones() -> None:
    starts = 2e-3 + 5e-3 * np.arange(30)
    found = pulses_between(np.stack([starts, starts + 2.5e-3], axis=1).ravel())
    assert (found.dropouts.count, found.glitches.count) == (0, 0)


@given(
    st.lists(st.sampled_from([0.0, 0.0, 1.0, 1.0, 5.0, np.nan]), min_size=1, max_size=80),
    st.lists(st.integers(0, 5), max_size=40),
)
@settings(deadline=None)
def test_blocks_of_crossings_have_no_effect(samples: list[float], sizes: list[int]) -> None:
    crossings = crossing_instants(np.array(samples), 0.7)
    whole, counter = pulses_of(crossings), PulseCounter()
    a = 0
    for size in [*sizes, len(crossings)]:
        counter.add(crossings.chosen(slice(a, a + size)))
        a += size
    found = counter.result()
    for name in ("pulse_duration", "pulse_separation", "period", "duty", "period_change"):
        one, other = getattr(whole, name), getattr(found, name)
        assert one.values.tolist() == other.values.tolist()
        assert one.instants.tolist() == other.instants.tolist()
    for name in ("dropouts", "glitches"):
        one, other = getattr(whole, name), getattr(found, name)
        assert (one.count, one.values.tolist()) == (other.count, other.values.tolist())


def test_nothing_spans_a_gap() -> None:
    x = np.array([0, 1, 1, 0, 0, np.nan, 0, 1, 0, 1, 1, np.nan, 1, 0, 0], dtype=float)
    found = pulses_of(crossing_instants(x, 0.5))
    assert found.pulse_duration.values.tolist() == [2.0, 1.0]
    assert found.pulse_separation.values.tolist() == [1.0]
    assert found.period.values.tolist() == [2.0]
    assert found.period.instants.tolist() == [6.5]
