"""Even or not: held against the definition, found by linear programming of scipy."""

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.time_base import JITTER, TimeBaseFinder


def found(times: np.ndarray, resolution: float = 0.0, n_block: int = 1) -> TimeBaseFinder:
    finder = TimeBaseFinder(resolution, "a")
    for block in np.array_split(times, n_block):
        finder.add(block)
    return finder


@given(
    start=st.floats(-1.0, 1.0),
    interval=st.floats(1e-6, 10.0),
    n=st.integers(3, 500),
    n_block=st.integers(1, 5),
    seed=st.integers(0, 9),
)
def test_jittered_comb_is_even(
    start: float, interval: float, n: int, n_block: int, seed: int
) -> None:
    jitter = np.random.default_rng(seed).uniform(-0.9, 0.9, n) * JITTER * interval
    base = found(start + interval * np.arange(n) + jitter, n_block=n_block).found()
    assert base.is_even
    assert base.n_sample == n
    # Two ends, each off by the jitter.
    assert base.interval == pytest.approx(interval, rel=2 * JITTER / (n - 1) + 1e-9)


@given(st.integers(3, 60), st.integers(0, 99), st.sampled_from([0.1, 0.4, 0.9, 1.3]))
def test_rounded_times_are_even_where_some_comb_explains_them(
    n: int, seed: int, step: float
) -> None:
    """The exact answer: a and d with |t - a - i d| <= tolerance, as a linear programme."""
    rng = np.random.default_rng(seed)
    times = np.round(np.cumsum(rng.uniform(0.6, 1.4, n) if seed % 2 else np.full(n, step)))
    times = times[np.concatenate([[True], np.diff(times) >= 0])]
    if times[-1] <= times[0]:
        return
    index = np.arange(times.size, dtype=np.float64)

    def is_explained(tolerance: float) -> bool:
        matrix = np.column_stack([np.ones_like(index), index])
        result = scipy.optimize.linprog(
            [0.0, 0.0],
            A_ub=np.vstack([matrix, -matrix]),
            b_ub=np.concatenate([times + tolerance, tolerance - times]),
            bounds=[(None, None), (None, None)],
        )
        return bool(result.status == 0)

    try:
        is_even = found(times, resolution=1.0).found().is_even
    except RecordingError:
        is_even = False
    # Offsets are tried in steps, so that a tolerance between 0.5 and 0.6 may fall either way.
    if is_explained(0.5):
        assert is_even
    if not is_explained(0.62):
        assert not is_even


def test_one_missing_sample_is_seen() -> None:
    times = np.delete(np.arange(1000) * 1e-3, 500)
    base = found(times, resolution=1e-6).found()
    assert not base.is_even
    assert base.interval == pytest.approx(0.999 / 998)


@pytest.mark.parametrize(
    ("times", "said"),
    [
        ([], "a: There are no samples with a time. A capture needs two or more; export the whole"),
        ([1.0], "a: There is only one sample. A capture needs two or more"),
        ([0.0, 1.0, 5.0, 2.0], "a: The time goes back at sample 4: 2 s after 5 s."),
        ([0.0, 1.0, 1.0, 9.0], "a: The time stands still at sample 3: 1 s after 1 s."),
        ([3.0, 2.0, 1.0], "a: The time goes back at sample 2: 2 s after 3 s."),
    ],
)
@pytest.mark.parametrize("n_block", [1, 2])
def test_times_that_do_not_rise_are_refused(times: list[float], said: str, n_block: int) -> None:
    with pytest.raises(RecordingError) as caught:
        found(np.array(times), n_block=n_block).found()
    assert str(caught.value).startswith(said)


def test_unknown_time_is_refused() -> None:
    with pytest.raises(RecordingError) as caught:
        found(np.array([0.0, 1.0, np.nan]))
    assert str(caught.value) == (
        "a: The time of sample 3 isn't a number. Give the interval between samples instead."
    )


@given(st.integers(1, 9999), st.integers(-9, 3), st.integers(2, 2000))
def test_written_interval_comes_back_to_the_digit(digits: int, power: int, n: int) -> None:
    interval = float(f"{digits}e{power}")
    times = np.array([float(f"{digits * i}e{power}") for i in range(n)])
    assert found(times, resolution=10.0**power).found().interval == interval
