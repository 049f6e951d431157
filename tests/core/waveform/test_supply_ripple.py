import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.supply_ripple import (
    RippleSource,
    RippleVerdict,
    supply_ripple,
)
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array

INTERVAL = 1e-4


def rectified(
    time: Array, hump_frequency: float, height: float, weak: float = 1.0, mean: float = 14.2
) -> Array:
    """Six-pulse rectified three-phase voltage; ``weak`` scales the humps of one diode.

    The top of a sine between 60 and 120 degrees: it falls to 0.866 of it, an RMS of 0.0402 of the
    top (0.042 of the mean is the textbook ripple factor of the six-pulse bridge).
    """
    phase = 2.0 * np.pi * hump_frequency / 6.0 * time
    angle = phase % (np.pi / 3.0) + np.pi / 3.0
    hump = (np.sin(angle) - 0.9549) / 0.134
    number = np.floor(phase / (np.pi / 3.0)) % 6.0
    dip = np.where(
        number < 2.0, (1.0 - weak) * np.sin(np.pi * (phase % (2 * np.pi / 3)) * 1.5 / np.pi), 0.0
    )
    return mean + height * (hump - 3.0 * np.abs(dip))


@given(st.floats(400.0, 2500.0), st.floats(0.01, 0.5), st.integers(0, 1000))
def test_size_and_frequency_come_back(frequency: float, height: float, seed: int) -> None:
    time = np.arange(10_000) * INTERVAL
    rng = np.random.default_rng(seed)
    volts = 14.0 + height * np.sin(2.0 * np.pi * frequency * time)
    found = supply_ripple(volts + rng.normal(0.0, 0.02 * height, time.size), INTERVAL)
    assert found.mean == pytest.approx(14.0, abs=0.01 * height + 1e-3)
    # A sine has an RMS of its height over root 2; noise adds 0.04 %, the ends of the record one.
    assert found.ripple == pytest.approx(height / np.sqrt(2.0), rel=0.02)
    assert found.peak_to_peak == pytest.approx(2.0 * height, rel=0.06)
    # A hundredth of the distance of lines, 1 Hz.
    assert found.frequency == pytest.approx(frequency, abs=0.05)


@pytest.mark.parametrize(
    ("rms", "verdict"),
    [(0.02, RippleVerdict.GOOD), (0.07, RippleVerdict.GREY), (0.2, RippleVerdict.HIGH)],
)
def test_published_limits_and_the_grey_zone(rms: float, verdict: RippleVerdict) -> None:
    time = np.arange(10_000) * INTERVAL
    volts = 14.0 + rms * np.sqrt(2.0) * np.sin(2.0 * np.pi * 900.0 * time)
    assert supply_ripple(volts, INTERVAL).verdict is verdict


def test_the_alternator_is_known_by_the_engine_speed() -> None:
    # 800 per minute, pulleys 1 to 2.6, six pairs of poles, six humps: 1248 Hz.
    time = np.linspace(0.0, 1.0, 20_000, endpoint=False)
    rng = np.random.default_rng(91)
    humps = 800.0 / 60.0 * 2.6 * 36.0
    even = rectified(time, humps, 0.08) + rng.normal(0.0, 0.01, time.size)
    found = supply_ripple(even, 5e-5, engine_rpm=800.0)
    assert found.frequency == pytest.approx(humps, abs=1.0)
    assert found.humps_per_turn == pytest.approx(93.6, rel=1e-3)
    assert found.source is RippleSource.ALTERNATOR
    uneven = rectified(time, humps, 0.08, weak=0.3) + rng.normal(0.0, 0.01, time.size)
    found = supply_ripple(uneven, 5e-5, engine_rpm=800.0)
    assert found.source is RippleSource.UNEVEN_ALTERNATOR
    mains = 13.8 + 0.05 * np.sin(2.0 * np.pi * 100.0 * time) + rng.normal(0.0, 0.005, time.size)
    assert supply_ripple(mains, 5e-5, engine_rpm=800.0).source is RippleSource.OTHER
    quiet = 12.6 + rng.normal(0.0, 0.01, time.size)
    found = supply_ripple(quiet, 5e-5, engine_rpm=800.0)
    assert found.source is RippleSource.NO_LINE
    assert np.isnan(found.frequency)


def test_drops_at_events() -> None:
    time = np.arange(40_000) * INTERVAL
    volts = 12.5 + np.random.default_rng(92).normal(0.0, 0.01, time.size)
    volts[10_000:10_500] -= 1.8
    volts[30_000:30_020] -= 0.6
    found = supply_ripple(volts, INTERVAL, start=2.0)
    assert [drop.start for drop in found.drops] == pytest.approx([3.0, 5.0], abs=2e-4)
    assert [drop.duration for drop in found.drops] == pytest.approx([0.05, 0.002], abs=2e-4)
    assert [drop.depth for drop in found.drops] == pytest.approx([1.8, 0.6], abs=0.06)
    assert found.ripple == pytest.approx(0.01, rel=0.05)


def test_quiet_supplies_raise_no_alarm() -> None:
    rng = np.random.default_rng(93)
    alarms = 0
    for _ in range(200):
        time = np.arange(4096) * INTERVAL
        volts = rng.uniform(12.2, 14.7) + rng.normal(0.0, rng.uniform(0.002, 0.04), time.size)
        found = supply_ripple(volts, INTERVAL, engine_rpm=800.0)
        alarms += (
            found.verdict is not RippleVerdict.GOOD
            or found.source is not RippleSource.NO_LINE
            or bool(found.drops)
        )
    assert alarms <= 3


def test_other_kinds_and_short_records() -> None:
    time = np.arange(10_000) * INTERVAL
    square = np.where(time * 100.0 % 1.0 < 0.5, 0.2, 4.8)
    assert supply_ripple(square, INTERVAL).verdict is RippleVerdict.NOT_A_SUPPLY
    coil = 2.0 * np.sin(2.0 * np.pi * 300.0 * time)
    assert supply_ripple(coil, INTERVAL).verdict is RippleVerdict.NOT_A_SUPPLY
    assert supply_ripple(np.full(100, 12.0), INTERVAL).verdict is RippleVerdict.TOO_SHORT


def test_an_engine_that_stands_is_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="Give the engine's speed, or leave it out"):
        supply_ripple(np.full(1000, 12.0), INTERVAL, engine_rpm=0.0)
