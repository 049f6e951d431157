"""What causes lead to expect, and what a further reading would tell."""

import numpy as np
import pytest

from backprobe.core.engine.trim_inference import weigh_causes
from backprobe.core.engine.trim_pattern import OperatingPoints
from backprobe.core.engine.trim_prediction import (
    bits_of_trim,
    expected_trims,
    full_load_outcomes,
    predicted_trims,
    weight_of_each_reading,
)
from backprobe.errors import ValueOutOfRange
from tests.core.engine.trims import POINTS, read_trims

IDLE = OperatingPoints(np.array([750.0]), np.array([1.3]))
LOADED = OperatingPoints(np.array([3000.0]), np.array([19.0]))


def test_the_right_cause_expects_what_was_read() -> None:
    readings = read_trims([22.0, 5.0, 1.0])
    expected = expected_trims(weigh_causes(readings), readings, "unmetered-air")
    # The scatter from cell to cell that every engine has: 1.3 %, twice.
    np.testing.assert_allclose(expected, readings.trim, atol=0.026)


def test_reading_the_same_point_again_tells_little_and_another_much() -> None:
    readings = read_trims([22.0], points=IDLE)
    answer = weigh_causes(readings)
    names = tuple(answer.by_cause())
    again = bits_of_trim(answer, readings, IDLE, names)
    loaded = bits_of_trim(answer, readings, LOADED, names)
    assert 0.0 <= again < 0.1
    assert loaded > 0.5
    with pytest.raises(ValueOutOfRange, match="at one point"):
        bits_of_trim(answer, readings, POINTS, names)


def test_information_agrees_with_what_readings_really_do() -> None:
    """Expected loss of entropy, drawn one by one, against the mutual information in one step."""
    readings = read_trims([18.0], points=IDLE)
    answer = weigh_causes(readings)
    names = ("unmetered-air", "fuel-weak")
    rng, lost = np.random.default_rng(2), []
    shares = np.array([answer.by_cause()[name] for name in names])
    shares /= shares.sum()
    before = -(shares * np.log2(shares)).sum()
    both = OperatingPoints(np.array([750.0, 3000.0]), np.array([1.3, 19.0]))
    for _ in range(120):
        cause = names[int(rng.choice(2, p=shares))]
        (each,) = (each for each in answer.hypotheses if each.cause == cause)
        mean, deviation = predicted_trims(each, readings, LOADED)
        draw = mean[int(rng.integers(len(mean))), 0, 0]
        seen = draw + rng.normal() * np.hypot(deviation[0, 0], 0.015)
        after = weigh_causes(
            read_trims([18.0, float(np.clip(100 * seen, -25.0, 25.0))], points=both)
        ).by_cause()
        left = np.array([after[name] for name in names])
        left = left / left.sum()
        lost.append(before + (left * np.log2(np.maximum(left, 1e-12))).sum())
    predicted = bits_of_trim(answer, readings, LOADED, names)
    # Standard error of 120 draws, three times, and the steps of the display.
    assert predicted == pytest.approx(np.mean(lost), abs=3 * np.std(lost) / 11 + 0.05)


def test_air_flow_at_full_load_tells_a_low_meter_from_a_weak_pump() -> None:
    answer = weigh_causes(read_trims([12.0, 13.0, 14.0]))
    names = ("air-mass-low", "fuel-weak")
    low, pump = full_load_outcomes(answer, names, np.array([0.9, 1.1]), 0.08)
    assert low[0] > 0.5 > pump[0]
    assert low.sum() == pytest.approx(1.0)


def test_each_reading_speaks_for_a_cause_or_against_it() -> None:
    weights = weight_of_each_reading(read_trims([22.0, 5.0, 1.0]), "unmetered-air", "fuel-weak")
    assert weights.shape == (1, 3)
    assert weights[0, 0] > 10.0
    alone = weight_of_each_reading(read_trims([22.0], points=IDLE), "unmetered-air", "fuel-weak")
    assert np.isnan(alone).all()
