"""Counting samples in bins, against numpy's histogram."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.waveform.histogram import HistogramCounter, usual_bins
from backprobe.errors import ValueOutOfRange


@given(
    st.lists(st.integers(0, 19), min_size=2, max_size=200).filter(lambda n: len(set(n)) > 1),
    st.sampled_from([np.float32, np.float64]),
    st.integers(1, 50),
)
@settings(deadline=None)
def test_counts_as_numpy_does(numbers: list[int], kind: type[np.floating], size: int) -> None:
    x = (np.array(numbers) + 0.5).astype(kind)  # in the middle of bins: no edge decides
    counter = HistogramCounter(0.0, 20.0, 20)
    for a in range(0, x.size, size):
        counter.add(x[a : a + size])
    found = counter.result()
    assert found.counts.tolist() == np.histogram(x, 20, (0.0, 20.0))[0].tolist()
    assert found.bin_width == 1.0
    assert found.centres.tolist() == (np.arange(20) + 0.5).tolist()


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("bins", [4, 100, 256])
def test_long_record_in_odd_blocks(kind: type[np.floating], bins: int) -> None:
    rng = np.random.default_rng(3)
    x = rng.normal(100.0, 1.0, 1_500_001).astype(kind)
    counter = HistogramCounter(float(x.min()), float(x.max()), bins)
    for a in range(0, x.size, 99_999):
        counter.add(x[a : a + 99_999])
    counts = counter.result().counts
    expected = np.histogram(x, bins)[0]
    assert counts.sum() == x.size
    # Edges differ by the millionth of the range that keeps the highest sample in the last bin, and
    # by the rounding of single precision (8e-6 at 100); a bin edge moves by that much at most.
    moved = np.abs(np.cumsum(counts) - np.cumsum(expected)).max()
    assert moved <= 4e-5 * x.size


def test_highest_sample_lies_in_the_last_bin() -> None:
    for kind in (np.float32, np.float64):
        counter = HistogramCounter(-0.1, 0.2, 256)
        counter.add(np.array([-0.1, 0.2], dtype=kind))
        counts = counter.result().counts
        assert (counts[0], counts[-1], counts.sum()) == (1, 1, 2)


def test_usual_number_of_bins() -> None:
    assert [usual_bins(n) for n in (1, 100, 2500, 10**6)] == [16, 20, 100, 256]


@pytest.mark.parametrize(
    ("lowest", "highest", "bins", "text"),
    [
        (0.0, 1.0, 3, "bins: A histogram needs 4 to 256 bins, not 3."),
        (0.0, 1.0, 257, "bins: A histogram needs 4 to 256 bins, not 257."),
        (1.0, 1.0, 16, "range: There are no bins from 1.0 to 1.0."),
        (0.0, np.inf, 16, "range: There are no bins from 0.0 to inf."),
    ],
)
def test_unusable_bins_are_told(lowest: float, highest: float, bins: int, text: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        HistogramCounter(lowest, highest, bins)
    assert str(caught.value) == text
