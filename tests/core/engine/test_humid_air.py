"""Moist air: published formula and values, another equation of state, and what must hold."""

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.humid_air import (
    compressibility,
    dry_air_share,
    enhancement_factor,
    is_within_stated_range,
    moist_air_density,
    saturation_vapour_pressure,
    simplified_moist_air_density,
    vapour_mole_fraction,
)
from backprobe.errors import ValueOutOfRange

# °C, Pa, relative humidity, kg/m³: computed once from CIPM-2007 (Picard et al., Metrologia 45
# (2008) 149-155) by hand, outside of this project's code; coefficients also read in public code.
PICARD = (
    (20.0, 101_325.0, 0.5, 1.199314),
    (20.0, 101_325.0, 0.0, 1.204557),
    (15.0, 101_325.0, 0.0, 1.225521),
    (0.0, 101_325.0, 0.0, 1.293049),
    (22.0, 100_000.0, 0.5, 1.174833),
    (35.0, 95_000.0, 0.8, 1.055066),
    (40.0, 101_325.0, 0.9, 1.099625),
)
CELSIUS = st.floats(-10.0, 45.0)
PASCAL = st.floats(80_000.0, 105_000.0)
HUMIDITY = st.floats(0.0, 0.9)


def real_gas(celsius: float, pressure: float, humidity: float) -> tuple[float, float]:
    """Density and share of dry air by the real-gas equation of CoolProp."""
    state = ("T", celsius + 273.15, "P", pressure, "R", humidity)
    water = HAPropsSI("W", *state)  # kg a kg of dry air
    return (1.0 + water) / HAPropsSI("V", *state), 1.0 / (1.0 + water)


@pytest.mark.parametrize(("celsius", "pressure", "humidity", "density"), PICARD)
def test_density_by_the_published_formula(
    celsius: float, pressure: float, humidity: float, density: float
) -> None:
    found = moist_air_density(celsius + 273.15, pressure, humidity)
    assert found == pytest.approx(density, abs=1e-6)  # the digits given


@given(CELSIUS, PASCAL, HUMIDITY)
def test_density_and_dry_share_agree_with_a_real_gas_equation(
    celsius: float, pressure: float, humidity: float
) -> None:
    density, share = real_gas(celsius, pressure, humidity)
    # 1.5e-4: how far the two methods were found apart over this range, far below any air sensor.
    assert moist_air_density(celsius + 273.15, pressure, humidity) == pytest.approx(
        density, rel=1.5e-4
    )
    # Below freezing one takes vapour over ice, the other over water: 2e-4; above they agree better.
    assert dry_air_share(celsius + 273.15, pressure, humidity) == pytest.approx(
        share, abs=2e-4 if celsius < 0.01 else 4e-5
    )


def test_the_real_gas_values_themselves_are_as_noted() -> None:
    # CoolProp 8.0.0 at the seven points above.
    noted = (1.199359, 1.204603, 1.225567, 1.293096, 1.174877, 1.055106, 1.099674)
    found = [real_gas(*point[:3])[0] for point in PICARD]
    np.testing.assert_allclose(found, noted, atol=2e-6)


@pytest.mark.parametrize(
    ("celsius", "humidity", "share"), [(20.0, 0.5, 0.99276), (40.0, 0.9, 0.95796)]
)
def test_share_of_dry_air(celsius: float, humidity: float, share: float) -> None:
    # CoolProp 8.0.0, humidity ratio at 101325 Pa; 1e-5 by its two equations of vapour pressure.
    assert dry_air_share(celsius + 273.15, 101_325.0, humidity) == pytest.approx(share, abs=2e-5)


def test_the_simplified_formula_has_its_own_value() -> None:
    # OIML R 111-1, E.3, at 20 °C, 1013.25 hPa, 50 %; the value from memory of the formula.
    found = simplified_moist_air_density(293.15, 101_325.0, 0.5)
    assert found == pytest.approx(1.199294, abs=1e-6)


@given(st.floats(10.0, 30.0), st.floats(90_000.0, 110_000.0), st.floats(0.0, 0.8))
def test_the_simplified_formula_checks_the_full_one(
    celsius: float, pressure: float, humidity: float
) -> None:
    full = moist_air_density(celsius + 273.15, pressure, humidity)
    simple = simplified_moist_air_density(celsius + 273.15, pressure, humidity)
    # OIML R 111-1 E.3 claims 2e-4; at 10 and at 30 °C the two are up to 2.9e-4 apart.
    assert simple == pytest.approx(full, rel=3e-4)


@given(CELSIUS, PASCAL, st.floats(0.0, 0.8))
def test_damp_warm_and_thin_air_is_lighter(
    celsius: float, pressure: float, humidity: float
) -> None:
    kelvin = celsius + 273.15
    density = moist_air_density(kelvin, pressure, humidity)
    assert moist_air_density(kelvin, pressure, humidity + 0.1) < density
    assert moist_air_density(kelvin + 1.0, pressure, humidity) < density
    assert moist_air_density(kelvin, pressure - 100.0, humidity) < density
    assert dry_air_share(kelvin, pressure, humidity + 0.1) < dry_air_share(
        kelvin, pressure, humidity
    )


def test_ideal_dry_air_is_the_limit() -> None:
    # 101325 / (287.05 · 298.15) = 1.1839: the density behind the absolute load value (ISO 2533 R).
    ideal = 101_325.0 / (287.05 * 298.15)
    assert ideal == pytest.approx(1.18393, abs=1e-5)
    assert moist_air_density(298.15, 101_325.0) == pytest.approx(ideal, rel=5e-4)
    assert compressibility(298.15, 1.0, 0.0) == pytest.approx(1.0, abs=1e-8)


def test_water_boils_where_it_does() -> None:
    # The boiling point is 101325 Pa at 99.97 °C (ITS-90); the formula is made for room air, 0.3 %.
    assert saturation_vapour_pressure(273.15 + 99.97) == pytest.approx(101_325.0, rel=5e-3)
    # Triple point of water 611.657 Pa at 273.16 K (IAPWS); the same tolerance.
    assert saturation_vapour_pressure(273.16) == pytest.approx(611.657, rel=5e-3)
    assert enhancement_factor(293.15, 101_325.0) == pytest.approx(1.004, abs=1e-3)


def test_the_stated_range_is_told() -> None:
    assert is_within_stated_range([288.15, 300.15], 101_325.0)
    assert not is_within_stated_range(273.15, 101_325.0)
    assert not is_within_stated_range(293.15, 50_000.0)
    assert not is_within_stated_range(float("nan"), 101_325.0)


@pytest.mark.parametrize(
    ("kelvin", "pressure", "humidity"),
    [(20.0, 101_325.0, 0.5), (293.15, 101.325, 0.5), (293.15, 101_325.0, 50.0)],
)
def test_another_unit_is_refused(kelvin: float, pressure: float, humidity: float) -> None:
    with pytest.raises(ValueOutOfRange, match="check the number and its unit"):
        moist_air_density(kelvin, pressure, humidity)


def test_the_message_says_what_where_and_how() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        moist_air_density(293.15, 101_325.0, 50.0)
    assert str(caught.value) == (
        "relative humidity: 50 is no relative humidity that this can be worked out for."
        " It goes from 0 to 1; check the number and its unit."
    )


def test_air_is_never_all_vapour() -> None:
    with pytest.raises(ValueOutOfRange, match="share of water vapour"):
        vapour_mole_fraction(370.0, 50_000.0, 1.0)
