"""An air check as people type it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import QuantityError, UsageError, ValueOutOfRange
from backprobe.job.model import Connector, Engine, Job, Vehicle
from backprobe.services.air_entry import (
    TypedEngine,
    outside_pressure,
    parse_engine,
    parse_height,
    parse_named,
    parse_point,
    split_point,
    typed_case,
    with_typed_engine,
)

POINT = {
    "speed": "780",
    "pressure": "340 mbar",
    "temperature": "90 degF",
    "flow": "11,5 kg/h",
    "trim": "-3",
}


def test_a_point_in_the_units_that_stood_on_the_screen() -> None:
    found = parse_point(POINT, "idle")
    assert found.speed == 780.0
    assert found.pressure == pytest.approx(34.0)
    assert found.temperature == pytest.approx(32.222, abs=1e-3)
    assert found.flow == pytest.approx(11.5 / 3.6)
    assert found.digit == pytest.approx(0.1 / 3.6)
    assert found.trim == -3.0


def test_a_point_in_one_line() -> None:
    for written in (
        "780 rpm, 34,5 kPa, 32 degC, 3.2 g/s, 5 %",
        "3.2 g/s;32 °C; 34.5 kPa; 780 1/min",
    ):
        found = parse_point(split_point(written), "idle")
        assert (found.speed, found.pressure, found.temperature) == (780.0, 34.5, 32.0)
        assert found.flow == 3.2


@given(st.permutations(["780 rpm", "34 kPa", "32 degC", "3.2 g/s", "+5 %"]))
def test_the_order_in_a_line_does_not_matter(parts: list[str]) -> None:
    assert split_point(", ".join(parts)) == split_point("780 rpm, 34 kPa, 32 degC, 3.2 g/s, +5 %")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("780, 34 kPa", '"780" has no unit of a point.'),
        ("780 rpm, 800 rpm", "There are two values of speed."),
        ("780 rpm, 12 V", '"12 V" has no unit of a point.'),
    ],
)
def test_a_part_that_cannot_be_placed_is_named(written: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        split_point(written)
    assert str(caught.value) == (
        f'{written}: {said} Write a point like "780 rpm, 34 kPa, 32 degC, 3.2 g/s, 5 %".'
    )


def test_a_point_that_lacks_something_says_what() -> None:
    with pytest.raises(UsageError, match="point 1: The point has no pressure and no temperature"):
        parse_point({"speed": "780"}, "point 1")
    with pytest.raises(QuantityError):
        parse_point({**POINT, "pressure": "34 V"}, "point 1")


def test_an_engine() -> None:
    found = parse_engine(TypedEngine("1598 cm3", "diesel", "forced"))
    assert found.displacement_l == pytest.approx(1.598)
    assert (found.fuel, found.induction, found.cycle) == ("diesel", "forced", "four-stroke")
    with pytest.raises(UsageError, match='"coal" is no fuel that is known'):
        parse_engine(TypedEngine("2.0", "coal"))
    with pytest.raises(ValueOutOfRange, match="Without the engine's displacement"):
        parse_engine(TypedEngine())


def test_what_is_typed_goes_over_what_the_job_has() -> None:
    vehicle = Vehicle(engine=Engine(1.6, 4, "four-stroke", "petrol", "natural"))
    job = Job("x", Connector("y"), vehicle=vehicle)
    assert with_typed_engine(job, TypedEngine()) is job
    assert with_typed_engine(job, TypedEngine("2.0")).vehicle.engine.displacement_l == 2.0
    assert with_typed_engine(job, TypedEngine(fuel="lpg")).vehicle.engine.displacement_l == 1.6


def test_the_open_air() -> None:
    assert outside_pressure("987 hPa", "")[0] == pytest.approx(98.7)
    # ISO 2533: 95.5 kPa at 500 m.
    assert outside_pressure("", "500 m")[0] == pytest.approx(95.46, abs=0.01)
    assert math.isnan(outside_pressure("", "")[0])
    case = typed_case(parse_engine(TypedEngine("2.0")), (parse_point(POINT, "x"),), height="500")
    assert case.readings[0].barometer == pytest.approx(95.46, abs=0.01)
    assert case.remarks == ()


@pytest.mark.parametrize("written", ["high", "12000", "nan", ""])
def test_no_height(written: str) -> None:
    with pytest.raises(ValueOutOfRange, match="is no height above sea level"):
        parse_height(written)


def test_a_name_with_its_value() -> None:
    assert parse_named("intake air -4 degC", "celsius") == ("intake air", -4.0)
    assert parse_named("boost=99.5 kPa", "kilopascal") == ("boost", 99.5)
    with pytest.raises(UsageError, match='"18 degC" is no name with a value'):
        parse_named("18 degC", "celsius")
