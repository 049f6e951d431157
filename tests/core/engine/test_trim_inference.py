"""Causes weighed by fuel trims."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.engine.trim_inference import weigh_causes
from backprobe.core.engine.trim_pattern import MANIFOLD_PRESSURE, NONE, UNMODELLED, OperatingPoints
from backprobe.core.engine.trim_readings import TrimReadings
from backprobe.errors import ValueOutOfRange
from tests.core.engine.trims import read_trims

PERCENT = st.floats(-24.0, 24.0)


# Trim map of the trade (common practice, no source).
@pytest.mark.parametrize(
    ("banks", "cause"),
    [
        ([[2.0, -1.0, 3.0]], NONE),
        ([[22.0, 5.0, 1.0]], "unmetered-air"),
        ([[22.0, 5.0, 1.0], [23.0, 4.0, 2.0]], "unmetered-air"),
        ([[3.0, 8.0, 20.0]], "fuel-weak"),
        ([[-12.0, 0.0, 14.0]], "air-mass-dirty"),
        ([[18.0, 17.0, 16.0], [1.0, 0.0, 2.0]], "bank-injectors"),
    ],
)
def test_the_trim_map_of_the_trade(banks: list[list[float]], cause: str) -> None:
    shares = weigh_causes(read_trims(*banks)).by_cause()
    assert next(iter(shares)) == cause
    assert shares[cause] > 0.5


def test_one_bank_only_is_not_the_air_meter() -> None:
    shares = weigh_causes(read_trims([22.0, 5.0, 1.0], [1.0, 2.0, 0.0])).by_cause()
    assert shares["bank-air"] + shares["exhaust-leak"] > 0.95
    assert shares["unmetered-air"] < 0.01


def test_lean_at_idle_without_an_air_meter_is_not_an_intake_leak() -> None:
    shares = weigh_causes(read_trims([22.0, 5.0, 1.0], metering=MANIFOLD_PRESSURE)).by_cause()
    assert shares["unmetered-air"] < 0.05
    assert not [name for name in shares if name.startswith("air-mass")]


def test_a_pattern_that_nothing_makes_is_said_to_fit_nothing() -> None:
    answer = weigh_causes(read_trims([0.0, 22.0, -20.0]))
    assert next(iter(answer.by_cause())) == UNMODELLED
    assert answer.misfit < 0.01


def test_a_trim_at_its_limit_says_at_least_that_much() -> None:
    """The limit read as a value would contradict what the other points make of idle."""
    at_limit = weigh_causes(read_trims([25.0, 10.0, 2.0]))
    assert at_limit.by_cause()["unmetered-air"] > 0.8
    all_limited = weigh_causes(read_trims([25.0, 25.0, 25.0]))
    assert all_limited.misfit == 1.0
    assert all_limited.by_cause()[NONE] < 0.01


def test_a_finding_multiplies_the_odds() -> None:
    readings = read_trims([12.0, 13.0, 14.0])
    before = weigh_causes(readings).by_cause()
    after = weigh_causes(readings, {"fuel-weak": 0.1}).by_cause()
    odds = before["fuel-weak"] / before["air-mass-low"]
    assert after["fuel-weak"] / after["air-mass-low"] == pytest.approx(0.1 * odds, rel=1e-9)


@settings(max_examples=15)
@given(st.lists(PERCENT, min_size=3, max_size=3), st.lists(PERCENT, min_size=3, max_size=3))
def test_probabilities_sum_to_one_and_banks_have_no_order(
    first: list[float], second: list[float]
) -> None:
    there = weigh_causes(read_trims(first, second))
    back = weigh_causes(read_trims(second, first))
    assert there.probability.sum() == pytest.approx(1.0, abs=1e-9)
    for name, share in there.by_cause().items():
        assert back.by_cause()[name] == pytest.approx(share, abs=1e-9)


@settings(max_examples=15)
@given(st.lists(PERCENT, min_size=3, max_size=3))
def test_a_point_that_was_not_read_leaves_the_rest_alone(trims: list[float]) -> None:
    two = OperatingPoints(np.array([750.0, 2500.0]), np.array([1.3, 5.0]))
    plain = weigh_causes(read_trims(trims[:2], points=two))
    gap = weigh_causes(read_trims([*trims[:2], float("nan")]))
    for name, share in plain.by_cause().items():
        assert gap.by_cause()[name] == pytest.approx(share, abs=1e-9)


def test_an_unsure_reading_says_little() -> None:
    sure = read_trims([22.0, 5.0, 1.0])
    unsure = TrimReadings(
        sure.points, sure.trim, np.full(sure.trim.shape, 0.5), sure.is_limited, sure.metering
    )
    shares = weigh_causes(unsure).by_cause()
    assert shares[NONE] == pytest.approx(30.0 / 90.5, abs=0.06)  # its prior, one bank, air mass


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"trim": np.full((1, 3), np.nan)}, "No fuel trim was read"),
        ({"trim": np.zeros((3, 3))}, "3 banks can't be weighed"),
        ({"uncertainty": np.zeros((1, 3))}, "An uncertainty has to be above zero"),
        (
            {"points": OperatingPoints(np.zeros(3), np.ones(3))},
            "Speed and air flow have to be above zero",
        ),
    ],
)
def test_what_cannot_be_weighed_is_refused(change: dict[str, object], text: str) -> None:
    good = read_trims([1.0, 2.0, 3.0])
    parts = {name: getattr(good, name) for name in ("points", "trim", "uncertainty", "is_limited")}
    with pytest.raises(ValueOutOfRange, match=text):
        weigh_causes(TrimReadings(**(parts | change)))
