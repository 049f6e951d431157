"""Everything of one channel at once, in any blocks."""

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.core.waveform.levels import state_levels
from backprobe.core.waveform.measure import measure_pulses
from backprobe.core.waveform.record import measure
from backprobe.core.waveform.ripple import measure_ripple
from backprobe.core.waveform.transitions import measure_transitions

Array = NDArray[np.float64]


def switching(n: int, drift: float = 0.0) -> Array:
    phase = np.arange(n) % 500.3
    x = 0.5 + 4.0 * np.clip(np.minimum(phase, 206.0 - phase) / 6.0, 0.0, 1.0)
    x += np.random.default_rng(8).normal(0.0, 0.02, n) + drift * np.arange(n)
    return np.asarray(x)


def numbers(value: Any) -> list[Any]:
    if dataclasses.is_dataclass(value):
        return [
            n for field in dataclasses.fields(value) for n in numbers(getattr(value, field.name))
        ]
    if isinstance(value, tuple):
        return [n for part in value for n in numbers(part)]
    return [str(value.tolist() if isinstance(value, np.ndarray) else value)]


def test_array_map_and_stream_give_every_number_alike(tmp_path: Path) -> None:
    x = switching(700_000)  # more than one block
    x[300_000:300_020] = np.nan
    x[400_000] = np.inf
    path = tmp_path / "samples"
    x.tofile(path)
    mapped = np.memmap(path, dtype=np.float64, mode="r")
    levels = state_levels(x[:100_000])
    whole = numbers(measure(x, interval=1e-5, levels=levels))
    assert numbers(measure(mapped, interval=1e-5, levels=levels)) == whole
    parts = np.split(x, [1, 77, 100_000, 524_289])
    assert numbers(measure(iter(parts), interval=1e-5, levels=levels)) == whole
    assert numbers(measure(mapped, interval=1e-5)) == numbers(measure(x, interval=1e-5))


def test_each_part_is_what_it_is_alone() -> None:
    x = switching(40_000)
    found = measure(x, interval=1e-5, start=2.0)
    assert found.is_switching
    assert numbers(found.pulses) == numbers(measure_pulses(x, interval=1e-5, start=2.0))
    assert numbers(found.ripple) == numbers(measure_ripple(x, interval=1e-5))
    assert numbers(found.transitions) == numbers(
        measure_transitions(x, found.levels, interval=1e-5, start=2.0)
    )


def test_drifting_levels_are_told() -> None:
    # 0.2 V up within 200,000 samples of 10 us: 0.1 V/s.
    found = measure(switching(200_000, drift=1e-6), interval=1e-5)
    assert found.drift.rate_low == pytest.approx(0.1, rel=0.02)
    assert found.drift.rate_high == pytest.approx(0.1, rel=0.02)
    assert found.drift.state_level_low.lowest == pytest.approx(0.5 + 0.2 / 25, abs=0.005)
    steady = measure(switching(200_000), interval=1e-5)
    assert abs(steady.drift.rate_low) < 0.001
    assert np.isnan(measure(np.full(99, 3.0), interval=1.0).drift.rate_high)


def test_sine_does_not_switch() -> None:
    x = 2.0 * np.sin(2 * np.pi * 0.01 * np.arange(20_000))
    found = measure(x, interval=1e-4)
    assert not found.is_switching
    assert found.ripple.sine is not None
    assert found.ripple.sine.frequency == pytest.approx(100.0, rel=1e-9)
    assert found.pulses.pulses.mean_frequency == pytest.approx(100.0, rel=1e-4)


def test_room_taken_does_not_grow_with_the_record() -> None:
    x = switching(60_000)
    found = measure(x, interval=1e-5, most_kept=50)
    assert found.pulses.pulses.period.values.size <= 50
    assert found.pulses.pulses.period.count == 119
    assert found.transitions.slew[0].values.size <= 50
