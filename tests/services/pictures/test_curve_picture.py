"""A sensor's curve as a picture."""

from xml.etree import ElementTree

import pytest

from backprobe.curves.curve_file import AnyCurve
from backprobe.curves.loader import curve_named, load_curves
from backprobe.services.pictures.canvas import FAULT
from backprobe.services.pictures.curve_picture import curve_picture
from backprobe.services.sensor_curves import Feed

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("curve", load_curves(), ids=lambda curve: curve.id)
def test_every_curve_is_drawn_and_told(curve: AnyCurve) -> None:
    picture = curve_picture(curve)
    tree = ElementTree.fromstring(picture)  # noqa: S314 - our own text
    assert (tree.findtext(f"{SVG}title") or "") == curve.title
    assert len((tree.findtext(f"{SVG}desc") or "").split(";")) >= 2
    assert "nan" not in picture
    assert FAULT not in picture


def test_a_reading_is_marked_and_volts_are_drawn_with_a_pull_up() -> None:
    picture = curve_picture(curve_named("ntc-2k5-at-20"), Feed(2200.0), (25.0, 2047.0))
    assert FAULT in picture
    assert "volts below a pull-up of 2.2 kohm" in picture
    beyond = curve_picture(curve_named("ntc-2k5-at-20"), None, (300.0, 5.0))
    assert FAULT not in beyond
