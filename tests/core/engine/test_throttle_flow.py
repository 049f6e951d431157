"""Compressible flow: tables of gas dynamics, textbook examples, and what must hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.throttle_flow import (
    critical_pressure_ratio,
    critical_temperature_ratio,
    mass_flux,
    small_orifice_flow,
    stagnation_pressure,
    stagnation_temperature,
    throttle_flow,
)
from backprobe.errors import ValueOutOfRange


def test_critical_ratios() -> None:
    # NACA Report 1135 (1953), table at Mach 1, k = 1.4.
    assert critical_pressure_ratio() == pytest.approx(0.528282, abs=1e-6)
    assert critical_temperature_ratio() == pytest.approx(0.833333, abs=1e-6)


def test_critical_state_of_carbon_dioxide() -> None:
    # Cengel & Cimbala, Fluid Mechanics (2006), example 12-4: 1.4 MPa, 473 K, k 1.289.
    assert critical_pressure_ratio(1.289) * 1.4e6 == pytest.approx(766_812.9, rel=1e-6)
    assert critical_temperature_ratio(1.289) * 473.0 == pytest.approx(413.281, rel=2e-6)


def test_choked_flux_of_air() -> None:
    # White, Fluid Mechanics, ch. 9 (from memory): 0.6847 p0/sqrt(R T0), or 0.0404 p0/sqrt(T0).
    found = mass_flux(101_325.0, 20_000.0, 288.15)
    assert found == pytest.approx(241.24, rel=5e-4)
    assert found == pytest.approx(0.0404 * 101_325.0 / np.sqrt(288.15), rel=1e-3)


def test_flow_through_a_throttle() -> None:
    # Heywood (1988), appendix C, eqs. C.8 and C.9, computed by hand: 1 cm², Cd 0.8, 293.15 K.
    behind = np.array([35.0, 53.528, 60.0, 80.0, 95.0, 100.0]) * 1e3
    noted = (19.134, 19.134, 18.961, 15.957, 9.538, 4.487)
    found = throttle_flow(1e-4, 101_325.0, behind, 293.15, 0.8) * 1e3
    np.testing.assert_allclose(found, noted, atol=1e-3)


def test_stagnation() -> None:
    # Cengel & Cimbala, example 12-1 (k 1.4, cp 1005): 255.7 K at 250 m/s; 54.05 kPa.
    still = stagnation_temperature(255.7, 250.0, 1005.0)
    assert still == pytest.approx(286.7945, rel=1e-4)
    assert stagnation_pressure(54_050.0, 255.7, 286.8) == pytest.approx(80_772.8, rel=1e-4)


def test_a_small_fall_of_pressure_is_bernoulli() -> None:
    rho = 101_325.0 / (287.05287 * 293.15)
    flat = small_orifice_flow(1e-4, 50.0, rho, 1.0)
    # The first neglected term is 3 dp / (4 k p), 0.03 % here.
    assert throttle_flow(1e-4, 101_325.0, 101_275.0, 293.15) == pytest.approx(flat, rel=1e-3)


@given(st.floats(2e4, 2e5), st.floats(0.01, 1.2), st.floats(230.0, 400.0))
def test_less_behind_is_never_less_flow(upstream: float, ratio: float, kelvin: float) -> None:
    more = mass_flux(upstream, upstream * ratio, kelvin)
    assert mass_flux(upstream, upstream * ratio * 0.9, kelvin) >= more
    assert more >= 0.0
    assert mass_flux(2.0 * upstream, 2.0 * upstream * ratio, kelvin) == pytest.approx(2.0 * more)


def test_nothing_flows_backwards() -> None:
    assert mass_flux(100_000.0, 100_000.0, 293.15) == 0.0
    assert mass_flux(100_000.0, 120_000.0, 293.15) == 0.0


@pytest.mark.parametrize("discharge", [-0.1, 1.1])
def test_an_impossible_discharge_is_refused(discharge: float) -> None:
    with pytest.raises(ValueOutOfRange, match="discharge coefficient"):
        throttle_flow(1e-4, 101_325.0, 50_000.0, 293.15, discharge)
