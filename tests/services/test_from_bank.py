"""Fits from particles of the bank: what is given up early, and what is found that way."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.fit import fit
from backprobe.core.inference.screen import best_of_each
from backprobe.services.from_bank import (
    AS_GOOD,
    N_SIFTED,
    as_good,
    from_every_particle,
)
from tests.services.sheets import after


def test_a_fit_that_ended_badly_is_put_right_from_another_particle() -> None:
    posterior = after("thermistor")
    bench, sheet = posterior.bench, posterior.problem.sheet
    table, whole = bench.hypotheses.table, posterior.fits[0]
    best = int(np.argmax(whole.log_posterior + table.log_prior[whole.hypothesis]))
    # Half a step from a far corner: as good as any fit that ran into a bad end.
    poor = fit(
        table,
        whole.hypothesis[[best]],
        whole.assigned[[best]],
        np.full_like(whole.z[[best]], 2.0),
        sheet,
        0,
    )
    assert poor.log_posterior[0] < whole.log_posterior[best] - 5.0
    found = from_every_particle(bench, sheet, poor)
    assert set(found.hypothesis.tolist()) == {int(whole.hypothesis[best])}
    assert found.log_posterior.max() >= whole.log_posterior[best] - 0.1


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(-50.0, 0.0)), min_size=1, max_size=60))
def test_of_each_the_best_are_kept(starts: list[tuple[int, float]]) -> None:
    group = np.array([g for g, _ in starts])
    score = np.array([s for _, s in starts])
    kept = best_of_each(group, score, 3)
    assert len(set(kept.tolist())) == kept.size
    for g in set(group.tolist()):
        mine = np.flatnonzero(group == g)
        taken = kept[group[kept] == g]
        assert taken.size == min(3, mine.size)
        left = np.setdiff1d(mine, taken)
        assert not left.size or score[left].max() <= score[taken].min()


@given(st.lists(st.floats(-100.0, 0.0), min_size=1, max_size=300))
def test_nothing_that_is_nearly_as_good_as_the_best_is_given_up(scores: list[float]) -> None:
    score = np.array(scores)
    kept = as_good(score)
    assert set(np.flatnonzero(score > score.max() - AS_GOOD)) <= set(kept.tolist())
    assert kept.size >= min(N_SIFTED, score.size)
