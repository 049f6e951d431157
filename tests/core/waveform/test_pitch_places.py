import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.pitch_places import marks_between, pitch_places
from tests.core.waveform.signals import Array, wheel_edges


@given(
    st.lists(st.integers(4, 110), min_size=1, max_size=3, unique=True),
    st.floats(0.03, 0.97),
    st.floats(200.0, 3000.0),
)
def test_false_edges_anywhere_move_no_other_edge(
    places: list[int], fraction: float, speed: float
) -> None:
    edges = wheel_edges(speed_rpm=speed, duration=3.0 * 60.0 / speed)
    # Not two in one pitch, nor in neighbouring ones: each pitch then has a sound one beside it.
    chosen = [k for k in places if all(abs(k - other) > 6 for other in places if other != k)]
    false = [float(edges[k] + fraction * (edges[k + 1] - edges[k])) for k in chosen]
    both = np.sort(np.concatenate([edges, false]))
    place, share = pitch_places(both)
    clean, _ = pitch_places(edges)
    np.testing.assert_allclose(place[np.isin(both, edges)], clean, atol=1e-9)
    assert share > 0.9


def test_marks_are_missing_and_extra_places() -> None:
    place: Array = np.array([0.0, 1.0, 1.4, 2.0, 5.0])
    missing, extra = marks_between(place)
    assert missing.tolist() == [3.0, 4.0]
    assert extra.tolist() == [1.4]


def test_a_steady_change_of_speed_moves_nothing() -> None:
    edges = wheel_edges(missing=(), speed_rpm=lambda t: 300.0 + 2000.0 * t, duration=1.0)
    place, share = pitch_places(edges)
    assert place.tolist() == list(range(edges.size))
    assert share == 1.0
