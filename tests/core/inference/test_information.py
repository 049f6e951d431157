"""Entropy and mutual information against textbook tables, a published network and closed forms."""

from collections.abc import Callable
from itertools import product
from typing import TypeAlias

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.inference.information import (
    entropy,
    expected_information,
    expected_information_of_readings,
    mutual_information,
)
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]


# ------------------------------------------------------------------ a textbook table

# Cover and Thomas, Elements of Information Theory (2006), example 2.2.1; MacKay, exercise 8.6.
TABLE = np.array(
    [
        [1 / 8, 1 / 16, 1 / 32, 1 / 32],
        [1 / 16, 1 / 8, 1 / 32, 1 / 32],
        [1 / 16, 1 / 16, 1 / 16, 1 / 16],
        [1 / 4, 0, 0, 0],
    ]
)


def test_textbook_table_has_its_entropies() -> None:
    assert entropy(TABLE.sum(axis=0)) == pytest.approx(7 / 4, abs=1e-12)
    assert entropy(TABLE.sum(axis=1)) == pytest.approx(2.0, abs=1e-12)
    assert entropy(TABLE.ravel()) == pytest.approx(27 / 8, abs=1e-12)


def test_textbook_table_has_its_information() -> None:
    assert mutual_information(TABLE) == pytest.approx(3 / 8, abs=1e-12)
    # The same table as a test of its row: rows weighted, outcomes conditional.
    rows = TABLE.sum(axis=1)
    assert expected_information(rows, TABLE / rows[:, None]) == pytest.approx(3 / 8, abs=1e-12)


# ------------------------------------------------------------------ a published network

# Lauritzen and Spiegelhalter, J. R. Statist. Soc. B 50 (1988), the chest-clinic example. Its
# numbers for the marginals were computed with a general library for Bayesian networks (pgmpy
# 1.1.2).
NAMES = ("asia", "tub", "smoke", "lung", "bronc", "either", "xray", "dysp")


def chest_clinic() -> Array:
    """Joint probabilities, one axis a variable in the order of NAMES; index 1 = yes."""
    joint = np.zeros((2,) * 8)
    for asia, tub, smoke, lung, bronc, xray, dysp in product((0, 1), repeat=7):
        either = tub | lung
        p_yes = (
            (asia, 0.01),
            (tub, 0.05 if asia else 0.01),
            (smoke, 0.5),
            (lung, 0.1 if smoke else 0.01),
            (bronc, 0.6 if smoke else 0.3),
            (xray, 0.98 if either else 0.05),
            (dysp, (0.9 if bronc else 0.7) if either else (0.8 if bronc else 0.1)),
        )
        value = np.prod([p if state else 1.0 - p for state, p in p_yes])
        joint[asia, tub, smoke, lung, bronc, either, xray, dysp] = value
    return joint


def marginal(joint: Array, *names: str) -> Array:
    gone = tuple(axis for axis, name in enumerate(NAMES) if name not in names)
    table: Array = joint.sum(axis=gone)
    return table


def test_chest_clinic_is_built_right() -> None:
    joint = chest_clinic()
    expected = {
        "tub": 0.0104,
        "lung": 0.055,
        "bronc": 0.45,
        "either": 0.064828,
        "xray": 0.110290,
        "dysp": 0.435971,
    }
    for name, probability in expected.items():
        assert marginal(joint, name)[1] == pytest.approx(probability, abs=1e-6)


def test_chest_clinic_with_evidence() -> None:
    joint = chest_clinic()
    seen = joint[1, ..., 1]  # from Asia, short of breath
    assert seen.sum() == pytest.approx(0.004501375, abs=1e-9)
    seen = seen / seen.sum()  # axes tub, smoke, lung, bronc, either, xray
    assert seen[1].sum() == pytest.approx(0.08775, abs=1e-5)
    assert seen[:, :, 1].sum() == pytest.approx(0.09953, abs=1e-5)
    assert seen[:, :, :, 1].sum() == pytest.approx(0.8114, abs=1e-4)
    dark = (
        joint[..., 1, :] / joint[..., 1, :].sum()
    )  # axes asia, tub, smoke, lung, bronc, either, dysp
    assert dark[:, 1].sum() == pytest.approx(0.09241, abs=1e-5)
    assert dark[:, :, :, 1].sum() == pytest.approx(0.48871, abs=1e-5)
    assert dark[:, :, :, :, 1].sum() == pytest.approx(0.50633, abs=1e-5)
    assert dark[:, :, :, :, :, 1].sum() == pytest.approx(0.57604, abs=1e-5)
    all_three = joint[1, ..., 1, 1] / joint[1, ..., 1, 1].sum()
    assert all_three[1].sum() == pytest.approx(0.39171, abs=1e-5)
    assert all_three[:, :, 1].sum() == pytest.approx(0.44427, abs=1e-5)


def test_information_of_tests_in_the_chest_clinic() -> None:
    joint = chest_clinic()
    lung_xray, lung_dysp = marginal(joint, "lung", "xray"), marginal(joint, "lung", "dysp")
    assert mutual_information(lung_xray) == pytest.approx(0.184807, abs=1e-6)
    assert mutual_information(lung_dysp) == pytest.approx(0.025382, abs=1e-6)
    # Both candidate tests at once, as the planner asks for them.
    lung = lung_xray.sum(axis=1)
    both = np.stack([lung_xray, lung_dysp]) / lung[:, None]
    np.testing.assert_allclose(expected_information(lung, both), [0.184807, 0.025382], atol=1e-6)


# ------------------------------------------------------------------ properties of tables


@given(st.lists(st.floats(0.0, 1.0), min_size=6, max_size=6).filter(lambda p: sum(p) > 1e-3))
@settings(max_examples=80, deadline=None)
def test_information_lies_between_zero_and_both_entropies(values: list[float]) -> None:
    table = np.array(values).reshape(2, 3) / sum(values)
    bits = mutual_information(table)
    assert 0.0 <= bits <= min(entropy(table.sum(axis=0)), entropy(table.sum(axis=1))) + 1e-12
    assert mutual_information(table.T) == pytest.approx(bits, abs=1e-12)


@given(st.lists(st.floats(0.01, 1.0), min_size=4, max_size=4))
@settings(max_examples=40, deadline=None)
def test_a_test_with_the_same_outcome_for_all_answers_tells_nothing(values: list[float]) -> None:
    outcomes = np.tile([0.2, 0.5, 0.3], (4, 1))
    assert expected_information(np.array(values), outcomes) == pytest.approx(0.0, abs=1e-12)


@given(st.lists(st.floats(0.01, 1.0), min_size=4, max_size=4))
@settings(max_examples=40, deadline=None)
def test_a_test_that_names_the_answer_tells_its_whole_entropy(values: list[float]) -> None:
    weights = np.array(values)
    bits = expected_information(weights, np.eye(4))
    assert bits == pytest.approx(entropy(weights / weights.sum()), abs=1e-12)


# ------------------------------------------------------------------ sampled meter readings


def two_answers(n: int) -> tuple[Array, NDArray[np.intp]]:
    return np.full(n, 1.0 / n), np.arange(n, dtype=np.intp) % 2


def test_identical_predictions_tell_nothing() -> None:
    weights, question = two_answers(600)
    rng = np.random.default_rng(1)
    predicted = np.stack([np.full(600, 5.0), np.zeros(600), np.full(600, np.nan)])
    uncertainty = rng.uniform(0.01, 0.03, predicted.shape)
    uncertainty[:] = uncertainty[:, :1]  # the same reading has the same uncertainty
    bits = expected_information_of_readings(weights, question, predicted, uncertainty)
    np.testing.assert_allclose(bits, 0.0, atol=1e-12)


def test_separate_predictions_tell_the_entropy_of_the_question() -> None:
    # A feed, a supply and a ground wire: 12.5 V, 5 V and some millivolts, each with its own spread.
    rng = np.random.default_rng(2)
    weights = rng.uniform(0.5, 1.5, 900)
    question = rng.integers(0, 3, 900)
    level = np.array([12.5, 5.0, 0.012])[question]
    predicted = level * rng.normal(1.0, 0.005, (4, 900))
    bits = expected_information_of_readings(
        weights, question, predicted, 0.003 * np.abs(predicted) + 1e-4
    )
    share = np.bincount(question, weights=weights) / weights.sum()
    np.testing.assert_allclose(bits, entropy(share), atol=0.02)


def test_no_number_is_an_outcome_of_its_own() -> None:
    # An open wire shows OL; the other answer shows anything at all between 150 ohm and a megohm.
    weights, question = two_answers(4000)
    rng = np.random.default_rng(3)
    anything = np.exp(rng.uniform(5, 14, 4000))
    predicted: Array = np.where(question == 0, np.nan, anything)[None]
    bits = expected_information_of_readings(weights, question, predicted, 0.01 * predicted)
    assert bits[0] == pytest.approx(1.0, abs=0.005)
    # Half of the second answer's samples show OL too: a Z-channel, H(1/4) - H(1/2) / 2 = 0.3113 bit
    # (Cover and Thomas 2006, problem 7.8, with equal inputs).
    predicted[0, 1::4] = np.nan
    bits = expected_information_of_readings(weights, question, predicted, 0.01 * predicted)
    assert bits[0] == pytest.approx(0.3113, abs=0.01)


@pytest.mark.parametrize("distance", [1.0, 2.0, 3.0])
def test_overlapping_readings_tell_as_much_as_two_normal_curves(distance: float) -> None:
    # One predicted value an answer, normal spread over samples: the information of an equal mixture
    # of two normal distributions, integrated here on a fine grid.
    weights, question = two_answers(4000)
    rng = np.random.default_rng(4)
    spread = 0.05
    noise: Array = spread * rng.normal(size=(20, 4000))
    predicted: Array = 2.0 + distance * spread * question + noise
    bits = expected_information_of_readings(
        weights, question, predicted, np.full(predicted.shape, 0.002)
    )
    z = np.linspace(-8.0, 8.0 + distance, 8001)
    both = np.exp(-0.5 * np.stack([z, z - distance]) ** 2)
    table = both / both.sum()
    assert bits.mean() == pytest.approx(float(mutual_information(table)), abs=0.01)
    assert bits.std() < 0.02


@pytest.mark.parametrize("distance", [1.0, 2.0, 4.0])
def test_uncertainty_of_the_meter_blurs_two_fixed_values(distance: float) -> None:
    # Two fixed values `distance` standard uncertainties apart. The kernel is a parabola, not a
    # normal curve: expected is the information between two parabolas (Epanechnikov 1969) on a
    # fine grid.
    weights, question = two_answers(200)
    u = 0.01
    predicted = np.array([1.0 + distance * u * question], dtype=np.float64)
    bits = expected_information_of_readings(weights, question, predicted, np.full((1, 200), u))
    z = np.linspace(-3.0, 3.0 + distance, 6001)
    both = np.maximum(0.0, 1.0 - np.stack([z, z - distance]) ** 2 / 5.0)
    ideal = float(mutual_information(both / both.sum()))
    # Few cells are laid over so short a range; they may lose, never gain.
    assert ideal - 0.12 < bits[0] <= ideal + 1e-9


def test_few_samples_do_not_make_an_uninformative_reading_look_informative() -> None:
    # 20 answers of 30 samples each that all predict alike: the plain table would show 0.87 bit.
    rng = np.random.default_rng(5)
    question = np.arange(600) % 20
    predicted = rng.normal(1.0, 0.5, (60, 600))
    bits = expected_information_of_readings(
        np.ones(600), question, predicted, 0.003 * np.abs(predicted) + 0.001
    )
    assert bits.mean() < 0.12
    assert bits.max() < 0.3


def test_bias_correction_leaves_informative_readings_informative() -> None:
    # Answer 0 stands five standard deviations off, the other 19 are alike: H(1/20) = 0.2864 bit
    # at most.
    rng = np.random.default_rng(6)
    question = np.arange(2000) % 20
    predicted = np.where(question == 0, -5.0, 0.0) + rng.normal(0.0, 0.5, (40, 2000))
    bits = expected_information_of_readings(
        np.ones(2000), question, predicted, 0.003 * np.abs(predicted) + 0.001
    )
    assert bits.mean() == pytest.approx(0.2864, abs=0.03)


@given(st.floats(1e-3, 1e3), st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_the_unit_of_a_reading_does_not_matter(factor: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    question = rng.integers(0, 3, 120)
    predicted = rng.normal(question, 0.7, (2, 120))
    uncertainty = rng.uniform(0.01, 0.1, (2, 120))
    weights = rng.uniform(0.1, 1.0, 120)
    bits = expected_information_of_readings(weights, question, predicted, uncertainty)
    other = expected_information_of_readings(
        weights, question, predicted * factor, uncertainty * factor
    )
    np.testing.assert_allclose(other, bits, atol=1e-6)


@given(st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_order_of_samples_and_of_answers_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    question = rng.integers(0, 4, 150)
    predicted = rng.normal(question, 1.0, (1, 150))
    predicted[0, rng.random(150) < 0.1] = np.nan
    uncertainty = np.full((1, 150), 0.05)
    weights = rng.uniform(0.1, 1.0, 150)
    bits = expected_information_of_readings(weights, question, predicted, uncertainty)
    order = rng.permutation(150)
    renamed = np.array([2, 0, 3, 1])[question]
    other = expected_information_of_readings(
        weights[order], renamed[order], predicted[:, order], uncertainty[:, order]
    )
    np.testing.assert_allclose(other, bits, atol=1e-9)


def test_many_candidates_equal_one_by_one() -> None:
    # More predictions than are worked on together.
    rng = np.random.default_rng(7)
    question = rng.integers(0, 5, 600)
    predicted = rng.normal(question * 0.3, 1.0, (130, 600))
    uncertainty = np.full(predicted.shape, 0.02)
    weights = np.ones(600)
    bits = expected_information_of_readings(weights, question, predicted, uncertainty)
    for candidate in (0, 53, 54, 129):
        one = slice(candidate, candidate + 1)
        alone = expected_information_of_readings(
            weights, question, predicted[one], uncertainty[one]
        )
        np.testing.assert_array_equal(bits[one], alone)


def test_samples_of_no_weight_do_not_count() -> None:
    rng = np.random.default_rng(8)
    weights = rng.uniform(0.5, 1.0, 200)
    question = rng.integers(0, 2, 200)
    predicted = rng.normal(question * 2.0, 1.0, (1, 200))
    uncertainty = np.full((1, 200), 0.1)
    bits = expected_information_of_readings(weights, question, predicted, uncertainty)
    more = expected_information_of_readings(
        np.append(weights, [0.0, 0.0]),
        np.append(question, [0, 7]),
        np.append(predicted, [[1e6, np.nan]], axis=1),
        np.append(uncertainty, [[0.1, np.nan]], axis=1),
    )
    np.testing.assert_allclose(more, bits, rtol=1e-12)


# ------------------------------------------------------------------ refusals

ONES, LABELS, GRID = np.ones(3), np.zeros(3, dtype=np.intp), np.ones((2, 3))
readings = expected_information_of_readings


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: entropy(np.array([0.5, 0.6])), "miss a sum of 1 by 0.1"),
        (lambda: entropy(np.array([1.5, -0.5])), "negative or NaN"),
        (lambda: entropy(np.array([np.nan, 1.0])), "negative or NaN"),
        (lambda: mutual_information(np.array([0.5, 0.5])), "two axes"),
        (lambda: expected_information(np.zeros(2), np.eye(2)), "positive, finite sum"),
        (lambda: expected_information(np.ones(3), np.eye(2)), "3 answers have a weight"),
        (lambda: readings(ONES, LABELS, np.ones((2, 4)), np.ones((2, 4))), "do not fit together"),
        (lambda: readings(ONES, LABELS - 1, GRID, GRID), "smallest answer is -1"),
        (lambda: readings(ONES, LABELS, GRID, GRID, n_cell=1), "1 cells"),
        (lambda: readings(ONES, LABELS, GRID, -GRID), "negative, infinite or NaN"),
        (lambda: readings(ONES, LABELS, GRID, GRID * np.nan), "negative, infinite or NaN"),
        (lambda: readings(-ONES, LABELS, GRID, GRID), "weights: weights have to be"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()
