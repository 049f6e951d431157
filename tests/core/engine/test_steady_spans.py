"""Steady spans of a log: found, averaged, joined; a transient is never one."""

import numpy as np
import pytest

from backprobe.core.engine.steady_spans import (
    SHORTEST,
    STEP,
    merged_spans,
    on_one_clock,
    steady_spans,
)


def log(*parts: tuple[float, float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Seconds, speed, pressure, flow of each part, the answers on one clock."""
    rows = [np.tile(values, (round(seconds / STEP), 1)) for seconds, *values in parts]
    table = np.concatenate(rows)
    return np.arange(len(table), dtype=np.float64) * STEP, table


def test_two_steady_parts_with_a_ramp_between() -> None:
    clock, first = log((6.0, 780.0, 34.0, 3.1))
    ramp = np.linspace((780.0, 34.0, 3.1), (2500.0, 31.0, 10.0), 40)
    _, last = log((8.0, 2500.0, 31.0, 10.0))
    table = np.concatenate((first, ramp, last))
    found = steady_spans(np.arange(len(table), dtype=np.float64) * STEP, table)
    near = [found.means[i] for i in range(len(found.start)) if found.duration[i] > 5.0]
    np.testing.assert_allclose(near, [(780.0, 34.0, 3.1), (2500.0, 31.0, 10.0)], rtol=0.02)
    assert clock[0] == 0.0


def test_a_snap_holds_nothing_steady() -> None:
    seconds = np.arange(0.0, 4.0, STEP)
    table = np.stack((800 + 900 * seconds, 30 + 15 * seconds, 3 + 15 * seconds), axis=1)
    assert len(steady_spans(seconds, table).start) == 0


def test_a_short_rest_is_none() -> None:
    clock, table = log((SHORTEST - STEP, 780.0, 34.0, 3.1))
    assert len(steady_spans(clock, table).start) == 0
    clock, table = log((SHORTEST, 780.0, 34.0, 3.1))
    assert len(steady_spans(clock, table).start) == 1


def test_standing_still_and_missing_answers_are_none() -> None:
    clock, table = log((10.0, 0.0, 101.0, 0.0))
    assert len(steady_spans(clock, table).start) == 0
    clock, table = log((10.0, 780.0, 34.0, np.nan))
    assert len(steady_spans(clock, table).start) == 0


def test_repeated_points_become_one() -> None:
    clock, table = log(
        (6.0, 780.0, 34.0, 3.0), (5.0, 2500.0, 31.0, 10.0), (2.0, 1500.0, 40.0, 7.0),
        (3.0, 790.0, 34.5, 3.3),
    )  # fmt: skip
    found = merged_spans(steady_spans(clock, table))
    assert found.duration.tolist() == [9.0, 5.0]
    assert found.means[0, 2] == pytest.approx((6.0 * 3.0 + 3.0 * 3.3) / 9.0)


def test_a_log_without_steady_span_merges_to_none() -> None:
    found = merged_spans(steady_spans(np.zeros(0), np.zeros((0, 4))))
    assert found.means.shape == (0, 4)


def test_series_with_clocks_of_their_own() -> None:
    slow, quick = np.array([0.0, 1.0, 2.0, 8.0]), np.array([0.5, 0.9, 1.4])
    clock, table = on_one_clock(
        [slow, quick, np.zeros(0)], [10.0 * slow, np.array([1.0, 1.0, 3.0]), np.zeros(0)]
    )
    np.testing.assert_allclose(table[clock <= 2.0, 0], 10.0 * clock[clock <= 2.0])
    assert np.all(np.isnan(table[(clock > 2.0) & (clock < 8.0), 0]))  # too long without an answer
    assert np.isnan(table[clock < 0.5, 1]).all()
    assert np.isnan(table[:, 2]).all()
    assert on_one_clock([np.zeros(0)], [np.zeros(0)])[1].shape == (0, 1)


def test_a_mean_is_known_better_than_one_answer() -> None:
    rng = np.random.default_rng(1)
    table = np.stack([np.full(80, 780.0), np.full(80, 34.0), 3.0 + rng.normal(0, 0.03, 80)], axis=1)
    found = steady_spans(np.arange(80, dtype=np.float64) * STEP, table)
    # Twenty seconds, one independent answer a second: 0.03 / sqrt(20).
    assert found.wander[0, 2] == pytest.approx(0.03 / 20**0.5, rel=0.3)
