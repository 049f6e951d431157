"""Expected information of candidate readings, against closed forms."""

import numpy as np
import pytest
from numpy.typing import NDArray

from backprobe.services.candidate import Candidate, Candidates
from backprobe.services.foresight import Foresight
from backprobe.services.gain import MISCOUNTED, expected_bits
from backprobe.services.open_question import Claim, Question

N = 60  # samples of each of two answers


def bits(quantity: str, first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Information of one reading about two answers that are as likely as each other."""
    predicted = np.concatenate([first, second])[None]
    claims = tuple(Claim((0,), fault, (0,), 0) for fault in ("none", "open:sensor-ground"))
    label = np.repeat([0, 1], N)
    question = Question(claims, label, label, np.zeros((2 * N, 1), dtype=np.int64))
    candidates = Candidates((), (Candidate(0, quantity, 0),))
    weight = np.full(2 * N, 0.5 / N)
    foresight = Foresight(predicted, np.full((1, 2 * N), 0.01))
    return float(expected_bits(candidates, question, weight, foresight)[0])


def spread(middle: float, seed: int) -> NDArray[np.float64]:
    return middle + 0.02 * np.random.default_rng(seed).standard_normal(N)


def test_readings_far_apart_tell_one_bit_of_two_even_answers() -> None:
    assert bits("volts", spread(0.0, 1), spread(5.0, 2)) == pytest.approx(1.0, abs=0.02)


def test_readings_alike_tell_nothing() -> None:
    assert bits("volts", np.full(N, 5.0), np.full(N, 5.0)) == 0.0
    assert bits("volts", spread(5.0, 1), spread(5.0, 2)) < 0.05


def test_a_meter_that_miscounts_tells_less_than_one_that_does_not() -> None:
    told = bits("hertz", spread(6.0, 1), np.full(N, np.nan))
    # A binary channel that errs with probability e tells 1 - H(e) bits (Shannon 1948); a stray
    # number need not look like the true one, so a little more.
    e = MISCOUNTED
    channel = 1.0 + e * np.log2(e) + (1.0 - e) * np.log2(1.0 - e)
    assert channel - 0.05 <= told < 1.0 - 0.5 * e


def test_a_meter_that_never_counts_anything_tells_nothing() -> None:
    assert bits("hertz", np.full(N, np.nan), np.full(N, np.nan)) == 0.0


def test_the_role_of_the_terminal_counts_where_the_whole_is_too_much_for_the_samples() -> None:
    rng = np.random.default_rng(4)
    role = np.repeat([0, 1], N)
    label = np.full(2 * N, 1)  # every assignment too rare to be told apart
    claims = (Claim((0,), "none", (), 0),)
    question = Question(claims, np.zeros(2 * N, dtype=np.int64), label, role[:, None])
    predicted = np.where(role == 0, 5.0, 1.0)[None] + 0.02 * rng.standard_normal((1, 2 * N))
    candidates = Candidates((), (Candidate(0, "volts", 0),))
    foresight = Foresight(predicted, np.full((1, 2 * N), 0.01))
    weight = np.full(2 * N, 0.5 / N)
    found = expected_bits(candidates, question, weight, foresight)
    assert found[0] == pytest.approx(1.0, abs=0.02)
