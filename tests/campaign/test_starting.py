"""Engines that start, and those that don't: common practice, no source.

Without the signal of its crankshaft sensor a control unit neither injects nor ignites.
"""

import numpy as np
import pytest

from backprobe.campaign.draw import Wishes, draw_vehicle
from backprobe.campaign.starting import engine_starts
from backprobe.campaign.vehicle import Vehicle


def vehicle(design: str, seed: int, *kinds: str) -> Vehicle:
    wishes = Wishes("fault" if kinds else "healthy", fault_kinds=kinds, design=design)
    return draw_vehicle(np.random.default_rng(seed), wishes)


@pytest.mark.parametrize("design", ["inductive", "hall-crank", "hall-cam", "thermistor"])
@pytest.mark.parametrize("seed", range(4))
def test_a_sound_engine_starts(design: str, seed: int) -> None:
    assert engine_starts(vehicle(design, seed).simulation)


@pytest.mark.parametrize("design", ["inductive", "hall-crank"])
@pytest.mark.parametrize("seed", range(4))
def test_an_engine_whose_crankshaft_is_not_seen_does_not(design: str, seed: int) -> None:
    assert not engine_starts(vehicle(design, seed, "sensor-open").simulation)


@pytest.mark.parametrize("design", ["hall-cam", "thermistor"])
@pytest.mark.parametrize("seed", range(4))
def test_without_another_sensor_it_starts(design: str, seed: int) -> None:
    assert engine_starts(vehicle(design, seed, "sensor-open").simulation)
