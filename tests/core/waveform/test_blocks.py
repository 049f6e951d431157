"""Samples in blocks of one size, whatever they come in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.blocks import (
    Extent,
    blocks_of,
    extent_of,
    is_sized,
    without_infinite,
)
from backprobe.errors import ValueOutOfRange


@given(st.lists(st.integers(0, 12), max_size=12), st.integers(1, 10))
def test_stream_and_array_come_in_the_same_blocks(sizes: list[int], size: int) -> None:
    x = np.arange(sum(sizes), dtype=np.float64)
    parts = np.split(x, np.cumsum(sizes)[:-1]) if sizes else []
    from_array = [block.tolist() for block in blocks_of(x, size)]
    from_stream = [block.tolist() for block in blocks_of(iter(parts), size)]
    assert from_stream == from_array
    assert all(len(block) == size for block in from_array[:-1])
    assert [value for block in from_array for value in block] == x.tolist()


def test_what_has_slices_is_told_from_a_stream() -> None:
    assert is_sized(np.zeros(3))
    assert not is_sized([np.zeros(3)])
    assert not is_sized(iter([np.zeros(3)]))


@given(
    st.lists(
        st.one_of(st.floats(-9.0, 9.0), st.sampled_from([np.nan, np.inf, -np.inf])), max_size=30
    ),
    st.integers(1, 30),
)
def test_extent_leaves_gaps_out(values: list[float], size: int) -> None:
    extent = Extent()
    for a in range(0, len(values), size):
        extent = extent.with_block(np.array(values[a : a + size]))
    finite = [v for v in values if np.isfinite(v)]
    assert (extent.n_sample, extent.n_gap) == (len(values), len(values) - len(finite))
    if finite:
        assert (extent.lowest, extent.highest) == (min(finite), max(finite))
    else:
        assert np.isnan(extent.lowest)
        assert np.isnan(extent.highest)


def test_extent_of_a_stream() -> None:
    found = extent_of(iter([np.array([1.0, 2.0]), np.array([-3.0])]))
    assert found == Extent(3, 0, -3.0, 2.0)


def test_infinite_samples_become_gaps() -> None:
    plain = np.array([1.0, np.nan])
    assert without_infinite(plain) is plain
    np.testing.assert_array_equal(without_infinite(np.array([1.0, -np.inf])), [1.0, np.nan])


def test_empty_block_is_told() -> None:
    with pytest.raises(ValueOutOfRange, match="size: A block of 0 samples holds none"):
        list(blocks_of(np.zeros(3), 0))
