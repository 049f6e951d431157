import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.quantities import parse_quantity
from backprobe.recordings.log import Log
from backprobe.services.log_values import scan_values, values_at, values_over
from backprobe.vocabulary import SCAN_UNITS
from tests.services.made_logs import drive, made_times, series


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=40))
def test_a_span_is_summed_up(numbers: list[float]) -> None:
    log = Log((series("throttle position", "%", np.array(numbers)),))
    (one,) = values_over(log, 0.0, 1000.0)
    assert one.n_value == len(numbers)
    assert one.mean == pytest.approx(sum(numbers) / len(numbers), abs=1e-9)
    assert one.low == min(numbers)
    assert one.high == max(numbers)
    squares = sum((x - one.mean) ** 2 for x in numbers)
    deviation = math.sqrt(squares / (len(numbers) - 1))
    assert one.deviation == pytest.approx(deviation, abs=1e-9)
    # JCGM 100, 4.2.3 and 4.3.7: deviation over root n; a step of 100/255 % as a rectangle.
    expected = math.hypot(deviation / math.sqrt(len(numbers)), 100 / 255 / math.sqrt(12))
    assert one.standard_uncertainty == pytest.approx(expected, rel=1e-9)


def test_ends_of_a_span_are_in_it() -> None:
    log = Log((series("engine speed", "1/min", np.arange(10.0), np.arange(10.0)),))
    (one,) = values_over(log, 2.0, 4.0)
    assert (one.n_value, one.low, one.high) == (3, 2.0, 4.0)


def test_an_instant_has_the_last_value_before_it() -> None:
    log = Log(
        (
            series("engine speed", "1/min", np.arange(10.0), np.arange(10.0)),
            series("coolant temperature", "degC", np.array([80.0, 81.0]), np.array([0.0, 0.1])),
        )
    )
    (one,) = values_at(log, 4.5)  # the temperature was not asked any more
    assert (one.mean, one.age) == (4.0, 0.5)
    assert {v.quantity for v in values_at(log, 0.15)} == {"engine speed", "coolant temperature"}


def test_values_for_a_job_file_are_read_back_by_it() -> None:
    scan = scan_values(values_over(drive(), 20.0, 45.0))
    read = {name: parse_quantity(text, SCAN_UNITS[name]).value for name, text in scan.items()}
    assert read["engine speed"] == 800.0
    assert read["throttle position"] == 12.0
    assert read["air mass flow"] == pytest.approx(3.1, abs=0.02)
    assert "vehicle speed" not in scan  # the job file does not have it
    assert set(scan) == {
        "engine speed",
        "throttle position",
        "air mass flow",
        "coolant temperature",
    }


def test_what_is_outside_of_the_log_is_told() -> None:
    log = Log((series("engine speed", "1/min", np.zeros(5), made_times(5)),), "a.csv")
    with pytest.raises(RecordingError) as caught:
        values_at(log, -1.0)
    assert str(caught.value) == "a.csv: The log has nothing at -1 s. It goes from 0 s to 0.8 s."
    with pytest.raises(RecordingError, match="is no span"):
        values_over(log, 2.0, 1.0)
