"""Values as they are said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.findings.words import instant, listed, per_cent, seconds, significant


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0 s"),
        (310e-6, "310 µs"),
        (1.25e-3, "1.25 ms"),
        (0.9999, "1 s"),
        (2.4, "2.4 s"),
        (125.0, "125 s"),
        (float("nan"), "not measured"),
    ],
)
def test_durations(value: float, said: str) -> None:
    assert seconds(value) == said


@given(st.floats(1e-9, 1e4))
def test_a_duration_says_three_digits_of_itself(value: float) -> None:
    number, unit = seconds(value).split(" ")
    factor = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "ns": 1e-9}[unit]
    assert float(number) * factor == pytest.approx(value, rel=0.0051)


def test_shares_instants_and_lists() -> None:
    assert (per_cent(0.0421), per_cent(0.754)) == ("4.2 %", "75 %")
    assert instant(1.25) == "at 1.25 s"
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert significant(0.012345, 3) == "0.0123"
    assert significant(123456.0, 3) == "123456"
