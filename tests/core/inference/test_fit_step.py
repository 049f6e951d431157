"""A step of a fit against the density of the readings that it stands for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.fit_step import _precision
from backprobe.core.inference.likelihood import volts_log_density


@given(st.floats(-0.5, 0.5), st.floats(0.02, 0.2), st.floats(0.002, 0.02))
def test_a_step_takes_each_error_with_the_weight_that_its_density_gives_it(
    off: float, loud: float, quiet: float
) -> None:
    # The slope of the log density is that of least squares with these weights.
    shown = np.array(loud), np.array(quiet)
    step = 1e-7
    beyond, before = (volts_log_density(np.array(off + d), shown)[0] for d in (step, -step))
    _, part = volts_log_density(np.array(off), shown)
    by_loud, by_quiet = (_precision(np.array(off), deviation) for deviation in shown)
    weight = (1.0 - part) * by_loud + part * by_quiet
    assert (beyond - before) / (2 * step) == pytest.approx(-weight * off, rel=1e-4, abs=1e-4)
