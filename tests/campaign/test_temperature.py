"""Thermistor and platinum curves of the simulated vehicles against published tables."""

import pytest

from backprobe.campaign.temperature import (
    PUBLISHED_OHM,
    platinum_ohm,
    steinhart_hart_celsius,
    steinhart_hart_ohm,
    three_points,
)

# Probe manual 109SS App. C and a published coefficient set: the 10K3 curve.
A, B, C = 1.12924e-3, 2.34108e-4, 0.87755e-7


@pytest.mark.parametrize(
    ("ohm", "celsius"), [(336103.2, -40.0), (97006.9, -20.0), (32650.9, 0.0), (10000.0, 25.0)]
)
def test_steinhart_hart_temperature(ohm: float, celsius: float) -> None:
    assert steinhart_hart_celsius(A, B, C, ohm) == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "ohm"), [(0.0, 32650.0), (25.0, 10000.0), (50.0, 3601.0), (100.0, 678.4)]
)
def test_steinhart_hart_resistance(celsius: float, ohm: float) -> None:
    assert steinhart_hart_ohm(A, B, C, celsius) == pytest.approx(ohm, rel=2e-4)


def test_three_points_of_a_published_table_give_the_points_between() -> None:
    # A 10 kohm data sheet: 0, 25, 100 degC given; 50 and 85 degC printed as 4158 and 1451 ohm. The
    # three-parameter form is good for about 0.1 K there, 0.4 %.
    a, b, c = three_points(((0.0, 27326.0), (25.0, 10000.0), (100.0, 973.0)))
    assert steinhart_hart_ohm(a, b, c, 50.0) == pytest.approx(4158.0, rel=4e-3)
    assert steinhart_hart_ohm(a, b, c, 85.0) == pytest.approx(1451.0, rel=4e-3)


@pytest.mark.parametrize(
    ("celsius", "ohm"), [(0.0, 200.0), (25.0, 219.47), (100.0, 277.01), (500.0, 561.96)]
)
def test_platinum_law(celsius: float, ohm: float) -> None:
    # IEC 60751 table 1, twice the values of Pt100.
    assert platinum_ohm(200.0, celsius) == pytest.approx(ohm, abs=0.01)


def test_published_curves_fall_and_lie_in_the_trade_s_range() -> None:
    # Published curve table of parts makers' thermistors: 1650 to 3457 ohm at 20 degC.
    for curve in PUBLISHED_OHM:
        assert list(curve) == sorted(curve, reverse=True)
        assert 1600.0 < curve[2] < 3500.0
