"""Series of a log on one clock."""

import numpy as np
import pytest

from backprobe.errors import UsageError
from backprobe.services.logged_series import Logged
from tests.services.trim_logs import series

LOG = Logged(
    [series("engine speed", "1/min", np.array([1.0, 2.0, 9.0]), np.array([700, 710, 720]))]
)


def test_the_last_value_is_held_until_it_is_too_old() -> None:
    """Three seconds: older links answer some items a second, shared by all that were chosen."""
    held = LOG.at("engine speed", np.array([0.5, 1.0, 2.9, 5.0, 5.1, 9.0]))
    np.testing.assert_array_equal(held, [np.nan, 700.0, 710.0, 710.0, np.nan, 720.0])


def test_what_is_not_logged_is_named() -> None:
    assert not LOG.has("air mass flow")
    with pytest.raises(UsageError, match=r"holds no air mass flow\. Log air mass flow with the"):
        LOG.at("air mass flow", np.zeros(1))
