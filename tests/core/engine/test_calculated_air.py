"""Calculated air and its uncertainty: against draws, and against what workshops hold."""

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.calculated_air import InputUncertainty, calculate_air
from backprobe.core.engine.efficiency_prior import efficiency_prior, ideal_filling
from backprobe.core.engine.operating_point import AirEngine, air_points
from backprobe.errors import ValueOutOfRange

PETROL = AirEngine(2.0e-3)
IDLE = air_points(750.0, 33e3, 313.15, 100e3)
WIDE_OPEN = air_points(5000.0, 98e3, 303.15, 100e3)


def test_efficiency_covers_what_workshops_hold() -> None:
    # Common practice, no source: 0.5 to 0.7 at idle and uncertain, 0.75 to 0.95 wide open.
    low, high = efficiency_prior(PETROL, IDLE).interval()
    assert low < 0.5
    assert high > 0.7
    low, high = efficiency_prior(PETROL, WIDE_OPEN).interval()
    assert 0.70 < low < 0.78
    assert 0.92 < high < 1.02


@pytest.mark.parametrize("found", [0.85, 0.8565, 0.8743])
def test_printed_efficiencies_lie_inside(found: float) -> None:
    # Rajput, A Textbook of Internal Combustion Engines, examples 7.2, 7.3, 7.5.
    low, high = efficiency_prior(PETROL, air_points(3100.0, 97e3, 300.0, 100e3)).interval(1.0)
    assert low < found < high


def test_full_load_is_what_a_trade_journal_prints() -> None:
    # 37 to 40 g/s a litre at 5000 1/min and full load (trade journal column, Aug 2010, as quoted).
    low, high = calculate_air(PETROL, WIDE_OPEN).interval()
    assert low * 1e3 / 2.0 < 37.0
    assert high * 1e3 / 2.0 > 40.0


def test_residual_gas_by_hand() -> None:
    # Heywood (1988), eq. 6.2, r 10, k 1.3, p_e/p_i 3: 10/9 - 3.3/11.7 = 0.829.
    assert ideal_filling(np.array([1 / 3])) == pytest.approx(10 / 9 - 3.3 / 11.7)
    assert ideal_filling(np.array([1.0, 1.7])) == pytest.approx([1.0, 1.0])


def test_propagation_agrees_with_draws() -> None:
    """JCGM 101: draw the inputs, compute each time, compare standard deviations."""
    rng = np.random.default_rng(3)
    given_inputs = InputUncertainty()
    points = air_points((800.0, 2500.0), (35e3, 60e3), 303.15, 100e3)
    found = calculate_air(PETROL, points)
    n = 100_000
    offset = rng.normal(0.0, given_inputs.pressure, n)[:, None]
    own = rng.normal(0.0, given_inputs.reading, (n, 2))
    kelvin = 303.15 + rng.normal(0.0, given_inputs.temperature, n)[:, None]
    speed = points.speed_rpm * (1.0 + rng.normal(0.0, given_inputs.speed, (n, 2)))
    size = 2.0e-3 * (1.0 + rng.normal(0.0, given_inputs.displacement, n)[:, None])
    drawn = np.log(size * speed / 120.0 * (points.pressure + offset + own) / (287.05287 * kelvin))
    # Barometer and humidity are no inputs of this formula.
    named = {each.name: each.covariance for each in found.contributions}
    outside = named["the barometer"] + named["the humidity of the air"]
    expected = found.covariance - found.efficiency.covariance - outside
    # 2 %: the formula is curved in the pressure, and the draws are finite.
    np.testing.assert_allclose(np.cov(drawn.T), expected, rtol=0.02)


def test_idle_is_the_least_certain_and_says_why() -> None:
    points = air_points((750.0, 2500.0, 2500.0), (33e3, 33e3, 97e3), 303.15, 100e3)
    found = calculate_air(PETROL, points)
    assert np.all(np.diff(found.relative_uncertainty) < 0.0)
    assert found.limited_by(0)[0] == "exhaust that flows back at low load and speed"
    assert "how well this engine breathes" in found.limited_by(2)


def test_moist_air_is_lighter() -> None:
    dry = calculate_air(PETROL, IDLE, InputUncertainty(humidity=(0.0, 0.0)))
    moist = calculate_air(PETROL, IDLE, InputUncertainty(humidity=(0.9, 0.05)))
    # 2e-4: how far CIPM-2007 and the real-gas equation are apart.
    assert float((moist.swept / dry.swept)[0]) == pytest.approx(
        _lighter(313.15, 1e5, 0.9), rel=2e-4
    )


def _lighter(kelvin: float, pressure: float, humidity: float) -> float:
    """Density of moist over dry air by the real-gas equation of CoolProp."""
    densities = []
    for share in (humidity, 0.0):
        state = ("T", kelvin, "P", pressure, "R", share)
        densities.append((1.0 + HAPropsSI("W", *state)) / HAPropsSI("V", *state))
    return float(densities[0] / densities[1])


def test_recirculated_exhaust_makes_a_diesel_uncertain() -> None:
    points = air_points(800.0, 101e3, 303.15, 101e3)
    unknown = calculate_air(AirEngine(2.0e-3, is_diesel=True, is_forced=True), points)
    shut = calculate_air(
        AirEngine(2.0e-3, is_diesel=True, is_forced=True, recirculates=False), points
    )
    # Diesel idle, mg a stroke: 450 to 550 shut, 280 to 360 open, a published example of about two
    # litres and four cylinders (maker text as quoted).
    a_stroke = 800.0 / 60.0 * 2.0
    for air, low, high in ((shut, 450.0, 550.0), (unknown, 280.0, 360.0)):
        least, most = (float(each[0]) * 1e6 / a_stroke for each in air.interval())
        assert least < high
        assert most > low
    assert unknown.relative_uncertainty > 2.0 * shut.relative_uncertainty


@given(
    st.floats(0.6, 6.0),
    st.lists(st.tuples(st.floats(500.0, 7000.0), st.floats(20.0, 200.0)), min_size=1, max_size=6),
    st.booleans(),
    st.booleans(),
)
def test_covariance_is_one_and_flow_grows_with_pressure(
    litres: float, at: list[tuple[float, float]], is_diesel: bool, is_forced: bool
) -> None:
    speed, pressure = np.array(at).T
    engine = AirEngine(litres * 1e-3, is_diesel=is_diesel, is_forced=is_forced)
    points = air_points(speed, pressure * 1e3, 300.0, 100e3)
    found = calculate_air(engine, points)
    assert np.linalg.eigvalsh(found.covariance).min() > 0.0
    more = calculate_air(engine, air_points(speed, pressure * 1.01e3, 300.0, 100e3))
    assert np.all(more.median > found.median)
    low, high = found.interval()
    assert np.all((low < found.median) & (found.median < high))


def test_points_join_and_are_checked() -> None:
    assert len(IDLE.joined(WIDE_OPEN)) == 2
    with pytest.raises(ValueOutOfRange, match="manifold pressure: 33 Pa is no manifold pressure"):
        air_points(750.0, 33.0, 313.15, 100e3)
