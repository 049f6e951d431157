"""Which terminal is which wire of the circuit: sums over all one-to-one assignments.

Given how well each terminal's readings fit each wire of a circuit, the evidence of the circuit is
the sum, over every way to assign terminals to wires, of the product of the fits: the permanent of
the matrix. It is summed over subsets of wires (``n * 2**(n-1)`` multiplications instead of ``n!``
products), forward and backward, which gives each terminal's own probabilities as well. Readings
taken *between* two terminals, such as the resistance of the unplugged sensor, depend on the wires
of both; the same sum then carries the wires that are still needed (module ``assignment_plan``).

All functions work on a batch; the batch is the first axis of what goes in and comes out.

Numbers: likelihoods are scaled by the largest of each row and column, multiplied and added as
plain float64 numbers, and the scale is put back in the logarithm. All scaled factors are at most
1, so what underflows in a product changes the sum by less than ``n! * 2.3e-308``; members of the
batch whose scaled sum is below 1e-250 are done again in logarithms. The relative error is below
``n * 2**n`` roundings either way.

Sources: [ryser1963, ch. 2] (permanent); [held1962] (sums over subsets).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.assignment_passes import best_choices, linear_sums
from backprobe.core.inference.assignment_plan import IntArray, Plan, make_plan
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]
PairFactor: TypeAlias = tuple[int, int, Array]

MAX_TERMINALS = 8
"""Largest number of terminals; the plan for readings between all pairs of 8 has 110 000
transitions."""

_CHUNK_NUMBERS = 1 << 16
"""Numbers in the largest temporary array: half a megabyte of float64, which stays in a second-
level cache."""


@dataclass(frozen=True, slots=True)
class AssignmentSum:
    """What a sum over all assignments gave.

    Attributes
    ----------
    log_sum : ndarray, shape (n_batch,)
        Natural logarithm of the sum of products; ``-inf`` where no assignment is possible.
    marginals : ndarray, shape (n_batch, n, n), or None
        Probability of each wire (last axis) for each terminal, given that every assignment is
        equally likely beforehand; rows and columns sum to 1. All 0 where no assignment is
        possible, so that such a member adds nothing to a weighted mean. None where not asked for.
    best : ndarray, shape (n_batch, n), or None
        Wire of each terminal in the single assignment with the largest product; among equals the
        first in the order of the sum. A valid assignment even where none is possible. None where
        not asked for.
    best_log : ndarray, shape (n_batch,), or None
        Natural logarithm of that product.
    """

    log_sum: Array
    marginals: Array | None = None
    best: IntArray | None = None
    best_log: Array | None = None


def log_permanent(log_likelihood: Array) -> Array:
    """Sum, over all assignments of terminals to wires, the product of likelihoods.

    Parameters
    ----------
    log_likelihood : ndarray, shape (n_batch, n, n)
        Natural logarithm of the likelihood of each terminal's readings (rows) if it is that wire
        (columns); ``-inf`` for impossible. n from 1 to 8.

    Returns
    -------
    ndarray, shape (n_batch,)
        Natural logarithm of the permanent of the likelihoods; ``-inf`` where no assignment is
        possible.

    Raises
    ------
    ValueOutOfRange
        The array is not a batch of square matrices of size 1 to 8, or contains NaN or ``+inf``.
    """
    return log_sum_with_pairs(log_likelihood, ()).log_sum


def assignment_marginals(log_likelihood: Array) -> tuple[Array, Array]:
    """Logarithm of the permanent, and each terminal's probabilities of being each wire.

    Parameters
    ----------
    log_likelihood : ndarray, shape (n_batch, n, n)
        As for `log_permanent`.

    Returns
    -------
    log_permanent : ndarray, shape (n_batch,)
        As from `log_permanent`.
    marginals : ndarray, shape (n_batch, n, n)
        Probability of each wire (last axis) for each terminal; rows and columns sum to 1, all 0
        where no assignment is possible.

    Raises
    ------
    ValueOutOfRange
        As for `log_permanent`.
    """
    result = log_sum_with_pairs(log_likelihood, (), marginals=True)
    assert result.marginals is not None  # noqa: S101 - asked for in the line above; tells the type checker
    return result.log_sum, result.marginals


def best_assignment(
    log_likelihood: Array, pairs: Sequence[PairFactor] = ()
) -> tuple[IntArray, Array]:
    """Find the single assignment with the largest product of likelihoods.

    Parameters
    ----------
    log_likelihood : ndarray, shape (n_batch, n, n)
        As for `log_permanent`.
    pairs : sequence of (int, int, ndarray of shape (n_batch, n, n))
        As for `log_sum_with_pairs`.

    Returns
    -------
    wires : ndarray of int, shape (n_batch, n)
        Wire of each terminal.
    log_value : ndarray, shape (n_batch,)
        Natural logarithm of the product.

    Raises
    ------
    ValueOutOfRange
        As for `log_permanent`.
    """
    return _best_in_chunks(*_checked(log_likelihood, pairs))


def log_sum_with_pairs(
    log_likelihood: Array,
    pairs: Sequence[PairFactor],
    *,
    marginals: bool = False,
    best: bool = False,
) -> AssignmentSum:
    """Sum over all assignments where some factors depend on the wires of two terminals.

    Exact for any set of pairs. The cost for each member of the batch is the number of transitions
    of the plan: 32, 192 and 1024 for 4, 6 and 8 terminals without pairs; 1.5 to 3 times that with
    one pair, more with pairs that hang together, and at most the ``n! * (1 + 1/1! + 1/2! + ...)``
    partial assignments (64, 1956, 109 600) with readings between all pairs. For 8 terminals read
    in all 28 pairs that is about two milliseconds a member, and a third of a second for the plan,
    once.

    Parameters
    ----------
    log_likelihood : ndarray, shape (n_batch, n, n)
        Natural logarithm of the likelihood of each terminal's own readings (rows) if it is that
        wire (columns); ``-inf`` for impossible. n from 1 to 8.
    pairs : sequence of (int, int, ndarray of shape (n_batch, n, n))
        Two terminals and the natural logarithm of a likelihood by the wire of the first (rows)
        and of the second (columns). Diagonals do not matter: two terminals never are the same
        wire. A table of shape (1, n, n) stands for the whole batch.
    marginals, best : bool
        Whether these are wanted too.

    Returns
    -------
    AssignmentSum
        The sum, and what was asked for.

    Raises
    ------
    ValueOutOfRange
        Shapes do not fit, a pair is not of two different terminals, or a value is NaN or ``+inf``.

    Notes
    -----
    Marginals are forward value times factor times backward value over the sum, as in the
    forward-backward recursion for chains.
    """
    plan, unary, tables = _checked(log_likelihood, pairs)
    log_sum: Array = np.empty(unary.shape[0])
    shares: Array | None = np.empty(unary.shape) if marginals else None
    for part in _chunks(plan, unary.shape[0]):
        here = _batch_last(unary[part])
        pair_here = [_batch_last(table[part]) for table in tables]
        log_sum[part], share = linear_sums(plan, here, pair_here, wanted=marginals)
        if shares is not None and share is not None:
            shares[part] = share.transpose(2, 0, 1)
    if not best:
        return AssignmentSum(log_sum, shares)
    wires, value = _best_in_chunks(plan, unary, tables)
    return AssignmentSum(log_sum, shares, wires, value)


def _checked(log_likelihood: Array, pairs: Sequence[PairFactor]) -> tuple[Plan, Array, list[Array]]:
    """Plan, factors of the terminals and of the pairs, the shapes checked."""
    unary = _checked_unary(log_likelihood)
    tables = [_checked_table(one, other, table, unary.shape) for one, other, table in pairs]
    return make_plan(unary.shape[1], tuple((one, other) for one, other, _ in pairs)), unary, tables


def _checked_unary(log_likelihood: Array) -> Array:
    unary: Array = np.asarray(log_likelihood, dtype=np.float64)
    if unary.ndim != 3 or unary.shape[1] != unary.shape[2]:
        raise ValueOutOfRange(
            f"the array has the shape {unary.shape}, not (batch, terminals, wires) "
            "with as many wires as terminals.",
            where="log likelihoods",
            remedy="Add cavities without a wire as the role not-used, so that both numbers agree.",
        )
    if not 1 <= unary.shape[1] <= MAX_TERMINALS:
        raise ValueOutOfRange(
            f"there are {unary.shape[1]} terminals; 1 to {MAX_TERMINALS} can be assigned.",
            where="log likelihoods",
            remedy="Split the connector into groups that belong to one sensor each.",
        )
    _require_log_likelihoods(unary, "log likelihoods")
    return unary


def _checked_table(one: int, other: int, table: Array, shape: tuple[int, ...]) -> Array:
    n_batch, n, _ = shape
    where = f"pair ({one}, {other})"
    if one == other or not (0 <= one < n and 0 <= other < n):
        raise ValueOutOfRange(
            f"a pair needs two different terminals out of 0 to {n - 1}.",
            where=where,
            remedy="Leave the pair out or correct its terminals.",
        )
    values: Array = np.asarray(table, dtype=np.float64)
    if values.shape not in {(n_batch, n, n), (1, n, n)}:
        raise ValueOutOfRange(
            f"the table has the shape {values.shape}, not {(n_batch, n, n)} or {(1, n, n)}.",
            where=where,
            remedy="Give one row a wire of the first terminal and one column a wire of the second.",
        )
    _require_log_likelihoods(values, where)
    return np.broadcast_to(values, (n_batch, n, n))


def _require_log_likelihoods(values: Array, where: str) -> None:
    # The maximum carries NaN along: one pass finds both NaN and +inf.
    largest = values.max(initial=-np.inf)
    if np.isnan(largest) or largest == np.inf:
        raise ValueOutOfRange(
            "a logarithm of a likelihood is NaN or infinite.",
            where=where,
            remedy="Leave readings that were not taken out of the product instead of passing NaN.",
        )


def _chunks(plan: Plan, n_batch: int) -> list[slice]:
    size = max(16, _CHUNK_NUMBERS // plan.widest)
    return [slice(start, start + size) for start in range(0, n_batch, size)]


def _batch_last(values: Array) -> Array:
    """Copy to shape (n, n, n_batch): every operation then runs along the batch."""
    return np.ascontiguousarray(values.transpose(1, 2, 0))


def _best_in_chunks(plan: Plan, unary: Array, tables: list[Array]) -> tuple[IntArray, Array]:
    """Wires (n_batch, n) and log value (n_batch,) of the best; arguments batch first."""
    wires: IntArray = np.empty(unary.shape[:2], dtype=np.intp)
    value: Array = np.empty(unary.shape[0])
    for part in _chunks(plan, unary.shape[0]):
        here = [_batch_last(table[part]) for table in tables]
        wires[part], value[part] = best_choices(plan, _batch_last(unary[part]), here)
    return wires, value
