import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.cam_phase import CamVerdict, cam_phase
from backprobe.core.waveform.toothed_wheel import toothed_wheel
from tests.core.waveform.signals import Array, wheel_edges


def cam_edges(
    places_deg: list[float],
    *,
    speed_rpm: float = 900.0,
    duration: float = 2.0,
    drift_deg: float = 0.0,
    scatter_deg: float = 0.0,
    seed: int = 1,
) -> Array:
    """Instants at which cam edges pass, at a constant crank speed; the crank is at 0 at 0 s."""
    n_cycle = int(duration * speed_rpm / 120.0) + 1
    angle = (np.arange(n_cycle)[:, None] * 720.0 + np.array(sorted(places_deg))).ravel()
    rng = np.random.default_rng(seed)
    moved = angle + drift_deg * angle / angle[-1] + rng.normal(0.0, scatter_deg, angle.size)
    when = moved / 6.0 / speed_rpm
    return np.asarray(when[(when > 0.0) & (when < duration)])


def distance(angles: list[float], places: list[float], shift: float) -> float:
    """Largest distance of any angle from the nearest place, on two turns."""
    apart = np.subtract.outer(np.array(angles), np.array(places)) - shift
    return float(np.abs((apart + 360.0) % 720.0 - 360.0).min(axis=1).max())


@given(
    st.lists(st.integers(0, 35), min_size=1, max_size=5, unique=True),
    st.floats(0.0, 19.0),
    st.integers(0, 10_000),
)
def test_places_come_back(slots: list[int], offset: float, seed: int) -> None:
    places = [20.0 * slot + offset for slot in slots]
    crank = wheel_edges(speed_rpm=900.0, duration=2.0)
    found = cam_phase(crank, toothed_wheel(crank), cam_edges(places, scatter_deg=0.3, seed=seed))
    assert found.verdict is CamVerdict.STEADY
    assert len(found.edges) == len(places)
    # Which of the two turns is the first isn't known: all places may lie one turn on. 15 cycles of
    # 0.3 degrees: 0.08, five of it.
    distances = [
        distance([edge.angle_deg for edge in found.edges], places, s) for s in (0.0, 360.0)
    ]
    assert min(distances) < 0.4
    assert found.repeats_each_turn is all((slot + 18) % 36 in slots for slot in slots)


def test_scatter_and_drift_are_measured() -> None:
    crank = wheel_edges(speed_rpm=900.0, duration=8.0)
    wheel = toothed_wheel(crank)
    still = cam_phase(crank, wheel, cam_edges([100.0, 400.0], duration=8.0, scatter_deg=0.5))
    assert still.verdict is CamVerdict.STEADY
    # A standard deviation of 60 draws: a tenth of itself, three of these.
    assert [edge.scatter_deg for edge in still.edges] == pytest.approx([0.5, 0.5], rel=0.3)
    moving = cam_phase(
        crank,
        wheel,
        cam_edges([100.0, 400.0], duration=8.0, scatter_deg=0.5, drift_deg=4.0),
    )
    assert moving.verdict is CamVerdict.DRIFTS
    for edge in moving.edges:
        assert abs(edge.drift_deg - 4.0) < 4.0 * edge.drift_uncertainty_deg + 0.1


def test_healthy_pairs_raise_no_alarm() -> None:
    crank = wheel_edges(speed_rpm=900.0, duration=2.0)
    wheel = toothed_wheel(crank)
    rng = np.random.default_rng(4)
    alarms = 0
    for seed in range(200):
        cam = cam_edges([50.0, 230.0, 500.0], scatter_deg=rng.uniform(0.05, 0.8), seed=seed)
        alarms += cam_phase(crank, wheel, cam).verdict is not CamVerdict.STEADY
    assert alarms <= 3  # below 2 %


def test_edges_of_something_else_keep_no_place() -> None:
    crank = wheel_edges(speed_rpm=900.0, duration=4.0)
    other = np.cumsum(np.random.default_rng(5).uniform(0.02, 0.09, 60))
    found = cam_phase(crank, toothed_wheel(crank), other)
    assert found.verdict is CamVerdict.LOOSE


def test_without_a_marked_wheel_or_two_cycles_it_cannot_be_told() -> None:
    even = wheel_edges(missing=(), speed_rpm=900.0, duration=2.0)
    cam = cam_edges([100.0])
    assert cam_phase(even, toothed_wheel(even), cam).verdict is CamVerdict.CANT_TELL
    brief = wheel_edges(speed_rpm=900.0, duration=0.25)
    assert cam_phase(brief, toothed_wheel(brief), cam).verdict is CamVerdict.CANT_TELL
