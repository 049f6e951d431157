"""Known points as people type them."""

import pytest

from backprobe.errors import QuantityError, UsageError
from backprobe.services.curve_points import KnownPoint, parse_feed, parse_points, parse_reading
from backprobe.services.sensor_curves import Feed, Reading


@pytest.mark.parametrize(
    ("line", "point"),
    [
        ("20 degC = 2.66 V", KnownPoint(20.0, 2.66, None)),
        ("-10 °C=4,05V", KnownPoint(-10.0, 4.05, None)),
        ("90degC = 243 ohm", KnownPoint(90.0, None, 243.0)),
        ("2k2 = 2.50 V", KnownPoint(None, 2.5, 2200.0, is_resistor=True)),
        ("68 degF = 2.5 kohm", KnownPoint(20.0, None, 2500.0)),
    ],
)
def test_points(line: str, point: KnownPoint) -> None:
    (found,) = parse_points(["", line, " "])
    assert found.is_resistor == point.is_resistor
    for name in ("celsius", "volts", "ohm"):
        wanted = getattr(point, name)
        assert getattr(found, name) == (None if wanted is None else pytest.approx(wanted))


@pytest.mark.parametrize(
    "line", ["20 = 2.66 V", "20 degC 2.66 V", "20 degC = 30 degC", "2 V = 3 V", "x=y"]
)
def test_what_is_no_point(line: str) -> None:
    with pytest.raises(UsageError, match=r'Write it like "20 degC = 2\.66 V"'):
        parse_points([line])


def test_how_many() -> None:
    with pytest.raises(UsageError, match="0 points are given"):
        parse_points([""])
    with pytest.raises(UsageError, match="41 points are given"):
        parse_points(["20 degC = 2.66 V"] * 41)


def test_a_reading_brings_its_unit() -> None:
    assert parse_reading("3.05 kHz") == Reading(3050.0, "hertz")
    assert parse_reading("4k7") == Reading(4700.0, "ohm")
    flow = parse_reading("90 kg/h")
    assert flow.value == pytest.approx(25.0)
    assert flow.unit == "gram per second"
    for written in ("500", "OL", "much"):
        with pytest.raises(UsageError, match="is no reading with a unit"):
            parse_reading(written)


def test_a_feed() -> None:
    assert parse_feed("", "") is None
    assert parse_feed("2.2k", "") == Feed(2200.0, 5.0)
    with pytest.raises(UsageError, match="have to be above zero"):
        parse_feed("0 ohm", "5 V")
    with pytest.raises(QuantityError):
        parse_feed("much", "5 V")
