"""Kernels widened to the gaps between samples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.information import expected_information_of_readings
from backprobe.services.smoothing import DEVIATION_SHARE, widened


def test_evenly_spaced_predictions_are_widened_by_their_spacing() -> None:
    # 16 samples: the second neighbour, 2 steps of 0.1 away.
    predicted = 0.1 * np.arange(16.0)[None]
    wide = widened(np.zeros(16, dtype=np.int64), predicted, np.zeros((1, 16)))
    assert wide == pytest.approx(np.full((1, 16), 0.2 * DEVIATION_SHARE))


def test_groups_far_apart_keep_their_own_width() -> None:
    predicted = np.concatenate([np.linspace(0.0, 0.1, 8), np.linspace(5.0, 5.1, 8)])[None]
    wide = widened(np.zeros(16, dtype=np.int64), predicted, np.zeros((1, 16)))
    assert wide.max() < 0.1


def test_no_numbers_and_lone_answers_keep_their_uncertainty() -> None:
    predicted = np.array([[1.0, np.nan, np.nan, 4.0]])
    wide = widened(np.array([0, 0, 0, 1]), predicted, np.full((1, 4), 0.3))
    assert wide == pytest.approx(np.full((1, 4), 0.3))


@given(
    seed=st.integers(0, 10_000),
    shift=st.floats(-100.0, 100.0),
    scale=st.sampled_from([0.5, 1.0, 4.0]),
)
def test_never_narrower_and_the_same_wherever_zero_lies(
    seed: int, shift: float, scale: float
) -> None:
    rng = np.random.default_rng(seed)
    predicted = scale * rng.standard_normal((3, 40))
    question, own = rng.integers(0, 4, 40), np.full((3, 40), 0.05)
    wide = widened(question, predicted, own)
    assert np.all(wide >= own)
    assert np.allclose(widened(question, predicted + shift, own), wide)


def test_few_samples_of_one_law_are_not_told_apart_by_their_luck() -> None:
    rng = np.random.default_rng(3)
    question = np.repeat(np.arange(4), 12)
    predicted = rng.standard_normal((50, 48))
    own = np.full((50, 48), 0.01)
    weight = np.full(48, 1.0 / 48)
    smooth = expected_information_of_readings(
        weight, question, predicted, widened(question, predicted, own)
    )
    # Four answers alike: the truth is 0 of 2 bits.
    assert float(smooth.mean()) < 0.15
