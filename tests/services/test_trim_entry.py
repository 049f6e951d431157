"""Trims as people type them."""

import math

import pytest

from backprobe.errors import QuantityError, UsageError
from backprobe.services.trim_entry import metering_of, parse_findings, parse_trims, total_of


@pytest.mark.parametrize(
    ("written", "total"),
    [
        ("22", 22.0),
        ("+22 %", 22.0),
        ("-3,5", -3.5),
        ("−4", -4.0),
        ("7.0+15.6", 22.6),
        ("3 - 12 %", -9.0),
    ],
)
def test_totals(written: str, total: float) -> None:
    assert total_of(written) == pytest.approx(total)


def test_banks() -> None:
    assert parse_trims("22 / 3") == [22.0, 3.0]
    first, second = parse_trims("- / 3")
    assert math.isnan(first)
    assert second == 3.0


@pytest.mark.parametrize("written", ["lean", "220", "12 V"])
def test_what_is_no_trim_is_refused(written: str) -> None:
    with pytest.raises(QuantityError):
        parse_trims(written)


def test_mistakes_are_said() -> None:
    with pytest.raises(UsageError, match="more than two banks"):
        parse_trims("1/2/3")
    with pytest.raises(UsageError, match='"maf" is no way to meter air'):
        metering_of("maf")
    with pytest.raises(UsageError, match='Write it as "TEST=OUTCOME"'):
        parse_findings(["intake smoke"])
    assert parse_findings(["intake smoke = leak"]) == {"intake smoke": "leak"}
