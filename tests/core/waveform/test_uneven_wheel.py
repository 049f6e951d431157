import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.uneven_wheel import UnevenVerdict, uneven_wheel
from tests.core.waveform.signals import Array, sent_falling_edges, wheel_edges


def vanes(shares: list[float], speed_rpm: float = 450.0, n_turn: int = 12, seed: int = 1) -> Array:
    """Edges of a wheel whose vanes are so far apart, its speed rising by a fifth."""
    one = np.cumsum(shares) - shares[0]
    angle = (np.arange(n_turn)[:, None] + one / np.sum(shares)).ravel()
    time = angle * 60.0 / speed_rpm
    bent = time * (1.0 - 0.1 * time / time[-1])
    return np.asarray(bent + np.random.default_rng(seed).normal(0.0, 2e-5, time.size))


@given(
    st.sampled_from(
        [
            [80.0, 110.0, 110.0, 60.0],
            [140.0, 220.0],
            [30.0, 70.0, 110.0, 150.0],
            [90.0, 180.0, 90.0],
        ]
    ),
    st.floats(100.0, 2000.0),
    st.integers(0, 100),
)
def test_vanes_come_back(shares: list[float], speed: float, seed: int) -> None:
    found = uneven_wheel(vanes(shares, speed, seed=seed))
    assert found.verdict is UnevenVerdict.REPEATS
    assert found.n_vane == len(shares)
    longest = int(np.argmax(shares))
    true = np.roll(shares, -(longest + 1)) / np.sum(shares)
    if sum(value == max(shares) for value in shares) == 1:
        # The speed rises by 1.7 % within a turn: up to half of this on a share, less in the mean.
        np.testing.assert_allclose(found.share, true, rtol=0.02)
    # One turn each: 450 a minute at first, a fifth to a quarter more at the end.
    assert found.speed_rpm[0] == pytest.approx(speed, rel=0.03)
    assert found.speed_rpm[-1] == pytest.approx(1.25 * speed, rel=0.04)


def test_even_and_toothed_wheels() -> None:
    assert uneven_wheel(np.linspace(0.0, 3.0, 100)).verdict is UnevenVerdict.EVEN
    toothed = wheel_edges(speed_rpm=900.0, duration=1.0)
    assert uneven_wheel(toothed).verdict is UnevenVerdict.EVEN


def test_other_kinds_have_no_pattern() -> None:
    rng = np.random.default_rng(3)
    sent = sent_falling_edges(rng.integers(0, 16, (60, 6)).tolist())
    others: dict[str, Array] = {
        "sent": sent,
        "irregular": np.cumsum(rng.exponential(1e-3, 1000)),
        "serial": np.cumsum(rng.integers(2, 10, 1000) * 26e-6),
    }
    for name, edges in others.items():
        assert uneven_wheel(edges).verdict is UnevenVerdict.NO_PATTERN, name


def test_irregular_edges_raise_no_alarm() -> None:
    rng = np.random.default_rng(4)
    alarms = 0
    for _ in range(200):
        edges = np.cumsum(rng.uniform(0.5, 1.5, int(rng.integers(8, 150))))
        alarms += uneven_wheel(edges).verdict is UnevenVerdict.REPEATS
    assert alarms <= 3


def test_few_edges_are_too_short() -> None:
    assert uneven_wheel(np.array([0.0, 1.0, 3.0, 4.0, 6.0])).verdict is UnevenVerdict.TOO_SHORT
