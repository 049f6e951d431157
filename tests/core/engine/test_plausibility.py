"""Quick checks: bands of common practice, the standard atmosphere, and what can't be judged."""

import numpy as np
import pytest

from backprobe.core.engine.operating_point import AirEngine
from backprobe.core.engine.plausibility import (
    DOUBTFUL,
    USUAL,
    WRONG,
    barometers_agree,
    full_load_air,
    idle_air,
    odd_one_out,
    snap_air,
    soaked_temperatures,
)
from backprobe.errors import ValueOutOfRange

PETROL = AirEngine(2.0e-3)


@pytest.mark.parametrize(
    ("grams", "verdict"),
    [(2.0, USUAL), (3.9, USUAL), (1.5, DOUBTFUL), (5.0, DOUBTFUL), (1.0, WRONG), (7.0, WRONG)],
)
def test_idle(grams: float, verdict: str) -> None:
    # About 1 to 2 g/s a litre (common practice, no source), the rest this project's grey zone.
    assert idle_air(grams * 1e-3, 2.0e-3).verdict == verdict


@pytest.mark.parametrize(
    ("grams", "verdict"), [(74.0, USUAL), (80.0, USUAL), (66.0, DOUBTFUL), (55.0, WRONG)]
)
def test_full_load(grams: float, verdict: str) -> None:
    # 37 to 40 g/s a litre at 5000 1/min (trade journal column, Aug 2010, as quoted).
    assert full_load_air(grams * 1e-3, PETROL, 5000.0, 298.15, 101e3).verdict == verdict


def test_at_height_less_is_usual() -> None:
    assert full_load_air(64e-3, PETROL, 5000.0, 298.15, 79.5e3).verdict == USUAL


def test_snap_counts_only_too_little() -> None:
    assert snap_air(60e-3, PETROL, 4000.0, 298.15).verdict == USUAL
    assert snap_air(150e-3, PETROL, 4000.0, 298.15).verdict == USUAL
    assert snap_air(20e-3, PETROL, 4000.0, 298.15).verdict == DOUBTFUL
    assert snap_air(10e-3, PETROL, 4000.0, 298.15).verdict == WRONG


def test_a_charged_engine_has_no_full_load_of_its_own() -> None:
    with pytest.raises(ValueOutOfRange, match="depends on its boost"):
        full_load_air(0.08, AirEngine(2.0e-3, is_forced=True), 5000.0, 298.15, 101e3)


@pytest.mark.parametrize(
    ("kilopascal", "height", "verdict"),
    [
        ((101.0, 99.0), None, USUAL),  # within 2 to 3 kPa (common practice, no source)
        ((101.0, 97.0), None, DOUBTFUL),
        ((101.0, 92.0), None, WRONG),
        ((95.0, 96.0), 500.0, USUAL),  # ISO 2533: 95.5 kPa at 500 m
        ((80.0, 79.0), 2000.0, USUAL),  # 79.5 kPa at 2000 m
        ((101.0, 101.0), 2000.0, WRONG),
        ((88.0,), 500.0, DOUBTFUL),
    ],
)
def test_barometers(kilopascal: tuple[float, ...], height: float | None, verdict: str) -> None:
    assert barometers_agree(np.array(kilopascal) * 1e3, height).verdict == verdict


@pytest.mark.parametrize(
    ("celsius", "verdict"),
    [((18.0, 20.0, 21.0), USUAL), ((18.0, 26.0), DOUBTFUL), ((18.0, 36.0), WRONG)],
)
def test_cold_soak(celsius: tuple[float, ...], verdict: str) -> None:
    # ±3 °C common practice, no source; on-board limits 17 to 49 °C (published, as quoted).
    assert soaked_temperatures(np.array(celsius), 8.0).verdict == verdict


def test_what_cannot_be_compared_is_refused() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        soaked_temperatures(np.array([18.0, 20.0]), 2.0)
    assert str(caught.value) == (
        "cold soak: After 2 hours an engine is not yet as cold as the air."
        " Let it stand for 6 to 8 hours, out of the sun."
    )
    with pytest.raises(ValueOutOfRange, match="One temperature has nothing to agree with"):
        soaked_temperatures(np.array([18.0]), 8.0)
    with pytest.raises(ValueOutOfRange, match="One pressure has nothing to agree with"):
        barometers_agree(np.array([101e3]))


def test_the_odd_one_out() -> None:
    assert odd_one_out(np.array([18.0, 19.0, 31.0]), 3.0) == 2
    assert odd_one_out(np.array([31.0, 18.0, 19.0, 17.0]), 3.0) == 0
    assert odd_one_out(np.array([18.0, 31.0]), 3.0) is None
    assert odd_one_out(np.array([18.0, 25.0, 31.0]), 3.0) is None
    assert odd_one_out(np.array([18.0, 19.0, 20.0]), 3.0) is None
