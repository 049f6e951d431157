"""Pull-up and curve from known points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.engine.curve_fit import (
    VoltPoints,
    fit_beta,
    fit_pull_up,
    fit_steinhart_hart,
    log_evidence_of_ohms,
)
from backprobe.core.engine.pull_up import PullUp, volts_of
from backprobe.core.engine.thermistor_curve import BetaCurve, TableCurve
from backprobe.errors import ValueOutOfRange

# Published curve of a parts makers' thermistor, 2.5 kohm at 20 degC.
DEGC = np.array([-20.0, 0.0, 20.0, 40.0, 60.0, 80.0, 90.0, 100.0, 120.0])
OHMS = np.array([15462.0, 5896.0, 2500.0, 1175.0, 596.0, 323.0, 243.0, 187.0, 113.0])
CURVE = TableCurve(DEGC, OHMS)


def points(celsius: list[float], volts: list[float], at: float = 0.0) -> VoltPoints:
    n = len(celsius)
    given_ohm = np.full(n, at or np.nan)
    return VoltPoints(
        np.array(celsius), np.full(n, 1.0), given_ohm, np.array(volts), np.full(n, 0.01)
    )


# Voltages of the same published curve below 1.0, 2.2 and 4.7 kohm, worked out by hand.
@pytest.mark.parametrize(
    ("pull_up", "volts"),
    [(1000.0, [4.27, 2.70, 0.98]), (2200.0, [3.64, 1.74, 0.50]), (4700.0, [2.78, 1.00, 0.25])],
)
def test_the_pull_up_is_found(pull_up: float, volts: list[float]) -> None:
    found = fit_pull_up(points([0.0, 40.0, 90.0], volts), CURVE, 0.015)
    assert found.pull_up.low < pull_up < found.pull_up.high
    assert found.pull_up.high / found.pull_up.low < 1.2
    assert found.misfit > 0.05
    assert found.second is None


def test_a_curve_that_is_not_the_sensor_s_misfits() -> None:
    other = TableCurve(np.array([-20.0, 0.0, 20.0]), np.array([28146.0, 9256.0, 3457.0]))
    right = fit_pull_up(points([-20.0, 0.0, 20.0], [4.38, 3.64, 2.66]), CURVE, 0.015)
    wrong = fit_pull_up(points([-20.0, 0.0, 20.0], [4.38, 3.64, 2.66]), other, 0.015)
    assert wrong.misfit < 0.01 < right.misfit
    assert right.log_evidence > wrong.log_evidence + 5.0


def test_a_second_pull_up_that_is_switched_in_when_warm() -> None:
    cold, warm = PullUp(4700.0), PullUp(1.0 / (1.0 / 4700.0 + 1.0 / 348.0))
    degc = [0.0, 20.0, 30.0, 70.0, 90.0, 100.0]
    volts = [float(volts_of(CURVE.ohm(np.array(t)), cold if t < 50.0 else warm)) for t in degc]
    found = fit_pull_up(points(degc, volts), CURVE, 0.015)
    assert found.second_probability > 0.99
    assert found.misfit > 0.05
    assert found.second is not None
    assert found.pull_up.low < 4700.0 < found.pull_up.high
    assert found.second.low < 324.0 < found.second.high


def test_a_known_resistor_tells_the_pull_up_without_any_curve() -> None:
    """2.2 kohm fitted instead of the sensor reads half of the supply below 2.2 kohm."""
    fitted = points([float("nan")], [2.50], at=2200.0)
    found = fit_pull_up(fitted, CURVE, 0.0)
    assert found.pull_up.value == pytest.approx(2200.0, rel=0.02)


@settings(max_examples=25)
@given(st.floats(500.0, 20e3), st.integers(0, 2**32 - 1))
def test_the_interval_holds_the_truth(pull_up: float, seed: int) -> None:
    """Within 4.4 standard uncertainties, which one try of 90000 would miss."""
    rng = np.random.default_rng(seed)
    degc = np.array([5.0, 45.0, 88.0])
    true = degc + rng.normal(0.0, 1.0, 3)
    volts = volts_of(CURVE.ohm(true), PullUp(pull_up)) + rng.normal(0.0, 0.01, 3)
    found = fit_pull_up(points(list(degc), list(volts)), CURVE, 0.0)
    half = 0.5 * np.log(found.pull_up.high / found.pull_up.low)
    assert abs(np.log(found.pull_up.value / pull_up)) < 2.2 * half


def test_intervals_hold_nineteen_times_of_twenty() -> None:
    rng, held = np.random.default_rng(4), 0
    for _ in range(300):
        pull_up, degc = np.exp(rng.uniform(np.log(700), np.log(8000))), rng.uniform(-5, 95, 3)
        true = degc + rng.normal(0.0, 1.0, 3)
        volts = volts_of(CURVE.ohm(true), PullUp(pull_up)) + rng.normal(0.0, 0.01, 3)
        found = fit_pull_up(points(list(degc), list(volts)), CURVE, 0.0).pull_up
        held += found.low <= pull_up <= found.high
    # 95 % of 300 is 285, its standard deviation 3.8; the row tolerance makes it a little wide.
    assert 274 <= held <= 300


def test_beta_of_a_published_table() -> None:
    """B25/85 of a component maker's data sheet: 3435 K."""
    found = fit_beta(
        np.array([25.0, 85.0]), np.full(2, 0.05), np.log([10000.0, 1451.0]), np.full(2, 0.002)
    )
    assert found.beta_kelvin.value == pytest.approx(3435.0, abs=2.0)
    assert found.ratio_25.value == pytest.approx(10000.0)
    assert found.misfit == 1.0


def test_one_beta_does_not_pass_through_three_sure_points() -> None:
    found = fit_beta(
        np.array([-20.0, 40.0, 120.0]),
        np.full(3, 0.05),
        np.log([15462.0, 1175.0, 113.0]),
        np.full(3, 0.002),
    )
    assert found.misfit < 1e-6


@pytest.mark.parametrize("celsius", [[20.0], [20.0, 20.4]])
def test_one_temperature_is_no_curve(celsius: list[float]) -> None:
    n = len(celsius)
    with pytest.raises(ValueOutOfRange, match="two temperatures at least"):
        fit_beta(np.array(celsius), np.ones(n), np.zeros(n), np.ones(n))


def test_three_coefficients_through_a_published_table() -> None:
    """A 10 kohm probe's own coefficients from three rows of its table, two public documents."""
    a, b, c = fit_steinhart_hart(
        np.array([-40.0, 0.0, 25.0]), np.array([336103.2, 32650.9, 10000.0])
    )
    # Rows have seven digits, temperatures are exact.
    assert a == pytest.approx(1.12924e-3, rel=2e-3)
    assert b == pytest.approx(2.34108e-4, rel=2e-3)
    assert c == pytest.approx(0.87755e-7, rel=2e-2)
    with pytest.raises(ValueOutOfRange, match="need three temperatures"):
        fit_steinhart_hart(np.array([0.0, 25.0]), np.array([32650.9, 10000.0]))


def test_resistances_choose_the_curve() -> None:
    degc, ohms = np.array([20.0, 80.0]), np.array([2520.0, 330.0])
    spread, meter = np.ones(2), np.full(2, 0.01)
    right, fits = log_evidence_of_ohms(degc, spread, ohms, meter, CURVE, 0.02)
    wrong, fits_not = log_evidence_of_ohms(
        degc, spread, ohms, meter, BetaCurve(10000.0, 25.0, 3435.0), 0.02
    )
    assert right > wrong + 50.0
    assert fits > 0.1
    assert fits_not < 1e-6


def test_volts_at_an_end_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="between 0 and the supply of 5 V"):
        fit_pull_up(points([20.0], [5.0]), CURVE, 0.0)
