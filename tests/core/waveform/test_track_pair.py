import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.position_sweep import track_sweep
from backprobe.core.waveform.track_pair import TrackLaw, TrackPair, track_pair
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array, hand_sweep, potentiometer

INTERVAL = 1e-3


def pair(first: Array, second: Array) -> TrackPair:
    return track_pair(track_sweep(first, INTERVAL), track_sweep(second, INTERVAL), INTERVAL)


# Closed and open volts of two tracks, as common in the trade (no source).
LAWS = [
    ((0.6, 4.4), (4.4, 0.6), TrackLaw.OPPOSED, -1.0, 5.0),
    ((0.7, 4.3), (0.35, 2.15), TrackLaw.HALF_SLOPE, 0.5, 0.0),
    ((0.35, 2.15), (0.7, 4.3), TrackLaw.HALF_SLOPE, 2.0, 0.0),
    ((0.5, 3.9), (1.1, 4.5), TrackLaw.PARALLEL, 1.0, 0.6),
    ((0.5, 4.5), (0.5, 4.5), TrackLaw.SAME, 1.0, 0.0),
    ((0.5, 4.5), (0.5, 3.3), TrackLaw.OTHER_SLOPE, 0.7, 0.15),
]


@pytest.mark.parametrize(("first", "second", "law", "slope", "intercept"), LAWS)
def test_laws(
    first: tuple[float, float],
    second: tuple[float, float],
    law: TrackLaw,
    slope: float,
    intercept: float,
) -> None:
    rng = np.random.default_rng(31)
    travel = hand_sweep(rng)
    one = potentiometer(travel, rng, closed=first[0], opened=first[1])
    two = potentiometer(travel, rng, closed=second[0], opened=second[1])
    found = pair(one, two)
    assert found.law is law
    # Noise of some millivolts against a span of volts.
    assert found.slope == pytest.approx(slope, abs=2e-3 + 3.0 * found.slope_uncertainty)
    assert found.intercept == pytest.approx(intercept, abs=5e-3)
    assert found.disagreements == ()


@given(st.sampled_from(LAWS), st.floats(0.2, 0.8), st.floats(0.3, 1.0), st.integers(0, 100))
def test_a_stretch_off_the_law_is_placed(
    case: tuple[tuple[float, float], tuple[float, float], TrackLaw, float, float],
    where: float,
    volts: float,
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    travel = hand_sweep(rng)
    one = potentiometer(travel, rng, closed=case[0][0], opened=case[0][1])
    two = potentiometer(travel, rng, closed=case[1][0], opened=case[1][1])
    hump = volts * np.exp(-0.5 * ((travel - where) / 0.03) ** 2)  # worn track, met on both ways
    found = pair(one, two + hump)
    assert found.law is case[2]
    assert len(found.disagreements) >= 1
    widest = max(found.disagreements, key=lambda place: abs(place.deviation))
    assert widest.travel == pytest.approx(where, abs=0.05)
    assert widest.deviation == pytest.approx(volts, abs=0.1)


def test_healthy_pairs_raise_no_alarm() -> None:
    rng = np.random.default_rng(32)
    alarms = 0
    for _ in range(200):
        travel = hand_sweep(rng, duration=2.0)
        noise = float(rng.uniform(0.0, 0.008))
        one = potentiometer(travel, rng, noise=noise)
        # A pair agrees within 2 % of travel at the middle.
        bent = travel + rng.uniform(-0.02, 0.02) * np.sin(np.pi * travel)
        two = potentiometer(bent, rng, closed=4.4, opened=0.6, noise=noise)
        found = pair(one, two)
        alarms += found.law is not TrackLaw.OPPOSED or bool(found.disagreements)
    assert alarms <= 3


def test_a_lifted_ground_shows_in_the_sum_of_opposed_tracks() -> None:
    rng = np.random.default_rng(33)
    travel = hand_sweep(rng)
    one = potentiometer(travel, rng) + 0.2
    two = potentiometer(travel, rng, closed=4.4, opened=0.6) + 0.2
    assert pair(one, two).intercept == pytest.approx(5.4, abs=0.01)


def test_tracks_without_a_law() -> None:
    rng = np.random.default_rng(34)
    travel = hand_sweep(rng)
    one = potentiometer(travel, rng)
    still = potentiometer(np.full(travel.size, 0.5), rng)
    other = potentiometer(np.abs(np.sin(6.0 * travel)), rng)
    assert pair(one, still).law is TrackLaw.UNRELATED
    assert pair(one, other).law is TrackLaw.UNRELATED
    assert pair(still, one).law is TrackLaw.CANT_TELL


def test_tracks_of_different_records_are_refused() -> None:
    rng = np.random.default_rng(35)
    volts = potentiometer(hand_sweep(rng), rng)
    with pytest.raises(ValueOutOfRange, match="Take both from one record"):
        pair(volts, volts[:-1])
