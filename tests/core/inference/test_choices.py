"""Choices against sums over every path they could take, and what they must not depend on."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri

from backprobe.core.inference.choices import (
    Track,
    best_path,
    choice_bins,
    is_choice,
    other_circuit_choices,
    other_driven_choices,
    path_log_probability,
    track_of,
)
from backprobe.core.inference.layout import layout_of, start_choices
from backprobe.core.inference.prior import N_CHOICE, option_middles
from backprobe.core.inference.round_values import plan_rounds, round_values
from backprobe.core.inference.sheet import Array, SheetRound
from tests.core.inference.small_sheets import IDLE, KEY_ON, UNPLUGGED, draws, healthy, sheet

CRANK = SheetRound("D", plugged=True, powered=True, state=1, state_high=1)
SNAP = SheetRound("S", plugged=True, powered=True, state=4, state_high=5)
SWEEP = SheetRound("W", plugged=True, powered=True, state=6, state_high=7)


def track(alias: list[int], share: list[float], moves: float) -> Track:
    """One choice of one hypothesis along some ends."""
    n = len(alias)
    edge = np.full(N_CHOICE, np.inf)
    edge[: len(share)] = ndtri(np.minimum(np.cumsum(share), 1.0))
    choice = np.where(np.arange(N_CHOICE) < len(share), 0.0, np.nan)
    return Track(
        at=np.arange(n)[:, None],
        alias=np.array(alias)[None, :, None],
        used=np.ones((1, n, 1), dtype=bool),
        choice=np.tile(choice, (1, n, 1, 1)),
        edge=np.tile(edge, (1, n, 1, 1)),
        moves=np.array([[[moves_to(k, moves)] for k in range(n)]]),
    )


def moves_to(end: int, moves: float) -> float:
    """Chance of a fresh draw on the way to an end; another one at every second end."""
    return moves if end % 2 else 0.3 * moves


def plain(alias: list[int], share: list[float], moves: float, path: tuple[int, ...]) -> float:
    """Probability of one path, end by end."""
    last: dict[int, int] = {}
    probability = 1.0
    for end, (state, option) in enumerate(zip(alias, path, strict=True)):
        fresh = share[option]
        if state in last:
            chance = moves_to(end, moves)
            fresh = chance * fresh + (1.0 - chance) * (last[state] == option)
        probability *= fresh
        last[state] = option
    return probability


CHAINS = st.tuples(
    st.lists(st.integers(0, 2), min_size=1, max_size=5),
    st.lists(st.floats(0.05, 1.0), min_size=2, max_size=3),
    st.floats(0.0, 1.0),
    st.integers(0, 2**20),
)


@settings(max_examples=40, deadline=None)
@given(CHAINS)
def test_what_is_not_told_is_summed_over(chain: tuple[list[int], list[float], float, int]) -> None:
    alias, weights, moves, seed = chain
    share = [w / sum(weights) for w in weights]
    rng = np.random.default_rng(seed)
    path = rng.integers(len(share), size=len(alias))
    told = rng.random(len(alias)) < 0.6
    expected = sum(
        plain(alias, share, moves, some)
        for some in product(range(len(share)), repeat=len(alias))
        if all(a == b for a, b, t in zip(some, path, told, strict=True) if t)
    )
    found = path_log_probability(
        track(alias, share, moves), path[None, :, None], told[None, :, None]
    )
    assert np.exp(found[0]) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(CHAINS)
def test_the_best_path_is_the_best_of_all(
    chain: tuple[list[int], list[float], float, int],
) -> None:
    alias, weights, moves, seed = chain
    share = [w / sum(weights) for w in weights]
    gain = np.full((1, len(alias), 1, N_CHOICE), -np.inf)
    gain[..., : len(share)] = 2.0 * np.random.default_rng(seed).standard_normal(
        (1, len(alias), 1, len(share))
    )

    def worth(path: tuple[int, ...]) -> float:
        likely = sum(float(gain[0, n, 0, o]) for n, o in enumerate(path))
        return likely + float(np.log(max(plain(alias, share, moves, path), 1e-300)))

    best = max(worth(p) for p in product(range(len(share)), repeat=len(alias)))
    found = best_path(track(alias, share, moves), gain)[0, :, 0]
    assert worth(tuple(int(o) for o in found)) == pytest.approx(best, abs=1e-6)


def at_rounds(family: str, n: int, rounds: tuple[SheetRound, ...], z: Array) -> list[float]:
    """Value of the only driven choice in each round."""
    table, readings = healthy(family, n).table, sheet(n, rounds)
    layout = layout_of(table, readings)
    slot = int(table.driven_slot[0, table.choice_at[0, 0]])
    values = round_values(plan_rounds(table, layout, readings), z).value
    return [float(v) for v in values[0, :, :, slot].ravel()]


def test_a_contact_may_move_between_two_rounds_of_a_state() -> None:
    rounds = (KEY_ON, replace(KEY_ON, name="again"), IDLE)
    table, readings = healthy("switch-two-wire", 2).table, sheet(2, rounds)
    layout = layout_of(table, readings)
    z = np.zeros((1, layout.size))
    for r, option in enumerate((-0.5, 0.5, -0.5)):
        z[0, layout.choice(r)] = option
    assert at_rounds("switch-two-wire", 2, rounds, z) == [0.0, 1.0, 0.0]


def test_both_ends_of_a_movement_have_their_own_option_where_their_states_differ() -> None:
    rounds = (KEY_ON, SWEEP)
    table, readings = healthy("switch-two-wire", 2).table, sheet(2, rounds)
    layout = layout_of(table, readings)
    z = np.zeros((1, layout.size))
    z[0, layout.choice(0, 0)], z[0, layout.choice(1, 0)], z[0, layout.choice(1, 1)] = -1, -1, 1
    assert at_rounds("switch-two-wire", 2, rounds, z) == [0.0, 0.0, 0.0, 1.0]
    # A Hall sensor's file says nothing of a sweep: both ends move as with the key on, as one.
    z = np.zeros((1, layout_of(healthy("hall-5v", 3).table, sheet(3, rounds)).size))
    low, high = at_rounds("hall-5v", 3, rounds, z)[2:]
    assert low == high


def test_a_choice_that_never_moves_belongs_to_its_state() -> None:
    # A relay is off with the key on in 6 of 10 (its file): engine running it is drawn anew. Its
    # feed has a choice of its own, which is left alone.
    rounds = (KEY_ON, IDLE, replace(KEY_ON, name="again"))
    found = healthy("relay-two-wire", 2).table
    table = replace(found, choice_moves=np.zeros_like(found.choice_moves))
    layout = layout_of(table, sheet(2, rounds))
    own = next(
        c
        for c, place in enumerate(table.choice_at[0])
        if not np.isnan(table.driven_prior.choice[0, IDLE.state, place, 0])
    )
    first, last = (layout.choice(r).start + own for r in (0, 2))
    z = np.zeros((1, layout.size))
    z[0, [first, last]] = -1.0
    same = choice_bins(table, layout, z)[1][0]
    z[0, last] = 1.0
    assert choice_bins(table, layout, z)[1][0] < same - 20.0
    moves = np.zeros_like(found.choice_moves)
    moves[:, own] = 1.0
    freely = replace(found, choice_moves=moves)
    assert choice_bins(freely, layout, z)[1][0] == pytest.approx(same + np.log(0.4))


def test_starts_take_the_option_of_their_state() -> None:
    rounds = (UNPLUGGED, KEY_ON, SNAP, IDLE)
    table = healthy("switch-two-wire", 2).table
    layout = layout_of(table, sheet(2, rounds))
    z = draws(6, layout.size, 3)
    many = np.zeros(6, dtype=np.int64)
    own = start_choices(table, many, layout, z)
    place = int(table.choice_at[0, 0])
    # Idling, a contact stands as with the key on; a throttle snap is a state of its own.
    for r, end, state in ((0, 0, 0), (1, 0, 0), (2, 0, 0), (2, 1, 5), (3, 0, 0)):
        base = own[:, layout.base(state).start + place]
        assert np.array_equal(own[:, layout.choice(r, end).start], base)


def test_choices_are_held_and_nothing_else_of_a_round() -> None:
    table = healthy("hall-5v", 3).table
    layout = layout_of(table, sheet(3, (KEY_ON, IDLE)))
    held = is_choice(table, layout)[0]
    # A tooth stands before it with the key on; with the engine running it is a share of time.
    used = table.choice_at[0] >= 0  # faults of this family may have further ones
    assert used.any()
    assert held[layout.choice(0)][used].all()
    assert not held[layout.choice(1)].any()
    assert not held[layout.change(0)].any()


@pytest.mark.parametrize(
    ("family", "n", "rounds"),
    [
        ("hall-5v", 3, (KEY_ON, IDLE)),
        ("switch-two-wire", 2, (UNPLUGGED, KEY_ON, replace(KEY_ON, name="again"), IDLE)),
        ("thermistor-two-pull-ups", 2, (KEY_ON, IDLE)),
        ("thermistor-two-pull-ups", 2, (KEY_ON, CRANK)),  # cranking goes on from the key being on
        ("switch-two-wire", 2, (KEY_ON, SWEEP, SNAP)),
    ],
)
def test_every_other_option_is_reached_once(
    family: str, n: int, rounds: tuple[SheetRound, ...]
) -> None:
    table = healthy(family, n).table
    layout = layout_of(table, sheet(n, rounds))
    z = np.zeros((1, layout.size))
    now, _ = choice_bins(table, layout, z)
    reached = []
    for others in (other_circuit_choices, other_driven_choices):
        source, changed = others(table, layout, z)
        after, _ = choice_bins(table.rows(source), layout, changed)
        reached += [tuple((int(p), int(a[p])) for p in np.flatnonzero(a != now[0])) for a in after]
    assert all(reached)
    assert len(set(reached)) == len(reached)
    alone = [r[0] for r in reached if len(r) == 1]
    circuit = (~np.isnan(option_middles(table.static.choice, table.static.edge))).sum()
    own = track_of(table, layout)
    driven = own.n_option[own.used].sum()
    n_choice = int(table.static.is_choice.sum()) + int(own.used.sum())
    assert len(alone) == circuit + driven - n_choice
    together = [r for r in reached if len(r) > 1]
    chains = {int(a) for a in own.alias[own.used]}
    assert len(together) <= len(chains) * (N_CHOICE - 1)
