from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.recordings.log import Log
from backprobe.services.log_states import held_states
from backprobe.services.pictures.log_picture import MOST_STRIPS, WIDTH, log_picture
from tests.services.made_logs import drive, series

SVG = "{http://www.w3.org/2000/svg}"


def words(picture: str) -> list[str]:
    return [each.text or "" for each in ElementTree.fromstring(picture).iter(f"{SVG}text")]  # noqa: S314 - our own


def test_series_states_and_time_are_named() -> None:
    log = drive()
    found = words(log_picture(log, held_states(log)))
    assert "engine speed, 1/min" in found
    assert "coolant temperature, °C" in found
    assert "steady 2500" in found
    assert "time, s" in found
    assert {"0", "20", "100"} <= set(found)


def test_a_line_is_broken_at_a_gap() -> None:
    t = np.array([0.0, 1.0, 2.0, 30.0, 31.0])
    picture = log_picture(Log((series("engine speed", "1/min", np.arange(5.0), t),)))
    (data,) = [
        path.get("d", "")
        for path in ElementTree.fromstring(picture).iter(f"{SVG}path")  # noqa: S314 - our own
        if path.get("d", "").count("M") == 2
    ]
    assert data.count("L") == 3


def test_a_long_log_is_thinned_to_its_extremes() -> None:
    values = np.zeros(300_000)
    values[123_457] = 7.0
    picture = log_picture(Log((series("engine speed", "1/min", values),)))
    assert len(picture) < 100_000
    assert "0 to 7" in words(picture)
    ys = {y for _, y in _points(picture)}
    assert len(ys) == 2  # the one high value is drawn


def _points(picture: str) -> list[tuple[float, float]]:
    paths = [p.get("d", "") for p in ElementTree.fromstring(picture).iter(f"{SVG}path")]  # noqa: S314 - our own
    longest = max(paths, key=len)
    pairs = longest.replace("M", " L").split("L")
    return [(float(x), float(y)) for x, y in (pair.split() for pair in pairs if pair.strip())]


def test_more_series_than_fit_are_told() -> None:
    log = Log(tuple(series(f"value {n}", "", np.arange(3.0)) for n in range(MOST_STRIPS + 2)))
    assert "2 more series are not drawn" in log_picture(log)


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=30),
    st.text(max_size=20),
)
def test_any_series_is_drawn_within_the_picture(values: list[float], name: str) -> None:
    picture = log_picture(Log((series(name, "", np.array(values)),)))
    root = ElementTree.fromstring(picture)  # noqa: S314 - our own
    height = float(root.get("height", "0"))
    for path in root.iter(f"{SVG}path"):
        if {"h", "H"} & set(path.get("d", "")):  # the ground, and a lone value's mark
            continue
        for x, y in _points(
            f'<svg xmlns="http://www.w3.org/2000/svg"><path d="{path.get("d")}"/></svg>'
        ):
            assert 0 <= x <= WIDTH
            assert 0 <= y <= height


def test_one_value_has_a_picture() -> None:
    picture = log_picture(Log((series("engine speed", "1/min", np.array([800.0])),)))
    assert "h2" in picture
    assert pytest.approx(WIDTH) == float(ElementTree.fromstring(picture).get("width", "0"))  # noqa: S314 - our own
