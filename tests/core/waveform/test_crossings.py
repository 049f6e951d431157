"""Crossings of a level: against a plain walk from sample to sample, and known waves."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from backprobe.core.waveform.crossings import CrossingFinder, crossing_instants, joined
from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]

# Quarters make samples that lie exactly on the level and on the band's sides.
SAMPLE = st.one_of(st.integers(-8, 8).map(lambda n: n / 4), st.floats(-2.0, 2.0), st.just(math.nan))
SAMPLES = st.lists(SAMPLE, min_size=1, max_size=60).map(np.array)


def plain_walk(x: Array, t: Array, level: float, band: float) -> list[tuple[float, bool]]:
    """What the definition says, sample by sample."""
    found: list[tuple[float, bool]] = []
    state = 0
    passages: list[float] = []
    for i, value in enumerate(x.tolist()):
        if math.isnan(value):
            state, passages = 0, []
            continue
        if i and not math.isnan(x[i - 1]) and (x[i - 1] < level) != (value < level):
            share = (level - x[i - 1]) / (value - x[i - 1])
            passages.append(t[i - 1] + share * (t[i] - t[i - 1]))
        now = 1 if value >= level + band else -1 if value < level - band else 0
        if now:
            if state == -now:
                found.append(((passages[0] + passages[-1]) / 2, now > 0))
            state, passages = now, []
    return found


@given(SAMPLES, st.sampled_from([0.0, 0.25, 0.6]), st.booleans())
@settings(max_examples=120, deadline=None)
def test_a_plain_walk_finds_the_same(x: Array, band: float, even: bool) -> None:
    t = 3.0 + 0.5 * np.arange(x.size, dtype=np.float64)
    if not even:
        t += 0.2 * np.sin(t)
    expected = plain_walk(x, t, 0.25, band)
    found = crossing_instants(
        x, 0.25, hysteresis=band, start=3.0, interval=0.5, times=None if even else t
    )
    assert found.is_rising.tolist() == [up for _, up in expected]
    # Same arithmetic in another order: some units in the last place of the instants.
    np.testing.assert_allclose(found.instants, [at for at, _ in expected], rtol=1e-14)


@given(SAMPLES, st.sampled_from([0.0, 0.25]), st.booleans(), st.lists(st.integers(0, 9)))
@settings(max_examples=80, deadline=None)
def test_size_of_blocks_has_no_effect(x: Array, band: float, even: bool, sizes: list[int]) -> None:
    t: Array | None = None if even else np.asarray(0.1 * np.arange(x.size) ** 1.5)
    whole = crossing_instants(x, 0.0, hysteresis=band, interval=0.1, times=t)
    finder = CrossingFinder(0.0, hysteresis=band, interval=0.1)
    edges = np.cumsum([0, *sizes])
    cuts = [*edges[edges < x.size].tolist(), x.size]
    parts = [finder.feed(x[a:b], None if t is None else t[a:b]) for a, b in pairwise(cuts)]
    found = joined(parts, None if t is not None else 0.1)
    assert found.instants.tolist() == whole.instants.tolist()
    assert found.is_rising.tolist() == whole.is_rising.tolist()
    assert found.sample.tolist() == whole.sample.tolist()
    assert found.fraction.tolist() == whole.fraction.tolist()
    assert found.stretch.tolist() == whole.stretch.tolist()
    assert found.interval == whole.interval


RUNS = st.lists(
    st.tuples(
        st.sampled_from([-1.0, -0.5, -0.2, -0.1, 0.0, 0.1, 0.2, 0.5, 1.0]), st.integers(1, 9)
    ),
    min_size=1,
    max_size=40,
)


@given(RUNS, st.sampled_from([0.0, 0.15, 0.5]), st.integers(2, 60), st.booleans())
@settings(max_examples=120, deadline=None)
def test_quick_way_finds_the_same(
    runs: list[tuple[float, int]], band: float, size: int, even: bool
) -> None:
    x = np.concatenate([np.full(n, level) for level, n in runs])
    t = None if even else np.arange(x.size) + 0.3 * np.sin(np.arange(x.size))
    whole = crossing_instants(x, 0.03, hysteresis=band, times=t)
    finder = CrossingFinder(0.03, hysteresis=band)
    parts = []
    for a in range(0, x.size, size):
        block = slice(max(a - 1, 0), a + size)
        parts.append(finder.scan(x[block], None if t is None else t[block], is_gapless=True))
    found = joined(parts)
    assert found.instants.tolist() == whole.instants.tolist()
    assert found.is_rising.tolist() == whole.is_rising.tolist()
    assert found.sample.tolist() == whole.sample.tolist()
    assert found.fraction.tolist() == whole.fraction.tolist()


@given(st.lists(st.floats(-2.0, 2.0), min_size=2, max_size=60).map(np.array), st.floats(0.0, 0.5))
@settings(max_examples=50, deadline=None)
def test_upside_down_swaps_the_directions(x: Array, band: float) -> None:
    if np.any(np.isin(np.abs(x), [0.0, band])):  # on a side of the band: belongs above
        return
    upright = crossing_instants(x, 0.0, hysteresis=band)
    inverted = crossing_instants(-x, 0.0, hysteresis=band)
    assert inverted.instants.tolist() == upright.instants.tolist()
    assert inverted.is_rising.tolist() == (~upright.is_rising).tolist()


def test_straight_lines_cross_where_they_should() -> None:
    found = crossing_instants(np.array([0.0, 4.0, 0.0]), 1.0, start=10.0, interval=2.0)
    np.testing.assert_array_equal(found.instants, [10.5, 13.5])
    assert found.is_rising.tolist() == [True, False]
    assert found.elapsed(np.array([0]), np.array([1])).tolist() == [3.0]
    assert found.chosen(found.is_rising).instants.tolist() == [10.5]


def test_noise_within_the_band_makes_one_crossing_in_its_middle() -> None:
    x = np.array([-1.0, 0.1, -0.1, 0.1, 1.0])
    assert len(crossing_instants(x, 0.0)) == 3
    found = crossing_instants(x, 0.0, hysteresis=0.5)
    # First passage at 10/11, last at 2.5.
    np.testing.assert_allclose(found.instants, [(10 / 11 + 2.5) / 2], rtol=1e-15)
    assert found.sample.tolist() == [0]
    assert found.fraction[0] == found.instants[0]


def test_ramp_with_noise_is_not_late() -> None:
    rng = np.random.default_rng(7)
    ramp = np.linspace(-1.0, 1.0, 2001)
    late = [
        crossing_instants(ramp + rng.normal(0.0, 0.05, ramp.size), 0.0, hysteresis=0.3).instants[0]
        for _ in range(400)
    ]
    # True instant: sample 1000. Five standard deviations of the mean.
    assert abs(np.mean(late) - 1000.0) < 5.0 * np.std(late) / 20.0


def test_gap_breaks_a_crossing() -> None:
    x = np.array([0.0, 0.0, np.nan, 1.0, 0.0, np.nan, np.nan, 0.0, 1.0])
    found = crossing_instants(x, 0.5)
    assert found.instants.tolist() == [3.5, 7.5]
    assert found.is_rising.tolist() == [False, True]
    assert found.stretch.tolist() == [1, 2]


def test_single_precision_and_whole_numbers() -> None:
    wave = np.array([0, 10, 0, 10])
    for kind in (np.float32, np.int16):
        found = crossing_instants(wave.astype(kind), 2.5)
        assert found.instants.tolist() == [0.25, 1.75, 2.25]


def test_infinite_samples_are_beyond_the_band() -> None:
    found = crossing_instants(np.array([-np.inf, np.inf, 0.0]), 1.0)
    assert found.instants.tolist() == [0.5, 1.5]


def test_durations_late_in_a_record_keep_their_digits() -> None:
    finder = CrossingFinder(0.5, start=1e6, interval=1e-6)
    finder.feed(np.zeros(10))
    finder._n_seen = 10**9  # as if that many samples had gone by
    found = finder.feed(np.array([0.0, 1.0, 1.0, 0.2, 0.0]))
    np.testing.assert_allclose(
        found.elapsed(np.array([0]), np.array([1])), [(2 + 0.625 - 0.5) * 1e-6], rtol=1e-14
    )


def test_nothing_crosses_in_nothing() -> None:
    assert len(crossing_instants(np.zeros(0), 1.0)) == 0
    assert len(crossing_instants(np.full(5, np.nan), 1.0, hysteresis=1.0)) == 0
    assert len(joined([])) == 0


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({"level": math.nan}, "level: A level of nan can't be crossed."),
        ({"hysteresis": -1.0}, "hysteresis: A band of -1.0 must be zero or more."),
        ({"interval": 0.0}, "interval: An interval of 0.0 s must be above zero."),
        ({"start": math.inf}, "start: A record can't start at inf s."),
        ({"times": np.array([0.0, 1.0, 1.0])}, "times: Instants of samples must rise."),
        ({"times": np.array([0.0, 1.0])}, "times: Each sample needs one instant."),
        ({"samples": np.zeros((2, 2))}, "samples: Samples must be one row, not 2 axes."),
        ({"samples": np.zeros(3, complex)}, "samples: Samples must be numbers, not complex128."),
    ],
)
def test_unusable_input_is_told(arguments: dict[str, object], text: str) -> None:
    given_ones = {"samples": np.zeros(3), "level": 0.0} | arguments
    with pytest.raises(ValueOutOfRange) as caught:
        crossing_instants(**given_ones)  # type: ignore[arg-type]
    assert str(caught.value) == text
