"""The passes through a plan of assignments: backward, forward, and for the best one.

Arrays here have the batch last, so that every operation runs along it: factors of the terminals
(n, n, n_batch), tables of the pairs the same.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.assignment_plan import IntArray, Plan, Step

Array: TypeAlias = NDArray[np.float64]
Combine: TypeAlias = Callable[[Array, Array], Array]
Reduce: TypeAlias = Callable[[Array], Array]

_SMALLEST_LINEAR_SUM = 1e-250
"""Scaled sums below this are summed in logarithms: far above 2.3e-308, where float64 begins to
lose digits."""

_SMALLEST_STATE_SUM = 1e-290
"""Scaled sums of single states below this may consist of denormal numbers; they carry no share of
the whole."""


@dataclass(frozen=True, slots=True)
class _Algebra:
    """What "times" and "sum over choices" mean: for numbers or for their logarithms."""

    times: Combine
    total: Reduce  # over axis 1
    one: float


def _sum_choices(values: Array) -> Array:
    total: Array = np.add.reduce(values, axis=1)
    return total


def _log_sum_choices(values: Array) -> Array:
    total: Array = np.logaddexp.reduce(values, axis=1)
    return total


_LINEAR = _Algebra(times=np.multiply, total=_sum_choices, one=1.0)
_LOGARITHMIC = _Algebra(times=np.add, total=_log_sum_choices, one=0.0)


def linear_sums(
    plan: Plan, unary: Array, tables: list[Array], *, wanted: bool
) -> tuple[Array, Array | None]:
    """Log sums (n_batch,) and wanted marginals (n, n, n_batch); arguments batch last."""
    scaled, scale = _scaled(unary)
    factors: list[Array] = []
    for table in tables:
        largest = _finite_or_zero(table.max(axis=(0, 1)))
        factors.append(np.exp(table - largest))
        scale = scale + largest
    layers, products = _backward(plan, scaled, factors, _LINEAR)
    total = layers[0][0]  # (n_batch,)
    small = np.flatnonzero(total < _SMALLEST_LINEAR_SUM)
    with np.errstate(divide="ignore"):
        log_sum: Array = np.log(total) + scale
    shares = _marginals(plan, layers, products, _LINEAR) if wanted else None
    if small.size:
        some = [np.ascontiguousarray(table[..., small]) for table in tables]
        layers, products = _backward(
            plan, np.ascontiguousarray(unary[..., small]), some, _LOGARITHMIC
        )
        log_sum[small] = layers[0][0]
        if shares is not None:
            shares[..., small] = _marginals(plan, layers, products, _LOGARITHMIC)
    return log_sum, shares


def _scaled(unary: Array) -> tuple[Array, Array]:
    """Likelihoods (n, n, n_batch), largest of rows and columns 1, and the log scale."""
    by_row = _finite_or_zero(unary.max(axis=1))  # (n, n_batch)
    rest = unary - by_row[:, None, :]
    by_column = _finite_or_zero(rest.max(axis=0))  # (n, n_batch)
    rest -= by_column
    return np.exp(rest, out=rest), by_row.sum(axis=0) + by_column.sum(axis=0)


def _finite_or_zero(values: Array) -> Array:
    return np.where(values == -np.inf, 0.0, values)


def _step_factors(step: Step, unary: Array, tables: list[Array], times: Combine) -> Array:
    """Factor of every transition of a step, shape (n_transition, n_batch)."""
    factors: Array = unary[step.terminal].take(step.wire, axis=0)
    for coupling in step.couplings:
        table = tables[coupling.pair]
        factors = times(factors, table.reshape(-1, table.shape[-1]).take(coupling.cell, axis=0))
    return factors


def _backward(
    plan: Plan, unary: Array, tables: list[Array], algebra: _Algebra
) -> tuple[list[Array], list[Array]]:
    """Sum over all completions of each state.

    Returns the sums of every layer, shapes (n_state, n_batch), from the empty assignment on, and
    for every step the factor of each transition times the sum of the state it leads to,
    (n_transition, n_batch).
    """
    n_batch = unary.shape[-1]
    layers: list[Array] = [np.full((1, n_batch), algebra.one)]
    products: list[Array] = []
    for step in reversed(plan.steps):
        factors = _step_factors(step, unary, tables, algebra.times)
        product = algebra.times(factors, layers[-1].take(step.target, axis=0))
        products.append(product)
        layers.append(algebra.total(product.reshape(-1, step.n_choice, n_batch)))
    return layers[::-1], products[::-1]


def _marginals(plan: Plan, layers: list[Array], products: list[Array], algebra: _Algebra) -> Array:
    """Probability of each wire for each terminal, shape (n, n, n_batch), by the forward pass.

    The forward value used here is divided by the whole sum and multiplied by the backward value
    of its state: the probability that the state is passed. Each transition then takes its share
    of it, so that no number larger than 1 or product of small numbers arises.
    """
    n_batch = layers[0].shape[-1]
    shares: Array = np.empty((plan.n_terminal, plan.n_terminal, n_batch))
    possible = layers[0][0] > (-np.inf if algebra is _LOGARITHMIC else 0.0)
    passed: Array = possible[None, :].astype(np.float64)  # (n_state, n_batch)
    for step, layer, product in zip(plan.steps, layers[:-1], products, strict=True):
        if algebra is _LOGARITHMIC:
            split = np.exp(product - _finite_or_zero(layer).take(step.source, axis=0))
        else:
            # A state this small is passed with a probability below 1e-35: nothing is lost with it.
            inverse = np.reciprocal(np.where(layer > _SMALLEST_STATE_SUM, layer, np.inf))
            split = product * inverse.take(step.source, axis=0)
        split *= passed.take(step.source, axis=0)
        shares[step.terminal] = (
            split[step.by_wire].reshape(plan.n_terminal, -1, n_batch).sum(axis=1)
        )
        passed = split[step.by_target].reshape(step.n_target, -1, n_batch).sum(axis=1)
    return shares


def best_choices(plan: Plan, unary: Array, tables: list[Array]) -> tuple[IntArray, Array]:
    """Take the largest sum of logarithms backward, note each choice, follow the choices."""
    n_batch = unary.shape[-1]
    member = np.arange(n_batch)
    later: Array = np.zeros((1, n_batch))
    choices: list[IntArray] = []
    for step in reversed(plan.steps):
        product = _step_factors(step, unary, tables, np.add)
        product += later.take(step.target, axis=0)
        options = product.reshape(-1, step.n_choice, n_batch)
        choices.append(options.argmax(axis=1))
        later = options.max(axis=1)
    wires: IntArray = np.empty((n_batch, plan.n_terminal), dtype=np.intp)
    state: IntArray = np.zeros(n_batch, dtype=np.intp)
    for step, choice in zip(plan.steps, reversed(choices), strict=True):
        transition = state * step.n_choice + choice[state, member]
        wires[:, step.terminal] = step.wire[transition]
        state = step.target[transition]
    return wires, later[0]
