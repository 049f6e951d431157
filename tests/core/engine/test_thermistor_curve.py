"""Curves of temperature sensors against published tables."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.circuit.elements import thermistor_ohm
from backprobe.core.engine.thermistor_curve import (
    BetaCurve,
    PlatinumCurve,
    ResistanceCurve,
    SteinhartHartCurve,
    TableCurve,
    relative_slope,
)
from backprobe.errors import ValueOutOfRange

# A component maker's data sheet of a 10 kohm thermistor, as quoted in public source code.
CELSIUS = np.array([0.0, 25.0, 50.0, 85.0, 100.0, 125.0])
OHM = np.array([27326.0, 10000.0, 4158.0, 1451.0, 973.0, 531.0])
# Coefficients and table of one 10 kohm curve from two separate public documents.
PROBE = SteinhartHartCurve(1.12924e-3, 2.34108e-4, 0.87755e-7)


# IEC 60751, table 1.
@pytest.mark.parametrize(
    ("celsius", "ohm"),
    [
        (-200.0, 18.52),
        (-50.0, 80.31),
        (0.0, 100.00),
        (25.0, 109.73),
        (100.0, 138.51),
        (200.0, 175.86),
        (600.0, 313.71),
        (850.0, 390.48),
    ],
)
def test_platinum_is_that_of_the_standard(celsius: float, ohm: float) -> None:
    # Half of the table's last digit.
    assert PlatinumCurve(100.0).ohm(np.array(celsius)) == pytest.approx(ohm, abs=0.005)
    assert PlatinumCurve(100.0).celsius(np.array(ohm)) == pytest.approx(celsius, abs=0.03)


# Twice the same table: elements of exhaust gas sensors.
@pytest.mark.parametrize(
    ("celsius", "ohm"),
    [
        (-40.0, 168.54),
        (0.0, 200.0),
        (25.0, 219.47),
        (100.0, 277.01),
        (500.0, 561.96),
        (850.0, 780.96),
    ],
)
def test_platinum_of_200_ohm(celsius: float, ohm: float) -> None:
    assert PlatinumCurve(200.0).ohm(np.array(celsius)) == pytest.approx(ohm, abs=0.01)


@pytest.mark.parametrize(("celsius", "beta"), [(50.0, 3382.0), (85.0, 3435.0), (100.0, 3456.0)])
def test_beta_of_a_published_table(celsius: float, beta: float) -> None:
    """The same data sheet prints B25/85 3435 K and B25/100 3455 K."""
    ohm = OHM[celsius == CELSIUS][0]
    found = BetaCurve(10000.0, 25.0, beta).ohm(np.array(celsius))
    # 2 K of beta, the table's own rounding.
    assert np.log(found / ohm) == pytest.approx(
        0.0, abs=2.0 * abs(1 / 298.15 - 1 / (celsius + 273.15))
    )


# Another component maker's data sheet, 47 kohm, B25/50 4050 K, B25/85 4108 K.
@pytest.mark.parametrize(
    ("celsius", "ohm", "beta"), [(50.0, 16433.0, 4050.0), (85.0, 4674.0, 4108.0)]
)
def test_beta_of_another_published_table(celsius: float, ohm: float, beta: float) -> None:
    found = np.log(47000.0 / ohm) / (1 / 298.15 - 1 / (celsius + 273.15))
    assert found == pytest.approx(beta, abs=2.0)


# A sensor maker's data sheet of a vehicle sensor, 15 kohm at 25 degC, B25/100 4101 K.
def test_beta_of_a_vehicle_sensor() -> None:
    assert np.log(15000.0 / 945.0) / (1 / 298.15 - 1 / 373.15) == pytest.approx(4101.0, abs=2.0)


def test_one_beta_is_a_kelvin_off_where_it_was_not_fitted() -> None:
    """B25/100 of the 10 kohm table used at 0 degC: 28892 ohm for 27326, about 1.2 K."""
    found = BetaCurve(10000.0, 25.0, 3456.0).ohm(np.array(0.0))
    assert found == pytest.approx(28892.0, rel=1e-3)
    table = TableCurve(CELSIUS, OHM)
    assert table.celsius(found) == pytest.approx(-1.2, abs=0.1)


@pytest.mark.parametrize(
    ("celsius", "ohm"), [(-40.0, 336103.2), (-20.0, 97006.9), (0.0, 32650.9), (25.0, 10000.0)]
)
def test_steinhart_and_hart_to_degrees(celsius: float, ohm: float) -> None:
    assert PROBE.celsius(np.array(ohm)) == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "ohm"), [(0.0, 32650.0), (25.0, 10000.0), (50.0, 3601.0), (100.0, 678.4)]
)
def test_steinhart_and_hart_to_ohms(celsius: float, ohm: float) -> None:
    assert PROBE.ohm(np.array(celsius)) == pytest.approx(ohm, rel=2e-4)


def test_a_table_gives_its_rows_and_stays_near_the_truth_between_them() -> None:
    table = TableCurve(CELSIUS, OHM)
    np.testing.assert_allclose(table.ohm(CELSIUS), OHM, rtol=1e-12)
    # The probe's curve known at every 20 K only: the bend between rows costs less than 0.15 K.
    rows = np.arange(-40.0, 121.0, 20.0)
    coarse, between = TableCurve(rows, PROBE.ohm(rows)), np.arange(-35.0, 115.0, 5.0)
    np.testing.assert_allclose(coarse.celsius(PROBE.ohm(between)), between, atol=0.15)


CURVES: list[ResistanceCurve] = [
    BetaCurve(2500.0, 20.0, 3500.0),
    PROBE,
    SteinhartHartCurve(3.354e-3 - 3e-4 * np.log(1e4), 3e-4, 0.0),
    TableCurve(CELSIUS, OHM),
    PlatinumCurve(200.0),
]


@given(st.sampled_from(CURVES), st.floats(-60.0, 140.0))
def test_there_and_back(curve: ResistanceCurve, celsius: float) -> None:
    assert curve.celsius(curve.ohm(np.array(celsius))) == pytest.approx(celsius, abs=1e-6)


@given(st.floats(100.0, 1e5), st.floats(2500.0, 5000.0), st.floats(-40.0, 150.0))
def test_the_same_law_as_in_the_circuits(ohm: float, beta: float, celsius: float) -> None:
    there = thermistor_ohm(np.array(ohm), np.array(beta), np.array(celsius))
    assert BetaCurve(ohm, 25.0, beta).ohm(np.array(celsius)) == pytest.approx(
        float(there), rel=1e-12
    )


def test_slopes() -> None:
    """-beta / T^2 by calculus; a thermistor moves by some per cent a degree, platinum by 0.39."""
    slope = relative_slope(BetaCurve(2500.0, 25.0, 3500.0), np.array(25.0))
    assert slope == pytest.approx(-3500.0 / 298.15**2, rel=1e-5)
    assert relative_slope(PlatinumCurve(100.0), np.array(0.0)) == pytest.approx(3.9083e-3, rel=1e-3)


@pytest.mark.parametrize(
    ("celsius", "ohm", "text"),
    [
        ([20.0], [2500.0], "needs two rows at least"),
        ([20.0, 0.0], [2500.0, 5896.0], "have to rise from row to row"),
        ([0.0, 20.0], [2500.0, 5896.0], "have to rise from row to row"),
    ],
)
def test_a_table_out_of_order_is_refused(celsius: list[float], ohm: list[float], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        TableCurve(np.array(celsius), np.array(ohm))


@pytest.mark.parametrize("curve", CURVES)
def test_no_resistance_is_no_temperature(curve: ResistanceCurve) -> None:
    with pytest.raises(ValueOutOfRange, match=r"above zero\. A reading of 0 is a short"):
        curve.celsius(np.array([0.0]))
