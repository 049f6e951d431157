"""Sums over assignments against enumeration, published counts and a general assignment solver."""

from collections.abc import Callable
from itertools import combinations, permutations
from math import factorial
from typing import TypeAlias

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.special import logsumexp

from backprobe.core.inference.assignment import (
    PairFactor,
    assignment_marginals,
    best_assignment,
    log_permanent,
    log_sum_with_pairs,
)
from backprobe.core.inference.assignment_plan import make_plan
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

# Roundings of float64 through n * 2**n additions and the exponentials of logarithms up to about
# 1000.
REL = 1e-11


def enumerated(unary: Array, pairs: list[PairFactor]) -> tuple[Array, Array, Array]:
    """Log sum, marginals and value of the best assignment of each member, one assignment after
    another."""
    n_batch, n, _ = unary.shape
    log_sum, best = np.empty(n_batch), np.empty(n_batch)
    marginals = np.zeros_like(unary)
    orders = list(permutations(range(n)))
    for b in range(n_batch):
        values = np.array(
            [
                sum(unary[b, t, w] for t, w in enumerate(order))
                + sum(table[b % len(table), order[i], order[j]] for i, j, table in pairs)
                for order in orders
            ]
        )
        log_sum[b], best[b] = logsumexp(values), values.max()
        for order, value in zip(orders, values, strict=True):
            if value > -np.inf:
                marginals[b, np.arange(n), order] += np.exp(value - log_sum[b])
    return log_sum, marginals, best


def value_of(unary: Array, pairs: list[PairFactor], wires: NDArray[np.intp]) -> Array:
    """Log product of one assignment a member."""
    member, n = np.arange(len(unary)), unary.shape[1]
    value: Array = unary[member[:, None], np.arange(n), wires].sum(axis=1)
    for i, j, table in pairs:
        value = value + np.broadcast_to(table, unary.shape)[member, wires[:, i], wires[:, j]]
    return value


def random_case(
    seed: int, n: int, edges: list[tuple[int, int]], scale: float
) -> tuple[Array, list[PairFactor]]:
    rng = np.random.default_rng(seed)
    unary = rng.normal(scale=scale, size=(5, n, n))
    unary[rng.random(unary.shape) < 0.15] = -np.inf
    unary[:, np.arange(n), rng.permutation(n)] = 0.0  # at least one assignment stays possible
    tables: list[PairFactor] = [(i, j, rng.normal(scale=scale, size=(5, n, n))) for i, j in edges]
    return unary, tables


# ------------------------------------------------------------------ published counts


@pytest.mark.parametrize("n", range(1, 9))
def test_permanent_of_ones_counts_all_orders(n: int) -> None:
    assert log_permanent(np.zeros((1, n, n)))[0] == pytest.approx(np.log(factorial(n)), rel=REL)


# Derangements and menage numbers: Ryser, Combinatorial Mathematics (1963), ch. 2 (from memory; also
# OEIS A000166 and A000179).
@pytest.mark.parametrize(
    ("n", "count"), [(2, 1), (3, 2), (4, 9), (5, 44), (6, 265), (7, 1854), (8, 14833)]
)
def test_permanent_with_empty_diagonal_counts_derangements(n: int, count: int) -> None:
    matrix = np.where(np.eye(n, dtype=bool), -np.inf, 0.0)[None]
    assert log_permanent(matrix)[0] == pytest.approx(np.log(count), rel=REL)


@pytest.mark.parametrize(("n", "count"), [(3, 1), (4, 2), (5, 13), (6, 80), (7, 579), (8, 4738)])
def test_permanent_with_two_empty_diagonals_counts_menages(n: int, count: int) -> None:
    eye = np.eye(n, dtype=bool)
    matrix = np.where(eye | np.roll(eye, 1, axis=1), -np.inf, 0.0)[None]
    assert log_permanent(matrix)[0] == pytest.approx(np.log(count), rel=REL, abs=1e-12)


# Queens that attack none (OEIS A000170, from memory): every pair of rows has a table, the largest
# plan there is.
@pytest.mark.parametrize(("n", "count"), [(4, 2), (5, 10), (6, 4), (7, 40), (8, 92)])
def test_tables_between_all_pairs_count_queens(n: int, count: int) -> None:
    column = np.arange(n)
    distance = np.abs(column[:, None] - column)
    pairs: list[PairFactor] = [
        (i, j, np.where(distance == j - i, -np.inf, 0.0)[None])
        for i, j in combinations(range(n), 2)
    ]
    result = log_sum_with_pairs(np.zeros((1, n, n)), pairs, marginals=True, best=True)
    assert np.exp(result.log_sum[0]) == pytest.approx(count, rel=1e-9)
    assert result.marginals is not None
    np.testing.assert_allclose(result.marginals.sum(axis=1), 1.0, rtol=1e-12)
    assert result.best_log is not None
    assert result.best_log[0] == 0.0
    if n == 4:  # the two boards are 2413 and 3142
        assert result.best is not None
        assert tuple(result.best[0]) in {(1, 3, 0, 2), (2, 0, 3, 1)}


# Orders in which no neighbours are consecutive (OEIS A002464, from memory): tables in a chain.
@pytest.mark.parametrize(("n", "count"), [(4, 2), (5, 14), (6, 90), (7, 646), (8, 5242)])
def test_tables_in_a_chain_count_orders_without_neighbours(n: int, count: int) -> None:
    wire = np.arange(n)
    table = np.where(np.abs(wire[:, None] - wire) == 1, -np.inf, 0.0)[None]
    pairs: list[PairFactor] = [(i, i + 1, table) for i in range(n - 1)]
    assert np.exp(log_sum_with_pairs(np.zeros((1, n, n)), pairs).log_sum[0]) == pytest.approx(
        count, rel=1e-9
    )


# ------------------------------------------------------------------ enumeration

EDGES = {
    "no pair": [],
    "one pair": [(0, 1)],
    "one pair, later terminal first": [(2, 0)],
    "the same pair twice": [(0, 1), (1, 0)],
    "a star": [(1, 0), (1, 2)],
    "a triangle": [(0, 1), (1, 2), (0, 2)],
}


@pytest.mark.parametrize("edges", EDGES.values(), ids=EDGES.keys())
@pytest.mark.parametrize("n", [3, 4, 5])
@pytest.mark.parametrize(
    "scale", [1.0, 30.0, 3000.0], ids=["close", "decided", "beyond linear numbers"]
)
def test_agrees_with_enumeration(n: int, scale: float, edges: list[tuple[int, int]]) -> None:
    unary, pairs = random_case(n, n, edges, scale)
    log_sum, marginals, best = enumerated(unary, pairs)
    result = log_sum_with_pairs(unary, pairs, marginals=True, best=True)
    np.testing.assert_allclose(result.log_sum, log_sum, rtol=REL, atol=1e-11)
    assert result.marginals is not None
    np.testing.assert_allclose(result.marginals, marginals, atol=1e-9)
    assert result.best is not None
    assert result.best_log is not None
    np.testing.assert_allclose(result.best_log, best, rtol=REL, atol=1e-11)
    np.testing.assert_allclose(value_of(unary, pairs, result.best), best, rtol=REL, atol=1e-11)


@pytest.mark.parametrize("edges", [[], [(0, 5), (1, 5), (2, 3)]], ids=["no pair", "three pairs"])
def test_agrees_with_enumeration_of_six(edges: list[tuple[int, int]]) -> None:
    unary, pairs = random_case(6, 6, edges, 4.0)
    log_sum, marginals, _ = enumerated(unary, pairs)
    result = log_sum_with_pairs(unary, pairs, marginals=True)
    np.testing.assert_allclose(result.log_sum, log_sum, rtol=REL)
    assert result.marginals is not None
    np.testing.assert_allclose(result.marginals, marginals, atol=1e-12)


@pytest.mark.parametrize("n", range(1, 9))
def test_best_assignment_agrees_with_a_general_solver(n: int) -> None:
    unary = np.random.default_rng(n).normal(scale=5.0, size=(20, n, n))
    wires, value = best_assignment(unary)
    for member, matrix in enumerate(unary):
        rows, columns = linear_sum_assignment(matrix, maximize=True)
        assert value[member] == pytest.approx(matrix[rows, columns].sum(), rel=REL)
        np.testing.assert_array_equal(wires[member], columns)


def test_two_terminals_that_want_the_same_wire_are_summed_in_logarithms() -> None:
    # Both terminals fit wire 0; one of them has to take wire 1 at exp(-2000) or exp(-2001), both
    # 0 as float64.
    unary = np.array([[[0.0, -2000.0], [0.0, -2001.0]], [[0.0, -1.0], [0.0, -2.0]]])
    log_sum, marginals = assignment_marginals(unary)
    assert log_sum[0] == pytest.approx(-2000.0 + np.log1p(np.exp(-1.0)), rel=1e-15)
    assert marginals[0, 0, 1] == pytest.approx(1.0 / (1.0 + np.exp(-1.0)), rel=1e-12)
    assert marginals[1, 0, 1] == pytest.approx(1.0 / (1.0 + np.exp(-1.0)), rel=1e-12)


def test_impossible_member_has_no_probability_and_leaves_the_others_alone() -> None:
    unary = np.zeros((3, 3, 3))
    unary[1, 0, :] = -np.inf  # the terminal fits no wire
    unary[2, :2, 1:] = -np.inf  # two terminals fit only wire 0
    result = log_sum_with_pairs(unary, [], marginals=True, best=True)
    np.testing.assert_allclose(result.log_sum, [np.log(6.0), -np.inf, -np.inf])
    assert result.marginals is not None
    np.testing.assert_allclose(result.marginals[0], 1 / 3)
    np.testing.assert_array_equal(result.marginals[1:], 0.0)
    assert result.best is not None
    np.testing.assert_array_equal(np.sort(result.best, axis=1), np.tile([0, 1, 2], (3, 1)))


def test_long_batch_equals_one_by_one() -> None:
    # More members than one chunk holds.
    rng = np.random.default_rng(11)
    unary = rng.normal(scale=3.0, size=(5000, 4, 4))
    table = rng.normal(size=(5000, 4, 4))
    whole = log_sum_with_pairs(unary, [(0, 2, table)], marginals=True, best=True)
    assert whole.marginals is not None
    assert whole.best is not None
    for member in (0, 1023, 2500, 4999):
        one = slice(member, member + 1)
        alone = log_sum_with_pairs(unary[one], [(0, 2, table[one])], marginals=True, best=True)
        assert alone.marginals is not None
        assert alone.best is not None
        np.testing.assert_array_equal(whole.log_sum[one], alone.log_sum)
        np.testing.assert_array_equal(whole.marginals[one], alone.marginals)
        np.testing.assert_array_equal(whole.best[one], alone.best)


def test_empty_batch_gives_empty_answers() -> None:
    log_sum, marginals = assignment_marginals(np.empty((0, 4, 4)))
    assert log_sum.shape == (0,)
    assert marginals.shape == (0, 4, 4)


def test_arguments_are_left_as_they_were() -> None:
    unary, pairs = random_case(3, 4, [(0, 1)], 5.0)
    before = unary.copy(), pairs[0][2].copy()
    log_sum_with_pairs(unary, pairs, marginals=True, best=True)
    np.testing.assert_array_equal(unary, before[0])
    np.testing.assert_array_equal(pairs[0][2], before[1])


# ------------------------------------------------------------------ properties


@st.composite
def matrices(draw: st.DrawFn) -> Array:
    n = draw(st.integers(1, 5))
    values = draw(st.lists(st.floats(-60.0, 20.0), min_size=n * n, max_size=n * n))
    return np.array(values).reshape(1, n, n)


@given(matrices())
@settings(max_examples=60, deadline=None)
def test_rows_and_columns_of_marginals_sum_to_one(unary: Array) -> None:
    _, marginals = assignment_marginals(unary)
    np.testing.assert_allclose(marginals.sum(axis=1), 1.0, rtol=1e-12)
    np.testing.assert_allclose(marginals.sum(axis=2), 1.0, rtol=1e-12)


@given(matrices(), st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_permuting_terminals_permutes_the_answer(unary: Array, seed: int) -> None:
    order = np.random.default_rng(seed).permutation(unary.shape[1])
    log_sum, marginals = assignment_marginals(unary)
    log_sum_other, marginals_other = assignment_marginals(unary[:, order])
    np.testing.assert_allclose(log_sum_other, log_sum, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(marginals_other, marginals[:, order], atol=1e-12)


@given(matrices(), st.floats(-500.0, 500.0))
@settings(max_examples=40, deadline=None)
def test_a_factor_that_tells_wires_nothing_leaves_marginals_alone(
    unary: Array, constant: float
) -> None:
    shifted = unary.copy()
    shifted[:, 0, :] += constant
    log_sum, marginals = assignment_marginals(unary)
    log_sum_shifted, marginals_shifted = assignment_marginals(shifted)
    np.testing.assert_allclose(log_sum_shifted, log_sum + constant, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(marginals_shifted, marginals, atol=1e-9)


# ------------------------------------------------------------------ plans and refusals


def test_plan_costs_are_those_of_the_docstring() -> None:
    assert [make_plan(n, ()).n_transition for n in (4, 6, 8)] == [32, 192, 1024]
    everything = tuple(combinations(range(6), 2))
    assert make_plan(6, everything).n_transition == 1956
    assert make_plan(6, ((4, 5),)).n_transition < 2 * 192


def test_order_of_terminals_keeps_a_star_cheap() -> None:
    # Whatever its number, the centre of the star is remembered, not its five ends.
    costs = {make_plan(6, tuple((c, t) for t in range(6) if t != c)).n_transition for c in range(6)}
    assert len(costs) == 1
    assert costs.pop() < 6 * 192


ZERO = np.zeros((1, 2, 2))
TWO = np.zeros((2, 2, 2))
THREE = np.zeros((3, 2, 2))


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: log_permanent(np.zeros((2, 3))), r"shape \(2, 3\).*not-used"),
        (lambda: log_permanent(np.zeros((2, 3, 4))), r"shape \(2, 3, 4\)"),
        (lambda: log_permanent(np.zeros((1, 9, 9))), "9 terminals; 1 to 8"),
        (lambda: log_permanent(np.full((1, 2, 2), np.nan)), "NaN or infinite"),
        (lambda: log_permanent(np.full((1, 2, 2), np.inf)), "NaN or infinite"),
        (lambda: log_sum_with_pairs(ZERO, [(1, 1, ZERO)]), "two different terminals"),
        (lambda: log_sum_with_pairs(ZERO, [(0, 2, ZERO)]), r"pair \(0, 2\)"),
        (lambda: log_sum_with_pairs(ZERO, [(0, 1, ZERO * np.nan)]), r"pair \(0, 1\).*NaN"),
        (lambda: log_sum_with_pairs(THREE, [(0, 1, TWO)]), r"\(2, 2, 2\), not \(3, 2"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()
