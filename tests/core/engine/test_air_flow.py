"""Air from an engine's size, load value or fuel: worked examples of textbook and standard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.air_flow import (
    absolute_load,
    air_from_fuel,
    air_per_stroke,
    flow_from_load,
    refer_to_ambient,
    speed_density_flow,
    swept_flow,
    volumetric_efficiency,
)
from backprobe.core.engine.throttle_flow import small_orifice_flow
from backprobe.errors import ValueOutOfRange

LITRE = 1e-3  # m³
GRAM = 1e-3  # kg


def test_efficiency_from_power_and_fuel() -> None:
    # Rajput, A Textbook of Internal Combustion Engines, example 7.2: 86 kW, 0.38 kg/kWh, 14 to 1,
    # 4066 cm³, 3600 1/min, 15 °C, 1.013 bar, R 287: prints 0.85.
    air = 86.0 * 0.38 / 3600.0 * 14.0
    found = volumetric_efficiency(air, 4.066 * LITRE, 3600.0, 101_300.0, 288.0, gas_constant=287.0)
    assert found == pytest.approx(0.85, abs=0.005)


def test_efficiency_from_an_air_box() -> None:
    # Rajput, example 7.3: orifice 5 cm, Cd 0.6, 4.6 cm of water, 17 °C, 1 bar; four cylinders of
    # 10 by 12 cm, 1200 1/min: prints 0.86.
    rho = 1e5 / (287.0 * 290.0)
    air = small_orifice_flow(np.pi / 4.0 * 0.05**2, 1000.0 * 9.81 * 0.046, rho, 0.6)
    volume = 4.0 * np.pi / 4.0 * 0.1**2 * 0.12
    found = volumetric_efficiency(air, volume, 1200.0, 1e5, 290.0, gas_constant=287.0)
    assert found == pytest.approx(0.86, abs=0.005)


def test_efficiency_referred_to_the_manifold() -> None:
    # Rajput, example 7.5: six cylinders of 730 cm³, 3100 1/min, 28 kg/h, 13 to 1, 0.88 bar, 300 K:
    # prints 87.43 %.
    air = 28.0 / 3600.0 * 13.0
    found = volumetric_efficiency(
        air, 6 * 0.73 * LITRE, 3100.0, 88_000.0, 300.0, gas_constant=287.0
    )
    assert found == pytest.approx(0.8743, abs=1e-4)


def test_speed_density() -> None:
    # Heywood (1988), eq. 2.27, by hand: 2.0 L, 800 1/min, 35 kPa, 30 °C, manifold-referred 0.85.
    found = speed_density_flow(2.0 * LITRE, 800.0, 35_000.0, 303.15, 0.85)
    assert found / GRAM == pytest.approx(4.558, abs=1e-3)


@pytest.mark.parametrize(
    ("speed", "pressure", "celsius", "efficiency", "grams"),
    # 2.0 L by hand from the same equation, rounded as a workshop does.
    [
        (750.0, 32.0, 40.0, 0.60, 2.7),
        (2500.0, 32.0, 40.0, 0.75, 11.1),
        (5000.0, 98.0, 30.0, 0.85, 79.8),
    ],
)
def test_speed_density_as_workshops_round_it(
    speed: float, pressure: float, celsius: float, efficiency: float, grams: float
) -> None:
    found = speed_density_flow(2.0 * LITRE, speed, pressure * 1e3, celsius + 273.15, efficiency)
    assert found / GRAM == pytest.approx(grams, abs=0.05)


def test_idle_takes_one_to_two_grams_a_litre() -> None:
    # Common practice, no source: a band, not a limit. 33 kPa, 40 °C, 750 1/min, 0.85.
    found = speed_density_flow(LITRE, 750.0, 33_000.0, 313.15, 0.85) / GRAM
    assert found == pytest.approx(1.95, abs=0.01)


@pytest.mark.parametrize(
    ("load", "speed", "grams"), [(0.2509804, 800.0, 3.962), (1.0, 6000.0, 118.4)]
)
def test_absolute_load(load: float, speed: float, grams: float) -> None:
    # SAE J1979, parameter 43, its text: (g per intake stroke) / (1.184 g/L · litres a cylinder).
    assert flow_from_load(load, speed, 2.0 * LITRE) / GRAM == pytest.approx(grams, abs=1e-3)
    found = absolute_load(grams * GRAM, speed, 2.0 * LITRE)
    assert found == pytest.approx(load, rel=1e-3)


def test_absolute_load_by_its_own_words() -> None:
    flow, speed, cylinders = 9.0 * GRAM, 1500.0, 4
    stroke = air_per_stroke(flow, speed, cylinders)
    assert stroke / GRAM == pytest.approx(9.0 / (1500 / 60 * 4 / 2))
    found = absolute_load(flow, speed, 1.6 * LITRE)
    assert found == pytest.approx(float(stroke) / GRAM / (1.184 * 1.6 / 4))


def test_air_from_fuel() -> None:
    # Balance of mass: 1 L/h, 0.745 kg/L, 14.6 to 1.
    found = air_from_fuel(LITRE / 3600.0, 745.0, 14.6)
    assert found / GRAM == pytest.approx(3.02, abs=0.01)
    assert air_from_fuel(LITRE / 3600.0, 745.0, 14.6, 2.0) == pytest.approx(2.0 * float(found))


@given(
    st.floats(0.3, 8.0),
    st.floats(300.0, 7000.0),
    st.floats(15.0, 250.0),
    st.floats(-30.0, 90.0),
    st.floats(0.2, 1.3),
)
def test_there_and_back(
    litres: float, speed: float, kilopascal: float, celsius: float, efficiency: float
) -> None:
    state = (litres * LITRE, speed, kilopascal * 1e3, celsius + 273.15)
    flow = speed_density_flow(*state, efficiency)
    assert volumetric_efficiency(flow, *state) == pytest.approx(efficiency, rel=1e-12)
    assert speed_density_flow(*state, efficiency, "two-stroke") == pytest.approx(2.0 * float(flow))
    assert swept_flow(*state) * efficiency == pytest.approx(float(flow))
    ambient = refer_to_ambient(efficiency, kilopascal * 1e3, celsius + 273.15, 1e5, 293.15)
    direct = volumetric_efficiency(flow, litres * LITRE, speed, 1e5, 293.15)
    assert ambient == pytest.approx(float(direct), rel=1e-12)


def test_a_batch_is_the_same_as_one_by_one() -> None:
    speed = np.array([800.0, 2500.0])
    both = speed_density_flow(2.0 * LITRE, speed, 35e3, 300.0, 0.8)
    each = [float(speed_density_flow(2.0 * LITRE, s, 35e3, 300.0, 0.8)) for s in speed]
    np.testing.assert_array_equal(both, each)


def test_an_unknown_cycle_is_named() -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        swept_flow(2.0 * LITRE, 800.0, 35e3, 300.0, "rotary")
    assert str(caught.value) == (
        'engine: "rotary" is no cycle that is known. Write "four-stroke" or "two-stroke".'
    )


def test_litres_are_no_cubic_metres() -> None:
    with pytest.raises(ValueOutOfRange, match="2 m³ is no displacement"):
        swept_flow(2.0, 800.0, 35e3, 300.0)


def test_an_engine_that_stands_has_no_efficiency() -> None:
    with pytest.raises(ValueOutOfRange, match="engine speed"):
        volumetric_efficiency(0.003, 2.0 * LITRE, 0.0, 35e3, 300.0)
