"""Coefficients of the elements, their slopes, and the laws of temperature sensors."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.circuit.elements import (
    KELVIN_AT_0_DEGC,
    Coefficient,
    coefficients,
    platinum_ratio,
    thermistor_celsius,
    thermistor_ohm,
)
from backprobe.core.circuit.nodal import solve

Array = NDArray[np.float64]

ohms = st.floats(-3.0, 9.0).map(lambda exponent: 10.0**exponent)
# Values p0, p1, p2 that make sense for each kind.
VALUES = {
    Coefficient.CONDUCTANCE: st.tuples(ohms, st.just(0.0), st.just(0.0)),
    Coefficient.THERMISTOR: st.tuples(ohms, st.floats(2000.0, 6000.0), st.floats(-45.0, 160.0)),
    Coefficient.PLATINUM: st.tuples(ohms, st.floats(-180.0, 840.0), st.just(0.0)),
    Coefficient.TRACK_UPPER: st.tuples(ohms, st.floats(0.01, 0.99), st.just(0.0)),
    Coefficient.TRACK_LOWER: st.tuples(ohms, st.floats(0.01, 0.99), st.just(0.0)),
    Coefficient.TRANSFER: st.tuples(ohms, st.floats(-0.2, 1.2), st.just(0.0)),
    Coefficient.SOURCE: st.tuples(st.floats(-15.0, 15.0), ohms, st.just(0.0)),
    Coefficient.CURRENT: st.tuples(st.floats(-5.0, 5.0), st.just(0.0), st.just(0.0)),
    Coefficient.SINK_STARVED: st.tuples(
        st.floats(0.001, 0.1), st.floats(2.0, 9.0), st.floats(0.0, 1.8)
    ),
    Coefficient.SINK_ONSET: st.tuples(
        st.floats(0.001, 0.1), st.floats(2.0, 9.0), st.floats(0.0, 1.8)
    ),
    Coefficient.SERIES: st.tuples(ohms, ohms, st.just(0.0)),
}


def found(kind: Coefficient, values: tuple[float, ...]) -> tuple[Array, Array, Array, Array]:
    p = [np.array([value]) for value in values]
    return coefficients(np.array([kind], dtype=np.int8), p[0], p[1], p[2])


@pytest.mark.parametrize("kind", VALUES)
def test_slopes_are_those_of_central_differences(kind: Coefficient) -> None:
    @given(VALUES[kind])
    def check(values: tuple[float, float, float]) -> None:
        c, *slopes = found(kind, values)
        for place, value in enumerate(values):
            # A track's position is a share: its step is one of the whole, not of the rest.
            step = 1e-6 * max(abs(value), 1e-3)
            moved = []
            for side in (step, -step):
                other = list(values)
                other[place] += side
                moved.append(found(kind, tuple(other))[0][0])
            slope = (moved[0] - moved[1]) / (2 * step)
            # Cancellation in the difference, and its cubic term.
            tolerance = 1e-9 * abs(c[0]) / step + 1e-7 * abs(slope) + 1e-300
            assert abs(slopes[place][0] - slope) <= tolerance

    check()


def test_many_kinds_side_by_side_are_each_computed_by_their_own_law() -> None:
    kinds = list(VALUES)
    p = np.array([[7.0, 0.4, 3.0]] * len(kinds)).T
    together = coefficients(np.array(kinds, dtype=np.int8), p[0], p[1], p[2])
    for place, kind in enumerate(kinds):
        alone = found(kind, (7.0, 0.4, 3.0))
        assert [part[place] for part in together] == [part[0] for part in alone]


def test_padding_contributes_nothing() -> None:
    none = np.array([Coefficient.NONE], dtype=np.int8)
    blank = np.zeros((2, 3, 1))
    assert all(np.array_equal(part, blank) for part in coefficients(none, blank, blank, blank))


def test_a_wiper_stops_at_the_ends_of_its_track() -> None:
    for kind, at_end in ((Coefficient.TRACK_LOWER, -0.3), (Coefficient.TRACK_UPPER, 1.3)):
        c, _, slope, _ = found(kind, (1000.0, at_end, 0.0))
        # The end resistance is 0.002 of the track (README of the families).
        assert c[0] == pytest.approx(1.0 / (1000.0 * 0.002), rel=1e-12)
        assert slope[0] == 0.0


@given(st.floats(0.0, 1.0), ohms)
def test_the_two_parts_of_a_track_make_up_the_whole(share: float, ohm: float) -> None:
    parts = [
        1.0 / found(k, (ohm, share, 0.0))[0][0]
        for k in (Coefficient.TRACK_UPPER, Coefficient.TRACK_LOWER)
    ]
    assert sum(parts) == pytest.approx(1.004 * ohm, rel=1e-12)


# ---------------------------------------------------------------- thermistors
def beta(ohm: Array, celsius: Array) -> float:
    """B over a range: ln (R1 / R2) / (1 / T1 - 1 / T2)."""
    kelvin = celsius + KELVIN_AT_0_DEGC
    return float(np.log(ohm[0] / ohm[1]) / (1.0 / kelvin[0] - 1.0 / kelvin[1]))


# 10 kohm part, table of its datasheet (TDK-EPCOS B57330V2103).
EPCOS = {0: 27326.0, 25: 10000.0, 50: 4158.0, 85: 1451.0, 100: 973.0, 125: 531.0}
# 47 kohm part, table of its datasheet (Murata NCPxxWB473).
MURATA = {-40: 1747920.0, 0: 158214.0, 25: 47000.0, 50: 16433.0, 85: 4674.0, 100: 2902.0}
# Vehicle part of 15 kohm at 25 degC, table of a sensor maker's datasheet.
VEHICLE = {-20: 145880.0, 0: 49254.0, 25: 15000.0, 50: 5356.0, 80: 1804.0, 100: 945.0}


@pytest.mark.parametrize(
    ("table", "upper", "stated"),
    [
        (EPCOS, 50, 3382.0),
        (EPCOS, 85, 3435.0),
        (EPCOS, 100, 3456.0),  # the datasheet prints 3455
        (MURATA, 50, 4050.0),
        (MURATA, 85, 4108.0),
        (VEHICLE, 100, 4101.0),
    ],
)
def test_the_law_meets_a_datasheet_at_both_ends_of_its_b(
    table: dict[int, float], upper: int, stated: float
) -> None:
    b = beta(np.array([table[25], table[upper]]), np.array([25.0, upper]))
    assert b == pytest.approx(stated, abs=2.0)
    for t in (25, upper):
        assert thermistor_ohm(np.array(table[25]), np.array(b), np.array(float(t))) == (
            pytest.approx(table[t], rel=1e-9)
        )


def test_between_the_ends_the_law_is_off_by_little_and_beyond_by_more() -> None:
    b = beta(np.array([VEHICLE[25], VEHICLE[100]]), np.array([25.0, 100.0]))
    shown = {
        t: float(thermistor_ohm(np.array(15000.0), np.array(b), np.array(float(t)))) / ohm - 1.0
        for t, ohm in VEHICLE.items()
    }
    # Inside the range that B is for: about one degree (4 % a degree).
    assert abs(shown[50]) < 0.04
    assert abs(shown[80]) < 0.04
    assert shown[-20] > 0.15  # outside of it one B is not enough


def test_error_of_a_single_b_far_from_where_it_holds() -> None:
    # The 10 kohm part's B25/100 used at 0 degC: 28892 ohm against 27326, about 1.2 K too cold.
    used = thermistor_ohm(np.array(10000.0), np.array(3456.0), np.array(0.0))
    assert used == pytest.approx(28892.0, rel=1e-3)
    cold = thermistor_celsius(np.array(27326.0), np.array(10000.0), np.array(3456.0))
    assert cold == pytest.approx(1.2, abs=0.05)


@given(st.floats(100.0, 1e5), st.floats(2500.0, 5000.0), st.floats(-45.0, 160.0))
def test_temperature_from_resistance_inverts_the_law(ohm_25: float, b: float, t: float) -> None:
    ohm = thermistor_ohm(np.array(ohm_25), np.array(b), np.array(t))
    back = thermistor_celsius(ohm, np.array(ohm_25), np.array(b))
    assert back == pytest.approx(t, abs=1e-9)


@pytest.mark.parametrize(
    ("celsius", "volt"), [(0, 4.6274), (25, 4.0984), (50, 3.2699), (100, 1.5332)]
)
def test_volts_below_a_pull_up(celsius: int, volt: float) -> None:
    # The 10 kohm part below 2.2 kohm to 5.000 V: a divider of the datasheet's resistances.
    c, *_ = found(Coefficient.CONDUCTANCE, (EPCOS[celsius], 0.0, 0.0))
    answer = solve((c + 1.0 / 2200.0)[None], np.array([5.0 / 2200.0]))
    assert answer.voltage[0] == pytest.approx(volt, abs=1e-4)


# ---------------------------------------------------------------- platinum
@pytest.mark.parametrize(
    ("celsius", "pt100"),
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
def test_platinum_against_the_standard_table(celsius: float, pt100: float) -> None:
    # IEC 60751, table 1: ohms to two decimals.
    assert 100.0 * platinum_ratio(np.array(celsius)) == pytest.approx(pt100, abs=0.005)


@pytest.mark.parametrize(
    ("celsius", "pt200"),
    [
        (-40.0, 168.54),
        (0.0, 200.00),
        (25.0, 219.47),
        (100.0, 277.01),
        (500.0, 561.96),
        (850.0, 780.96),
    ],
)
def test_an_exhaust_sensor_of_200_ohm(celsius: float, pt200: float) -> None:
    # Twice the table of IEC 60751.
    c, *_ = found(Coefficient.PLATINUM, (200.0, celsius, 0.0))
    assert 1.0 / c[0] == pytest.approx(pt200, abs=0.01)
