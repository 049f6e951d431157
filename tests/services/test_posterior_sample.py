"""The sample that planning works with, against the posterior that it stands for."""

import numpy as np
import pytest
from scipy.special import ndtri

from backprobe.services.posterior_sample import N_SAMPLE, SMALLEST_GROUP, sample
from backprobe.services.summary import role_probabilities
from backprobe.vocabulary import ROLES
from tests.services.sheets import after


@pytest.mark.parametrize("name", ["half-a-sheet", "unplugged only", "unchecked and low"])
def test_the_sample_has_the_posteriors_weights_by_hypothesis(name: str) -> None:
    posterior = after(name)
    samples = sample(posterior, np.random.default_rng(2))
    size = posterior.bench.hypotheses.table.log_prior.size
    of_all = np.bincount(posterior.draws.hypothesis, posterior.draws.weight, minlength=size)
    of_sample = np.bincount(samples.draws.hypothesis, samples.weight, minlength=size)
    assert samples.weight.sum() == pytest.approx(1.0)
    assert samples.weight.size == pytest.approx(N_SAMPLE, rel=0.15)
    # Only groups below a thousandth are left out, of some dozens.
    assert np.abs(of_all - of_sample).max() < 40 * SMALLEST_GROUP


def test_assignments_are_drawn_from_the_marginals() -> None:
    posterior = after("half-a-sheet")
    samples = sample(posterior, np.random.default_rng(2))
    n_terminal = samples.assigned.shape[1]
    assert np.array_equal(
        np.sort(samples.assigned, axis=1),
        np.tile(np.arange(n_terminal), (samples.weight.size, 1)),
    )
    role = posterior.bench.hypotheses.table.role[samples.draws.hypothesis]
    of_terminal = np.take_along_axis(role, samples.assigned, axis=1)
    supply = ROLES.index("supply-regulated")
    drawn = float(samples.weight[of_terminal[:, 0] == supply].sum())
    # A hundred or so weighted draws of a share near a half: a standard deviation of 0.06 or so.
    assert drawn == pytest.approx(role_probabilities(posterior)[0, supply], abs=0.2)


def test_what_is_drawn_afresh_is_spread_evenly_over_its_prior() -> None:
    samples = sample(after("half-a-sheet"), np.random.default_rng(2))
    fresh = samples.evenly(3, np.random.default_rng(3))
    count = int(np.bincount(samples.group)[0])
    quantiles = ndtri((np.arange(count) + 0.5) / count)  # of the standard normal distribution
    for k in range(3):
        assert np.allclose(np.sort(fresh[samples.group == 0, k]), quantiles)


def test_coordinates_that_readings_speak_of_are_kept() -> None:
    posterior = after("thermistor")
    samples = sample(posterior, np.random.default_rng(2))
    moved = (samples.z != samples.draws.z).mean(axis=0)
    assert moved.max() > 0.5  # some value has nothing to do with the readings
    assert (moved == 0.0).any()  # and some have
