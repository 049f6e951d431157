"""Which two answers a reading is said to tell apart."""

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.services.open_question import Claim, Question
from backprobe.services.split import FAULT, MEASUREMENT, ROLE, Split, Splitter

N = 40  # samples of each claim


def splitter(claims: tuple[Claim, ...], share: tuple[float, ...]) -> Splitter:
    claim = np.repeat(np.arange(len(claims)), N)
    role = np.array([claims[k].roles for k in claim])
    weight = np.repeat(np.array(share) / N, N)
    return Splitter(Question(claims, claim, claim, role), weight)


def best(
    claims: tuple[Claim, ...],
    share: tuple[float, ...],
    predicted: NDArray[np.float64],
    terminal: int = -1,
) -> Split | None:
    uncertainty = np.full((1, predicted.size), 0.01)
    return splitter(claims, share).best(predicted[None], uncertainty, [terminal])[0]


def readings(*middle: float) -> NDArray[np.float64]:
    even = np.linspace(-0.05, 0.05, N)
    return np.concatenate([m + even for m in middle])


def test_the_fault_that_reads_differently_is_named_and_no_other() -> None:
    claims = tuple(
        Claim((0, 2), fault, (), 0) for fault in ("none", "open:sensor-ground", "sensor-drift:x")
    )
    found = best(claims, (0.6, 0.3, 0.1), readings(0.0, 5.0, 0.0))
    assert found is not None
    assert (found.part, found.first.fault, found.second.fault) == (
        FAULT,
        "none",
        "open:sensor-ground",
    )
    assert found.shown[0] == pytest.approx((-0.04, 0.04), abs=0.01)
    assert found.shown[1] == pytest.approx((4.96, 5.04), abs=0.01)
    assert found.distance == pytest.approx(1.0, abs=0.01)


def test_the_role_of_the_measured_terminal_is_told_before_that_of_another() -> None:
    claims = (Claim((0, 3), "none", (), 0), Claim((3, 0), "none", (), 0))
    for terminal in (0, 1):
        found = best(claims, (0.5, 0.5), readings(5.0, 1.0), terminal)
        assert found is not None
        assert (found.part, found.terminal) == (ROLE, terminal)


def test_a_bad_lead_is_a_split_of_its_own() -> None:
    claims = (Claim((0, 2), "none", (), 0), Claim((0, 2), "none", (), 1))
    found = best(claims, (0.7, 0.3), readings(12.6, 12.2))
    assert found is not None
    assert found.part == MEASUREMENT
    assert (found.first.condition, found.second.condition) == (0, 1)


def test_readings_alike_split_nothing() -> None:
    claims = (Claim((0, 2), "none", (), 0), Claim((0, 2), "open:sensor-ground", (1,), 0))
    assert best(claims, (0.5, 0.5), readings(5.0, 5.0), 0) is None


def test_no_number_is_told_from_a_number() -> None:
    claims = (Claim((0, 2), "none", (), 0), Claim((0, 2), "open:sensor-ground", (1,), 0))
    predicted = readings(5.0, 5.0)
    predicted[N:] = np.nan
    found = best(claims, (0.5, 0.5), predicted, 0)
    assert found is not None
    assert np.isnan(found.shown[1][0])
    assert found.overlap == 0.0
