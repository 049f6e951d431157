"""Each recogniser is shown every kind of signal: it takes its own and leaves the others."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from backprobe.core.waveform.crossings import crossing_instants
from backprobe.core.waveform.demodulation import ModulationVerdict, demodulated
from backprobe.core.waveform.inductive_pickup import PickupVerdict, inductive_pickup
from backprobe.core.waveform.oxygen_switching import OxygenVerdict, oxygen_switching
from backprobe.core.waveform.position_sweep import SweepVerdict, track_sweep
from backprobe.core.waveform.relative_compression import (
    CompressionVerdict,
    relative_compression,
)
from backprobe.core.waveform.sent_frames import SentVerdict, sent_frames
from backprobe.core.waveform.snap_throttle import SnapVerdict, snap_throttle
from backprobe.core.waveform.supply_ripple import RippleVerdict, supply_ripple
from backprobe.core.waveform.toothed_wheel import WheelVerdict, toothed_wheel
from tests.core.waveform.signals import (
    Array,
    cranking_current,
    hand_sweep,
    oxygen_signal,
    pickup_signal,
    potentiometer,
    sent_falling_edges,
    snap_signal,
    switching_edges,
    wheel_edges,
)

Record = tuple[Array, float]


def square(rising: Array, falling: Array, interval: float) -> Record:
    """Render edges as a digital signal with some noise."""
    time = np.arange(rising[0], min(rising[-1], falling[-1]), interval)
    high = np.searchsorted(rising, time) > np.searchsorted(falling, time)
    noise = np.random.default_rng(5).normal(0.0, 0.02, time.size)
    return np.where(high, 4.9, 0.2) + noise, interval


@cache
def records() -> dict[str, Record]:
    rng = np.random.default_rng(6)
    time = np.linspace(0.0, 2.0, 20_000, endpoint=False)
    current, _ = cranking_current([1.0, 1.0, 1.0, 1.0])
    sent = sent_falling_edges(rng.integers(0, 16, (200, 6)).tolist())
    wheel = wheel_edges(speed_rpm=900.0, duration=1.0)
    return {
        "sweep": (potentiometer(hand_sweep(rng), rng), 1e-3),
        "snap": (snap_signal(), 1e-3),
        "oxygen": (oxygen_signal(), 1e-3),
        "pickup": (pickup_signal(), 2e-5),
        "frequency": square(*switching_edges(lambda t: 2500.0 + 500.0 * t, 0.5), 2e-5),
        "wheel": square(wheel, wheel + 0.4e-3, 2e-5),
        "sent": square(sent[:-1] + 15e-6, sent[1:], 1e-6),
        "cranking": (current, 5e-4),
        "cranking volts": (12.4 - 0.018 * current, 5e-4),
        "supply": (14.1 + 0.03 * np.sin(2.0 * np.pi * 1240.0 * time), 1e-4),
        "noise": (rng.normal(0.0, 0.05, 20_000), 1e-4),
        "flat": (np.full(20_000, 5.0), 1e-4),
    }


def edges(record: Record) -> tuple[Array, Array]:
    samples, interval = record
    low, high = float(samples.min()), float(samples.max())
    found = crossing_instants(
        samples, 0.5 * (low + high), hysteresis=0.2 * (high - low), interval=interval
    )
    return found.instants[found.is_rising], found.instants[~found.is_rising]


def is_sent(record: Record) -> bool:
    return sent_frames(edges(record)[1]).verdict in (
        SentVerdict.FRAMES,
        SentVerdict.FRAMES_WITH_ERRORS,
        SentVerdict.SHAPE_ONLY,
    )


def is_wheel(record: Record) -> bool:
    return toothed_wheel(edges(record)[1]).verdict in (
        WheelVerdict.MISSING_TEETH,
        WheelVerdict.ADDED_TEETH,
    )


def is_frequency(record: Record) -> bool:
    return demodulated(*edges(record)).verdict is ModulationVerdict.CLEAR


def is_sweep(record: Record) -> bool:
    return track_sweep(*record).verdict in (SweepVerdict.SMOOTH, SweepVerdict.DEAD_SPOTS)


def is_snap(record: Record) -> bool:
    return snap_throttle(*record).verdict in (SnapVerdict.SNAP, SnapVerdict.CLIPPED)


def is_oxygen(record: Record) -> bool:
    return oxygen_switching(*record).verdict in (OxygenVerdict.SWITCHING, OxygenVerdict.LAZY)


def is_pickup(record: Record) -> bool:
    return inductive_pickup(*record).verdict in (PickupVerdict.PICKUP, PickupVerdict.ONE_SIDED)


def is_cranking(record: Record) -> bool:
    return relative_compression(*record, 4).verdict in (
        CompressionVerdict.EVEN,
        CompressionVerdict.WEAK,
    )


def is_cranking_volts(record: Record) -> bool:
    return relative_compression(*record, 4, is_voltage=True).verdict in (
        CompressionVerdict.EVEN,
        CompressionVerdict.WEAK,
    )


def is_supply(record: Record) -> bool:
    return supply_ripple(*record).verdict in (
        RippleVerdict.GOOD,
        RippleVerdict.GREY,
        RippleVerdict.HIGH,
    )


# What each takes beside its own: signals that the same physics or the same picture makes.
OWN: list[tuple[Callable[[Record], bool], set[str], set[str]]] = [
    (is_sent, {"sent"}, set()),
    # A pick-up's zero crossings are a wheel's teeth.
    (is_wheel, {"wheel"}, {"pickup"}),
    # Whatever repeats evenly has a frequency.
    (is_frequency, {"frequency"}, {"oxygen", "supply", "cranking", "cranking volts"}),
    # A snap moves there and back as a hand does, only faster.
    (is_sweep, {"sweep"}, {"snap"}),
    (is_snap, {"snap"}, set()),
    (is_oxygen, {"oxygen"}, set()),
    (is_pickup, {"pickup"}, set()),
    (is_cranking, {"cranking"}, {"cranking volts"}),
    (is_cranking_volts, {"cranking volts"}, {"cranking"}),
    # A steady voltage of five volts is a supply; so is the battery while it cranks.
    (is_supply, {"supply"}, {"flat", "cranking volts"}),
]


@pytest.mark.parametrize(("takes", "own", "may"), OWN, ids=[case[0].__name__ for case in OWN])
def test_a_recogniser_takes_its_own_and_leaves_the_others(
    takes: Callable[[Record], bool], own: set[str], may: set[str]
) -> None:
    taken = {name for name, record in records().items() if takes(record)}
    assert own <= taken
    assert taken <= own | may
