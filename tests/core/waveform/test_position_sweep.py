import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.position_sweep import SweepVerdict, TrackSweep, track_sweep
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array, hand_sweep, potentiometer, with_dead_spot

INTERVAL = 1e-3


def drawn(rng: np.random.Generator) -> tuple[Array, Array, float]:
    """Travel, volts and step of a healthy sweep, its circumstances drawn."""
    travel = hand_sweep(
        rng, there_and_back=bool(rng.integers(2)), duration=float(rng.uniform(1.5, 5.0))
    )
    closed, opened = rng.uniform(0.4, 1.0), rng.uniform(3.9, 4.8)
    if rng.integers(2):
        closed, opened = opened, closed
    step = float(rng.choice([5.0 / 4096, 10.0 / 1024, 10.0 / 256]))
    volts = potentiometer(
        travel,
        rng,
        closed=closed,
        opened=opened,
        noise=float(rng.uniform(0.0, 0.01)),
        step=step,
    )
    return travel, volts, step


def test_healthy_sweeps_raise_no_alarm() -> None:
    rng = np.random.default_rng(21)
    found = [track_sweep(drawn(rng)[1], INTERVAL) for _ in range(200)]
    assert sum(sweep.verdict is not SweepVerdict.SMOOTH for sweep in found) <= 3  # below 2 %
    assert all(sweep.rest_held and sweep.far_held for sweep in found)


def test_dead_spots_are_found_and_placed() -> None:
    rng = np.random.default_rng(22)
    missed, errors = 0, []
    for _ in range(100):
        travel, volts, step = drawn(rng)
        at = int(np.flatnonzero(travel >= rng.uniform(0.15, 0.85))[0])
        bad = with_dead_spot(
            volts,
            at,
            int(rng.integers(2, 60)),
            to=0.0 if volts[at] > 2.5 else 5.0,
            share=float(rng.uniform(0.3, 1.0)),
            step=step,
        )
        sweep = track_sweep(bad, INTERVAL, start=10.0)
        if sweep.verdict is SweepVerdict.DEAD_SPOTS and len(sweep.spots) == 1:
            errors.append(sweep.spots[0].travel - travel[at])
            assert sweep.spots[0].start == pytest.approx(10.0 + at * INTERVAL, abs=5e-3)
        else:
            missed += 1
    assert missed <= 5
    # The hand moves on during a spot of up to 60 ms: at most 1.9 times the mean speed of 1/1.5 a
    # second, half of it to the middle.
    assert float(np.max(np.abs(errors))) < 0.5 * 0.06 * 1.9 / 1.5 + 0.02


def both_ways(rng: np.random.Generator) -> tuple[Array, TrackSweep]:
    travel = hand_sweep(rng)
    up, down = np.flatnonzero(travel >= 0.4)[[0, -1]]
    volts = potentiometer(travel, rng)
    bad = with_dead_spot(with_dead_spot(volts, int(up), 12), int(down) - 12, 12)
    return travel, track_sweep(bad, INTERVAL)


def test_a_spot_met_on_both_ways_is_one_place() -> None:
    _, sweep = both_ways(np.random.default_rng(23))
    assert [spot.n_pass for spot in sweep.spots] == [2, 2]
    assert sweep.n_pass == 2
    for spot in sweep.spots:
        assert spot.travel == pytest.approx(0.4, abs=0.02)
        assert spot.duration == pytest.approx(12e-3, abs=4e-3)
        # From 0.6 + 0.4 * 3.8 V to ground.
        assert spot.depth == pytest.approx(-2.12, abs=0.1)
        assert spot.level == pytest.approx(0.0, abs=0.05)


@given(st.floats(0.4, 1.0), st.floats(3.9, 4.8), st.booleans(), st.integers(0, 1000))
def test_end_stops_come_back(closed: float, opened: float, is_falling: bool, seed: int) -> None:
    rng = np.random.default_rng(seed)
    ends = (opened, closed) if is_falling else (closed, opened)
    volts = potentiometer(hand_sweep(rng), rng, closed=ends[0], opened=ends[1])
    sweep = track_sweep(volts, INTERVAL)
    # Noise of 4 mV over hundreds of samples, and half a per cent of samples at the extremes.
    assert (sweep.rest, sweep.far) == pytest.approx(ends, abs=0.012)
    assert sweep.n_pass == 2
    assert sweep.noise == pytest.approx(0.004, rel=0.15)


def test_a_hand_that_goes_back_is_no_dead_spot() -> None:
    rng = np.random.default_rng(24)
    part = hand_sweep(rng, there_and_back=False)
    half = part[part < 0.6]
    back = np.concatenate([half, half[-300:][::-1], part[np.flatnonzero(part >= half[-300])]])
    sweep = track_sweep(potentiometer(back, rng), INTERVAL)
    assert sweep.verdict is SweepVerdict.SMOOTH
    assert not sweep.is_monotonic or sweep.n_pass > 1


def test_duration_is_from_a_tenth_to_nine_tenths() -> None:
    rng = np.random.default_rng(25)
    travel = np.concatenate([np.zeros(500), np.linspace(0.0, 1.0, 4001), np.ones(500)])
    sweep = track_sweep(potentiometer(travel, rng), INTERVAL)
    assert sweep.sweep_duration == pytest.approx(3.2, abs=0.03)


def test_wrong_kinds_are_said_to_be_so() -> None:
    rng = np.random.default_rng(26)
    time = np.arange(4000) * INTERVAL
    square = np.where(time * 7.0 % 1.0 < 0.5, 0.3, 4.8) + rng.normal(0.0, 0.005, time.size)
    noise = rng.normal(2.5, 1.0, time.size)
    sine = 2.5 + 2.0 * np.sin(2.0 * np.pi * 40.0 * time)
    for volts in (square, noise, sine):
        assert track_sweep(volts, INTERVAL).verdict in (
            SweepVerdict.NOT_A_SWEEP,
            SweepVerdict.NO_SWEEP,
        )
    still = potentiometer(np.full(4000, 0.3), rng)
    assert track_sweep(still, INTERVAL).verdict is SweepVerdict.NO_SWEEP


def test_a_stamp_on_the_pedal_is_too_fast_to_tell() -> None:
    rng = np.random.default_rng(27)
    travel = np.concatenate([np.zeros(500), np.linspace(0.0, 1.0, 200), np.ones(500)])
    sweep = track_sweep(potentiometer(travel, rng), INTERVAL)
    assert sweep.verdict is SweepVerdict.HURRIED


def test_no_samples_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="sweep: there are no samples"):
        track_sweep(np.full(5, np.nan), INTERVAL)
    with pytest.raises(ValueOutOfRange, match="isn't above zero"):
        track_sweep(np.ones(5), 0.0)
