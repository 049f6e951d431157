from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.turning_points import turning_points


@given(st.lists(st.floats(1.0, 5.0), min_size=2, max_size=20), st.integers(0, 1000))
def test_the_corners_of_a_zigzag_are_found(strokes: list[float], seed: int) -> None:
    signs = np.where(np.arange(len(strokes)) % 2, -1.0, 1.0)
    corners = np.concatenate([[0.0], np.cumsum(signs * np.array(strokes))])
    rng = np.random.default_rng(seed)
    pieces = [np.linspace(a, b, 50, endpoint=False) for a, b in pairwise(corners)]
    values = np.concatenate([*pieces, corners[-1:]])
    noisy = values + rng.uniform(-0.05, 0.05, values.size)
    found = turning_points(noisy, 0.5)
    # All strokes are at least twice the amount; noise moves a corner by a sample or a few.
    assert len(found) == len(strokes) - 1
    assert all(abs(at - 50 * (k + 1)) <= 6 for k, at in enumerate(found))


def test_a_movement_in_one_direction_has_none() -> None:
    assert turning_points(np.linspace(0.0, 1.0, 100), 0.1) == []
    assert turning_points(np.array([1.0]), 0.1) == []


def test_long_records_are_thinned() -> None:
    values = np.concatenate([np.linspace(0.0, 1.0, 300_000), np.linspace(1.0, 0.0, 300_000)])
    (at,) = turning_points(values, 0.1)
    assert abs(at - 300_000) <= 60
