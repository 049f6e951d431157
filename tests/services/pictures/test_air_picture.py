"""The picture of the air: every point told in words, signs that need no colour, nothing cut off."""

import math
from dataclasses import replace

import pytest

from backprobe.services.air_check import AirRow
from backprobe.services.pictures.air_picture import air_picture
from tests.services.pictures.made_up import all_words, require_plain, require_room, told

ROW = AirRow("idle", 780.0, 34.0, 32.0, 3.2, 3.3, 2.5, 4.3, 0.64, 0.2, math.nan)
LOW = replace(ROW, name="full", speed=4000.0, pressure=97.0, flow=48.0, calculated=63.0, low=55.0,
              high=73.0)  # fmt: skip
HIGH = replace(LOW, speed=4010.0, flow=80.0)


def test_points_are_drawn_and_told() -> None:
    svg = air_picture([HIGH, ROW, LOW], ink="#111", paper="#fff")
    require_plain(svg)
    require_room(svg)
    words = told(svg, "desc")
    assert words.startswith(
        "780 rpm, 34 kPa: calculated 3.3 g/s (2.5 to 4.3), sensor 3.2 g/s, inside the band."
    )
    assert "sensor 48 g/s, below the band" in words
    assert "sensor 80 g/s, above the band" in words
    for each in ("780", "4000", "engine speed, rpm"):
        assert each in all_words(svg)


def test_outside_is_a_sign_of_its_own() -> None:
    inside, outside = air_picture([ROW]), air_picture([replace(ROW, flow=1.0)])
    assert inside.count("<circle") == 2  # the point and the legend
    assert outside.count("<circle") == 1


@pytest.mark.parametrize("count", [1, 2, 12, 20])
def test_many_points_stay_on_the_page(count: int) -> None:
    rows = [replace(ROW, speed=780.0 + 3 * i, flow=3.0 + 0.1 * i) for i in range(count)]
    require_room(air_picture(rows))


def test_a_calculation_without_sensor_has_no_sign_of_one() -> None:
    svg = air_picture([replace(ROW, flow=math.nan)])
    assert "sensor, inside the band" not in all_words(svg)
    assert "<circle" not in svg
