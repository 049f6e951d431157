"""The standard atmosphere: ISO 2533 by its formulas, and by a program of others."""

import ambiance  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.standard_atmosphere import (
    geometric_height,
    geopotential_height,
    pressure_height,
    standard_density,
    standard_pressure,
    standard_temperature,
)
from backprobe.errors import ValueOutOfRange

HEIGHTS = (0.0, 500.0, 1000.0, 1500.0, 2000.0, 3000.0, 5000.0)


def test_pressure_by_geopotential_height() -> None:
    # ISO 2533, computed from its formulas; half a pascal is beyond the digits of its tables.
    noted = (101_325.0, 95_460.8, 89_874.6, 84_556.0, 79_495.2, 70_108.5, 54_019.9)
    np.testing.assert_allclose(standard_pressure(HEIGHTS), noted, atol=0.5)


def test_density_by_geopotential_height() -> None:
    noted = (1.22500, 1.16727, 1.11164, 1.05807, 1.00649, 0.90912, 0.73612)
    np.testing.assert_allclose(standard_density(HEIGHTS), noted, atol=1e-5)


@pytest.mark.parametrize(
    ("height", "pressure", "density"),
    # ICAO 7488 by ambiance 1.3.1 and fluids 1.3.1, which agree.
    [
        (1000.0, 89_876.3, 1.11166),
        (2000.0, 79_501.4, 1.00655),
        (5000.0, 54_048.3, 0.73643),
    ],
)
def test_geometric_height(height: float, pressure: float, density: float) -> None:
    above = geopotential_height(height)
    assert standard_pressure(above) == pytest.approx(pressure, abs=0.5)
    assert standard_density(above) == pytest.approx(density, abs=1e-5)


@given(st.floats(-900.0, 10_900.0))
def test_agrees_with_a_program_of_others(height: float) -> None:
    theirs = ambiance.Atmosphere(height)
    above = geopotential_height(height)
    # Rounding of the constants in the two.
    assert standard_pressure(above) == pytest.approx(float(theirs.pressure[0]), rel=1e-6)
    assert standard_density(above) == pytest.approx(float(theirs.density[0]), rel=1e-6)
    assert standard_temperature(above) == pytest.approx(float(theirs.temperature[0]), rel=1e-7)


@given(st.floats(-1000.0, 11_000.0))
def test_height_and_pressure_are_inverse(height: float) -> None:
    assert pressure_height(standard_pressure(height)) == pytest.approx(height, abs=1e-6)
    assert geopotential_height(geometric_height(height)) == pytest.approx(height, abs=1e-6)


@given(st.floats(-1000.0, 10_000.0), st.floats(1.0, 900.0))
def test_higher_is_thinner_and_colder(height: float, more: float) -> None:
    assert standard_pressure(height + more) < standard_pressure(height)
    assert standard_density(height + more) < standard_density(height)
    assert standard_temperature(height + more) < standard_temperature(height)


def test_a_kilopascal_a_hundred_metres_low_down() -> None:
    # A rule of the trade (common practice, no source): about 1 kPa less each 100 m.
    fall = standard_pressure(0.0) - standard_pressure(100.0)
    assert float(fall) == pytest.approx(1_200.0, abs=300.0)


@pytest.mark.parametrize("pressure", [101.3, 10_000.0, 200_000.0, float("nan")])
def test_what_is_no_barometer_is_refused(pressure: float) -> None:
    with pytest.raises(ValueOutOfRange, match=r"barometric pressure: .* check the number"):
        pressure_height(pressure)
