"""Volts, ohms and degrees of a sensor below a pull-up."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.pull_up import (
    PullUp,
    ohm_of,
    resistance_from_volts,
    temperature_from_volts,
    volts_of,
)
from backprobe.core.engine.thermistor_curve import BetaCurve
from backprobe.errors import ValueOutOfRange


def test_volts_of_a_published_thermistor() -> None:
    """Divider by hand: 27326, 10000, 4158, 973 ohm below 2.2 kohm at 5.000 V."""
    volts = volts_of(np.array([27326.0, 10000.0, 4158.0, 973.0]), PullUp(2200.0))
    np.testing.assert_allclose(volts, [4.6274, 4.0984, 3.2699, 1.5332], atol=1e-4)


@given(st.floats(10.0, 1e5), st.floats(200.0, 2e4), st.floats(3.0, 13.0))
def test_there_and_back(ohm: float, pull_up: float, supply: float) -> None:
    feed = PullUp(pull_up, supply=supply)
    assert ohm_of(volts_of(np.array(ohm), feed), feed) == pytest.approx(ohm, rel=1e-8)


@pytest.mark.parametrize("volts", [0.0, 5.0, -0.1, 5.3])
def test_an_end_is_no_temperature(volts: float) -> None:
    with pytest.raises(ValueOutOfRange, match="between 0 and 5 V, not at an end"):
        ohm_of(np.array(volts), PullUp(2200.0))


def test_the_interval_is_that_of_many_draws() -> None:
    """Monte Carlo propagation, JCGM 101:2008."""
    curve, feed = BetaCurve(2057.0, 25.0, 3500.0), PullUp(2200.0, 0.01, 5.0, 0.02)
    found = temperature_from_volts(curve, 2.41, 0.01, feed, 0.02)
    rng = np.random.default_rng(1)
    volts, supply = rng.normal(2.41, 0.01, 20_000), rng.normal(5.0, 0.02, 20_000)
    ohm = 2200.0 * rng.normal(1.0, 0.01, 20_000) * volts / (supply - volts)
    celsius = curve.celsius(ohm * np.exp(rng.normal(0.0, 0.02, 20_000)))
    low, high = np.percentile(celsius, [2.275, 97.725])  # two standard deviations
    # Standard error of the quantiles of 20000 draws is about 0.02 K.
    assert found.low == pytest.approx(low, abs=0.08)
    assert found.high == pytest.approx(high, abs=0.08)
    assert found.low < found.value < found.high


def test_near_the_supply_the_resistance_is_hardly_told() -> None:
    sure = resistance_from_volts(2.5, 0.02, PullUp(2200.0))
    unsure = resistance_from_volts(4.9, 0.02, PullUp(2200.0))
    # Calculus: exp(4 x 0.02 (1/2.5 + 1/2.5)).
    assert sure.high / sure.low == pytest.approx(1.066, abs=1e-3)
    assert unsure.high / unsure.low > 1.5
