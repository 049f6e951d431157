"""Priors against scipy's laws, slopes against differences, choices against their weights."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri
from scipy.stats import norm

from backprobe.core.inference.prior import (
    N_CHOICE,
    Array,
    PriorTable,
    choice_bin,
    normal_shape,
    option_middles,
    to_coordinates,
    to_values,
    uniform_shape,
)


def one(
    centre: float,
    scale: float,
    *,
    log: bool = False,
    uniform: bool = False,
    limits: tuple[float, float] = (-np.inf, np.inf),
    options: tuple[float, ...] = (),
    weights: tuple[float, ...] = (),
) -> PriorTable:
    """A table of one value."""
    choice, edge = np.full((1, N_CHOICE), np.nan), np.full((1, N_CHOICE), np.inf)
    if options:
        choice[0, : len(options)] = options
        edge[0, : len(options) - 1] = ndtri(np.cumsum(weights)[:-1])
    return PriorTable(
        np.array([centre]),
        np.array([scale]),
        np.array([log]),
        np.array([uniform]),
        np.array([limits[0]]),
        np.array([limits[1]]),
        choice,
        edge,
    )


def values_of(prior: PriorTable, z: Array) -> Array:
    return to_values(prior, z[:, None])[0][:, 0]


# Shapes ----------------------------------------------------------------------------------------
def test_five_in_six_of_a_uniform_prior_lie_within_its_limits() -> None:
    # A grid of quantiles stands for draws, so that no chance is in it. The rest lies on soft edges:
    # nearly all of it no further out than a fifth of the width.
    z = norm.ppf((np.arange(20000) + 0.5) / 20000)
    value = values_of(one(50.0, 50.0, uniform=True), z)
    within = float(np.mean((value >= 0.0) & (value <= 100.0)))
    assert within == pytest.approx(5 / 6, abs=0.01)
    assert np.mean((value >= -20.0) & (value <= 120.0)) > 0.995


def test_uniform_prior_is_even_in_its_middle() -> None:
    # Halves of the middle half hold the same mass; a uniform law on 0 to 100 has a quarter in each.
    z = norm.ppf((np.arange(20000) + 0.5) / 20000)
    value = values_of(one(50.0, 50.0, uniform=True), z)
    shares = [np.mean((value > a) & (value <= a + 25.0)) for a in (0.0, 25.0, 50.0, 75.0)]
    assert shares[0] == pytest.approx(shares[3], abs=1e-3)
    assert shares[1] == pytest.approx(shares[2], abs=1e-3)
    assert min(shares) > 0.2
    assert max(shares) < 0.26


def test_normal_prior_keeps_its_middle_and_widens_its_tails() -> None:
    # Inside one deviation the law stays close to scipy's; far out it is wider, never narrower.
    law, prior = norm(12.3, 0.45), one(12.3, 0.45)
    for probability in (0.25, 0.5, 0.75):
        mine = values_of(prior, norm.ppf(np.array([probability])))[0]
        assert mine == pytest.approx(law.ppf(probability), abs=0.03 * 0.45)
    for probability in (0.001, 0.025, 0.975, 0.999):
        mine = values_of(prior, norm.ppf(np.array([probability])))[0]
        assert abs(mine - 12.3) > abs(law.ppf(probability) - 12.3)


def test_tail_stretch_is_what_its_comment_says() -> None:
    shape, _ = normal_shape(np.array([2.0, 3.0]))
    assert shape == pytest.approx([2.5, 4.6], abs=0.05)


def test_log_priors_have_their_median_in_the_middle_of_the_logarithm() -> None:
    middle = np.zeros(1)
    log_uniform = one(0.5 * np.log(800 * 11000), 0.5 * np.log(11000 / 800), log=True, uniform=True)
    assert values_of(log_uniform, middle)[0] == pytest.approx(np.sqrt(800.0 * 11000.0))
    log_normal = one(np.log(2200.0), np.log(1.5), log=True)
    assert values_of(log_normal, middle)[0] == pytest.approx(2200.0)


def test_limits_of_physics_are_kept_and_slopes_there_point_inside() -> None:
    prior = one(0.5, 0.3, limits=(0.0, 1.0))
    value, slope = to_values(prior, np.array([[-4.0], [0.0], [4.0]]))
    assert value[:, 0].tolist() == [0.0, 0.5, 1.0]
    assert np.all(slope > 0.0)


coordinate = st.floats(-4.5, 4.5)


@given(
    z=coordinate, centre=st.floats(-3.0, 9.0), scale=st.floats(0.01, 2.0), kind=st.integers(0, 3)
)
def test_slopes_are_central_differences(z: float, centre: float, scale: float, kind: int) -> None:
    prior = one(centre, scale, log=kind >= 2, uniform=kind % 2 == 1)
    step = 1e-5
    around = values_of(prior, np.array([z - step, z + step]))
    _, slope = to_values(prior, np.array([[z]]))
    # Central differences err by the third derivative times step squared over six, and by rounding.
    size = abs(around[0]) + abs(slope[0, 0])
    expected = (around[1] - around[0]) / (2 * step)
    assert slope[0, 0] == pytest.approx(expected, abs=1e-7 * size + 1e-9)


@given(a=coordinate, b=coordinate)
def test_shapes_rise_with_their_coordinate(a: float, b: float) -> None:
    low, high = min(a, b), max(a, b) + 1e-3
    for shape in (normal_shape, uniform_shape):
        value, slope = shape(np.array([low, high]))
        assert value[1] > value[0]
        assert np.all(slope > 0)


# Choices ---------------------------------------------------------------------------------------
weight_lists = st.lists(st.floats(0.05, 1.0), min_size=2, max_size=N_CHOICE).map(
    lambda w: tuple(x / sum(w) for x in w)
)


@given(weights=weight_lists)
def test_bins_of_a_choice_have_the_probability_of_their_weights(weights: tuple[float, ...]) -> None:
    prior = one(0.0, 0.0, options=tuple(float(i) for i in range(len(weights))), weights=weights)
    middles = option_middles(prior.choice, prior.edge)[0, : len(weights)]
    place, log_p = choice_bin(prior, middles[:, None])
    assert place[:, 0].tolist() == list(range(len(weights)))
    assert np.exp(log_p[:, 0]) == pytest.approx(list(weights), rel=1e-9)


@given(weights=weight_lists)
def test_middle_of_a_bin_halves_its_probability(weights: tuple[float, ...]) -> None:
    prior = one(0.0, 0.0, options=tuple(float(i) for i in range(len(weights))), weights=weights)
    middles = option_middles(prior.choice, prior.edge)[0]
    below = np.cumsum(weights) - np.array(weights)
    got = ndtr(middles[: len(weights)]) - below
    assert got == pytest.approx([0.5 * w for w in weights], abs=1e-6)
    assert np.isnan(middles[len(weights) :]).all()


def test_choice_takes_its_options_as_often_as_its_weights_say() -> None:
    prior = one(0.0, 0.0, options=(5.0, 8.0, 12.0), weights=(0.8, 0.12, 0.08))
    z = norm.ppf((np.arange(10000) + 0.5) / 10000)
    value, slope = to_values(prior, z[:, None])
    for option, weight in ((5.0, 0.8), (8.0, 0.12), (12.0, 0.08)):
        assert np.mean(value == option) == pytest.approx(weight, abs=2e-4)
    assert not slope.any()


def test_value_that_is_no_choice_costs_nothing_as_a_choice() -> None:
    prior = one(0.0, 1.0)
    place, log_p = choice_bin(prior, np.array([[-2.0], [3.0]]))
    assert not place.any()
    assert not log_p.any()
    assert np.isnan(option_middles(prior.choice, prior.edge)).all()


@given(
    st.floats(-4.0, 4.0),
    st.floats(-3.0, 3.0),
    st.floats(0.05, 5.0),
    st.booleans(),
    st.booleans(),
)
def test_a_value_leads_back_to_its_coordinate(
    z: float, centre: float, scale: float, log: bool, uniform: bool
) -> None:
    prior = one(centre, scale, log=log, uniform=uniform)
    value, slope = to_values(prior, np.array([z]))
    # What a value's last digits can't tell apart lies within their share of its slope.
    lost = 1e-12 * (1.0 + abs(float(value[0]))) / float(slope[0])
    assert to_coordinates(prior, value)[0] == pytest.approx(z, abs=1e-9 + lost)


def test_a_value_without_width_has_no_coordinate_of_its_own() -> None:
    assert to_coordinates(one(2.0, 0.0), np.array([7.0]))[0] == 0.0
