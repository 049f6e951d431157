"""Where fits start: the options of a bank's choices."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from backprobe.core.inference.bank import _spread, draw_bank, standard_sheet
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.prior import N_CHOICE, option_at
from backprobe.vocabulary import ROLES
from tests.core.inference.small_sheets import hypotheses

Array = NDArray[np.float64]

shares = st.lists(st.floats(0.002, 1.0), min_size=2, max_size=N_CHOICE)


def bins(share: list[float]) -> tuple[Array, Array, Array]:
    """Probabilities of some options, their choice and their edges, as a prior table has them."""
    p = np.array(share) / sum(share)
    edge = np.full((1, 1, N_CHOICE), np.inf)
    edge[0, 0, : p.size - 1] = ndtri(np.cumsum(p)[:-1])
    choice = np.full((1, 1, N_CHOICE), np.nan)
    choice[0, 0, : p.size] = np.arange(p.size)
    return p, choice, edge


@settings(max_examples=30)
@given(share=shares)
def test_options_are_drawn_as_the_square_roots_of_their_probabilities_say(
    share: list[float],
) -> None:
    p, choice, edge = bins(share)
    n = 2000
    z = ndtri((np.arange(n) + 0.5) / n)[:, None]
    spread = _spread(choice, edge, np.zeros(n, dtype=np.int64), z)
    count = np.bincount(option_at(edge[0], spread)[:, 0], minlength=p.size)[: p.size]
    wanted = np.sqrt(p) / np.sqrt(p).sum()
    assert np.abs(count / n - wanted).max() <= 2.0 / n


def test_a_value_that_is_no_choice_stays_where_it_was() -> None:
    z = np.random.default_rng(1).standard_normal((50, 1))
    none = np.full((1, 1, N_CHOICE), np.nan)
    edge = np.full((1, 1, N_CHOICE), np.inf)
    assert np.array_equal(_spread(none, edge, np.zeros(50, dtype=np.int64), z), z)


def test_a_bank_with_rare_options_differs_in_the_choices_of_its_last_particles_alone() -> None:
    table = hypotheses("relay-two-wire", 2).table
    sheet, n, n_rare = standard_sheet(2, len(ROLES)), 96, 48
    count = np.full(table.n_wire.size, n)
    base = layout_of(table, sheet).base(0)
    banks = [
        draw_bank(table, count, sheet, 1, rare) for rare in (None, np.full(count.size, n_rare))
    ]
    assert np.array_equal(banks[0].hypothesis, banks[1].hypothesis)
    usual, rare = (bank.z[:n, base].astype(np.float64) for bank in banks)
    choice, edge = table.driven_prior.choice[0, 0], table.driven_prior.edge[0, 0]
    chosen = ~np.isnan(choice[:, 0])
    assert np.array_equal(usual[:, ~chosen], rare[:, ~chosen])
    assert np.array_equal(usual[: n - n_rare], rare[: n - n_rare])
    share = ndtr(edge[chosen, 0])
    relay = int(np.argmin(share))  # of the feed, open in three of a hundred vehicles
    is_open = [option_at(edge[chosen], z[-n_rare:, chosen])[:, relay] == 0 for z in (usual, rare)]
    assert is_open[0].sum() <= 3 * n_rare * share[relay]
    assert is_open[1].sum() >= 4 * n_rare * share[relay]
