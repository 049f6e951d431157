import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.snap_throttle import SnapVerdict, snap_throttle
from tests.core.waveform.signals import hand_sweep, oxygen_signal, potentiometer, snap_signal

INTERVAL = 1e-3


@given(st.floats(1.0, 1.6), st.floats(3.5, 4.6), st.floats(0.15, 0.6), st.integers(0, 1000))
def test_levels_and_instants_come_back(rest: float, peak: float, rise: float, seed: int) -> None:
    volts = snap_signal(rest=rest, peak=peak, rise=rise, pulse=0.03, seed=seed)
    found = snap_throttle(volts, INTERVAL, start=5.0)
    assert found.verdict is SnapVerdict.SNAP
    assert found.peak is not None
    assert found.dip is not None
    assert found.hump is not None
    # Intake pulses of 30 mV ride on everything; 27 Hz loses a third by the smoothing. Smoothing
    # takes (pi sigma / T)² / 4 of the height from the top: 0.3 % at 0.15 s.
    assert found.rest == pytest.approx(rest, abs=0.02)
    assert found.peak.value == pytest.approx(peak, abs=0.04)
    assert found.peak.instant == pytest.approx(6.0 + rise, abs=0.04)
    # Pulses of 30 mV against the slope at a tenth of the height, 0.6 pi / 2 of the mean slope.
    shift = 2.0 * 0.03 / ((peak - rest) / rise * 0.9)
    assert found.rise_duration == pytest.approx(0.5903 * rise, abs=shift + 2e-3)
    assert found.dip.value == pytest.approx(2.2, abs=0.04)
    assert found.hump.value == pytest.approx(3.0, abs=0.04)
    assert found.dip.instant == pytest.approx(6.3 + rise, abs=0.05)
    assert found.hump.instant == pytest.approx(6.8 + rise, abs=0.06)
    assert found.lowest_after is not None
    assert found.lowest_after.value == pytest.approx(rest - 0.2, abs=0.04)
    assert 7.0 < found.recovery - rise < 8.0


def test_a_cut_off_top_is_seen_and_a_round_one_is_not() -> None:
    rng = np.random.default_rng(51)
    missed = alarms = 0
    for seed in range(100):
        peak = float(rng.uniform(3.8, 4.8))
        noise = float(rng.uniform(0.0, 0.01))
        whole = snap_signal(peak=peak, noise=noise, seed=seed)
        alarms += snap_throttle(whole, INTERVAL).is_clipped
        cut = snap_signal(peak=peak, noise=0.002, clip=peak - 0.35, pulse=0.02, seed=seed)
        missed += not snap_throttle(cut, INTERVAL).is_clipped
    assert alarms <= 1
    assert missed <= 3


def test_without_a_second_hump_there_is_no_dip() -> None:
    volts = snap_signal(dip=1.2, hump=1.2, pulse=0.01)
    found = snap_throttle(volts, INTERVAL)
    assert found.verdict is SnapVerdict.SNAP
    assert found.hump is None or found.hump.value < 1.3


def test_a_record_that_begins_too_late() -> None:
    volts = snap_signal()[1300:]
    assert snap_throttle(volts, INTERVAL).verdict in (SnapVerdict.CUT_OFF, SnapVerdict.NO_SNAP)


def test_other_kinds_are_said_to_be_so() -> None:
    rng = np.random.default_rng(52)
    time = np.arange(4000) * INTERVAL
    square = np.where(time * 7.0 % 1.0 < 0.5, 0.3, 4.8)
    assert snap_throttle(square, INTERVAL).verdict is SnapVerdict.NOT_A_SNAP
    assert snap_throttle(oxygen_signal(), INTERVAL).verdict is SnapVerdict.NOT_A_SNAP
    sweep = potentiometer(hand_sweep(rng), rng)
    assert snap_throttle(sweep, INTERVAL).verdict is SnapVerdict.SLOW
    idle = 1.2 + 0.08 * np.sin(2.0 * np.pi * 27.0 * time) + rng.normal(0.0, 0.01, time.size)
    assert snap_throttle(idle, INTERVAL).verdict is SnapVerdict.NO_SNAP
