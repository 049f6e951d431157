"""What each cause does to trims, against what the trade knows of it."""

import numpy as np
import pytest

from backprobe.core.engine.trim_pattern import (
    AIR_MASS,
    CAUSES,
    MANIFOLD_PRESSURE,
    Array,
    OperatingPoints,
    Pattern,
    draw_pattern,
    fuel_for_blend,
    pressure_ratio,
    share_of_choked_flow,
)
from backprobe.errors import ValueOutOfRange
from tests.core.engine.trims import POINTS

MIDDLE = np.full((1, 4), 0.5)
EVEN = np.random.default_rng(3).random((400, 4))


def middle(cause: str, metering: str = AIR_MASS) -> Array:
    """Trims at idle, 2500 1/min and under load, all sizes in the middle of their spread."""
    return np.asarray(draw_pattern(cause, metering, POINTS, MIDDLE).trim[0])


# Trim map of the trade (common practice, no source): what each cause looks like.
def test_unmetered_air_is_lean_at_idle_and_gone_at_load() -> None:
    idle, raised, loaded = middle("unmetered-air")
    assert idle > 0.1
    assert idle > 3.5 * raised  # five times the flow, at the same vacuum
    assert loaded < 0.1 * idle


def test_unmetered_air_hardly_shows_where_manifold_pressure_is_metered() -> None:
    assert middle("unmetered-air", MANIFOLD_PRESSURE)[0] < 0.15 * middle("unmetered-air")[0]


def test_weak_delivery_grows_with_load() -> None:
    idle, raised, loaded = middle("fuel-weak")
    assert idle < raised < loaded
    assert loaded > 0.08


def test_a_dirty_meter_takes_away_at_idle_and_adds_under_load() -> None:
    idle, _, loaded = middle("air-mass-dirty")
    assert idle < 0.0 < loaded


def test_a_lifted_ground_makes_the_meter_read_more_air_fading_with_load() -> None:
    idle, raised, loaded = middle("air-mass-ground")
    assert idle < raised < loaded < 0.0


@pytest.mark.parametrize("cause", ["fuel-leak", "fuel-pressure-high", "air-mass-high"])
def test_too_much_fuel_is_rich_everywhere(cause: str) -> None:
    assert (middle(cause) < 0.0).all()


def test_purge_takes_away_at_low_load_only() -> None:
    trims = draw_pattern("purge", AIR_MASS, POINTS, EVEN).trim.mean(axis=0)
    assert trims[0] < -0.02
    assert trims[0] < trims[2]
    assert abs(trims[2]) < 0.02


def test_an_exhaust_leak_looks_lean_at_low_load() -> None:
    idle, raised, loaded = middle("exhaust-leak")
    assert idle > raised > loaded >= 0.0


def test_a_leak_on_one_bank_has_half_of_the_air_to_share_it() -> None:
    """The same size of hole shows twice as much on its bank as spread over both."""
    size, filling = np.array([[0.6, 0.5]]), 0.5
    one = draw_pattern("bank-air", AIR_MASS, POINTS, size).trim[0]
    hole = 0.03 * (0.9 / 0.03) ** 0.6
    u = np.log(hole / 0.06) / np.log(0.9 / 0.06)
    both = draw_pattern("unmetered-air", AIR_MASS, POINTS, np.array([[u, filling, 0.5]])).trim[0]
    np.testing.assert_allclose(one, 2.0 * both, rtol=1e-9)


@pytest.mark.parametrize("cause", CAUSES)
@pytest.mark.parametrize("metering", [AIR_MASS, MANIFOLD_PRESSURE])
def test_every_draw_is_a_number(cause: str, metering: str) -> None:
    if metering not in CAUSES[cause].laws:
        with pytest.raises(ValueOutOfRange, match="Nothing is modelled for"):
            draw_pattern(cause, metering, POINTS, EVEN)
        return
    extreme = OperatingPoints(np.array([500.0, 7000.0]), np.array([0.3, 60.0]))
    pattern: Pattern = draw_pattern(cause, metering, extreme, np.vstack([EVEN, 1.0 - 1e-6 * EVEN]))
    assert np.isfinite(pattern.trim).all()
    assert (pattern.trim > -1.0).all()
    assert (pattern.reading_full_load > 0.0).all()


def test_manifold_pressure_from_the_air_flow() -> None:
    """Speed-density by hand: 2.0 l, 800 1/min, 35 kPa, 30 degC, efficiency 0.85 give 4.558 g/s.

    Heywood (1988), eq. 2.27. The module's air is at 25 degC, 298.15/303.15 of that.
    """
    points = OperatingPoints(np.array([800.0]), np.array([4.558 / 2.0]))
    ratio = pressure_ratio(points, points.flow[None, :], np.array([[0.85]]))
    assert ratio[0, 0] * 101.325 * 303.15 / 298.15 == pytest.approx(35.0, rel=2e-3)


def test_a_hole_passes_its_choked_flow_at_idle_and_little_at_load() -> None:
    """Heywood (1988), eqs. C.8 and C.9 worked by hand: 35, 60, 95 kPa behind 101.325 kPa."""
    share = share_of_choked_flow(np.array([35.0, 60.0, 95.0]) / 101.325)
    # Three decimals of g/s over 19.134 g/s.
    np.testing.assert_allclose(share, np.array([19.134, 18.961, 9.538]) / 19.134, atol=6e-5)


def test_ethanol_asks_for_a_third_more_fuel() -> None:
    """Fuel with 85 % ethanol needs 30 to 45 % more volume (common practice, no source)."""
    assert fuel_for_blend(np.zeros(1))[0] == pytest.approx(1.0)
    assert 1.30 < fuel_for_blend(np.array([0.85]))[0] < 1.45
