"""Independent values in a logged series, against the closed form of a first-order process."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.engine.effective_samples import effective_samples


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.8, 0.95])
def test_a_process_with_one_step_of_memory(memory: float) -> None:
    """The mean of n values of such a process is worth n (1 - a) / (1 + a) of them.

    Priestley, Spectral Analysis and Time Series (1981), section 5.3.2, from memory.
    """
    rng, n = np.random.default_rng(5), 40_000
    steps, values = rng.normal(size=n), np.zeros(n)
    for row in range(1, n):
        values[row] = memory * values[row - 1] + steps[row]
    # The estimate itself spreads by about 10 % at this length.
    expected = n * (1.0 - memory) / (1.0 + memory)
    assert effective_samples(values) == pytest.approx(expected, rel=0.25)


def test_a_value_that_stands_still_is_as_sure_as_its_resolution() -> None:
    assert effective_samples(np.full(50, 3.1)) == 50.0


@given(st.lists(st.floats(-50.0, 50.0), min_size=1, max_size=60))
def test_between_one_and_all(values: list[float]) -> None:
    assert 1.0 <= effective_samples(np.array(values)) <= len(values)
