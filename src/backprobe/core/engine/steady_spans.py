"""Spans of a log in which an engine ran steadily, and their means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.array_checks import Array

STEP: Final = 0.25  # s; links answer a few times a second
LONGEST_GAP: Final = 2.5  # s between answers across which a value is still taken to hold
SHORTEST: Final = 2.5  # s that a span has to last
# Greatest spread about the span's middle: engine speed, manifold pressure and flow as shares
# (common practice, no source: what a steady foot on the pedal gives).
SPREADS: Final = (0.04, 0.06, 0.12)
# Points nearer than this, as shares of speed and pressure, are one.
_SAME: Final = 0.07


@dataclass(frozen=True, eq=False)
class SteadySpans:
    """Steady spans, each with the mean of every quantity.

    Parameters
    ----------
    start, duration : ndarray, shape (n_span,)
        s.
    means : ndarray, shape (n_span, n_quantity)
        NaN where a quantity had no answer near.
    wander : ndarray, shape (n_span, n_quantity)
        Standard deviation of the mean, from the spread within the span.
    """

    start: Array
    duration: Array
    means: Array
    wander: Array


def on_one_clock(times: list[Array], values: list[Array]) -> tuple[Array, Array]:
    """Bring series with instants of their own onto one clock.

    Parameters
    ----------
    times, values : list of ndarray, each of shape (n,)
        Rising instants, s, and values.

    Returns
    -------
    clock : ndarray, shape (n_step,)
        s.
    table : ndarray, shape (n_step, n_quantity)
        Values between neighbouring answers on a straight line; NaN further than `LONGEST_GAP` from
        both or outside of the series.

    Raises
    ------
    Nothing
        An empty series gives NaN.

    Notes
    -----
    Straight lines are right for spans that are steady, and only those are used.
    """
    filled = [each for each in times if len(each)]
    if not filled:
        return np.zeros(0), np.zeros((0, len(times)))
    first, last = min(each[0] for each in filled), max(each[-1] for each in filled)
    clock: Array = np.arange(first, last + STEP / 2.0, STEP)
    table = np.full((len(clock), len(times)), np.nan)
    for column, (at, value) in enumerate(zip(times, values, strict=True)):
        if len(at) == 0:
            continue
        after = np.clip(np.searchsorted(at, clock), 0, len(at) - 1)
        before = np.clip(np.searchsorted(at, clock, side="right") - 1, 0, len(at) - 1)
        near = (at[after] - at[before] <= LONGEST_GAP) & (clock >= at[0]) & (clock <= at[-1])
        table[near, column] = np.interp(clock[near], at, value)
    return clock, table


def steady_spans(clock: Array, table: Array) -> SteadySpans:
    """Find the spans in which speed, pressure and flow stay where they are.

    Parameters
    ----------
    clock : ndarray, shape (n_step,)
        s, evenly.
    table : ndarray, shape (n_step, n_quantity)
        The first three columns: engine speed, manifold pressure, air flow; then what else.

    Returns
    -------
    SteadySpans
        In the order of time; each as long as it stays steady.

    Raises
    ------
    Nothing
        A log without steady span gives none.

    Notes
    -----
    Greedy: a span grows as long as highest and lowest of each quantity lie within its spread.
    """
    least = round(SHORTEST / STEP)
    found: list[tuple[int, int]] = []
    start = 0
    while start + least <= len(clock):
        end = _end_of_span(table, start)
        if end - start >= least:
            found.append((start, end))
            start = end
        else:
            start += 1
    spans = [table[a:b] for a, b in found]
    return SteadySpans(
        np.array([clock[a] for a, _ in found]),
        np.array([(b - a) * STEP for a, b in found]),
        np.array([_mean(each) for each in spans]).reshape(len(found), table.shape[1]),
        np.array([_wander(each) for each in spans]).reshape(len(found), table.shape[1]),
    )


def merged_spans(spans: SteadySpans) -> SteadySpans:
    """Join spans at the same point: repeating a point tells little of another one.

    Parameters
    ----------
    spans : SteadySpans
        As found.

    Returns
    -------
    SteadySpans
        One a point, longest lasting first to be met; means weighted with duration.

    Raises
    ------
    Nothing
        No span gives none.

    Notes
    -----
    Same: speed and pressure within 7 % (this project's choice).
    """
    groups: list[list[int]] = []
    for place in np.argsort(-spans.duration, kind="stable"):
        near = [g for g in groups if _is_same(spans.means[g[0]], spans.means[place])]
        if near:
            near[0].append(int(place))
        else:
            groups.append([int(place)])
    groups.sort(key=lambda group: float(spans.means[group[0], 0]))
    weights = [spans.duration[group] for group in groups]
    means = [_weighted(spans.means[g], w) for g, w in zip(groups, weights, strict=True)]
    wander = [_weighted(spans.wander[g], w) for g, w in zip(groups, weights, strict=True)]
    shape = (len(groups), spans.means.shape[1])
    return SteadySpans(
        np.array([spans.start[group].min() for group in groups]),
        np.array([float(weight.sum()) for weight in weights]),
        np.array(means).reshape(shape),
        np.array(wander).reshape(shape),
    )


def _end_of_span(table: Array, start: int) -> int:
    """First step that no longer belongs to the span that begins at a step."""
    high, low = table[start, :3].copy(), table[start, :3].copy()
    for step in range(start, len(table)):
        high, low = np.maximum(high, table[step, :3]), np.minimum(low, table[step, :3])
        with np.errstate(invalid="ignore"):
            is_steady = np.all(high - low <= np.multiply(SPREADS, high + low) / 2.0)
        if not is_steady or high[0] <= 0.0:  # NaN is never steady
            return step
    return len(table)


def _mean(span: Array) -> Array:
    """Mean of each quantity; NaN where half of the span has no answer."""
    known = np.isfinite(span)
    count = known.sum(axis=0)
    total = np.where(known, span, 0.0).sum(axis=0)
    return np.where(count * 2 > len(span), total / np.maximum(count, 1), np.nan)


def _wander(span: Array) -> Array:
    """Standard deviation of the mean; neighbouring steps share answers, so one a second counts."""
    centre = _mean(span)
    known: NDArray[np.bool_] = np.isfinite(span)
    squares = np.where(known, (span - centre) ** 2, 0.0).sum(axis=0)
    count = np.maximum(known.sum(axis=0), 1)
    return np.asarray(np.sqrt(squares / count / np.maximum(count * STEP, 1.0)))


def _is_same(one: Array, other: Array) -> bool:
    return bool(np.all(np.abs(np.log(one[:2] / other[:2])) <= _SAME))


def _weighted(rows: Array, weights: Array) -> Array:
    known = np.isfinite(rows)
    whole = (known * weights[:, None]).sum(axis=0)
    total = (np.where(known, rows, 0.0) * weights[:, None]).sum(axis=0)
    return np.where(whole > 0.0, total / np.where(whole > 0.0, whole, 1.0), np.nan)
