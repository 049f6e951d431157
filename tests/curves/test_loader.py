"""The curves that come with the program, against what is published of them."""

import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from backprobe.curves.curve_file import AnyCurve, TemperatureCurve, parse_curve
from backprobe.curves.loader import curve_named, load_curve, load_curves, temperature_curves
from backprobe.errors import CurveFileError, NotFoundError


def ohm(name: str, celsius: float) -> float:
    curve = curve_named(name)
    assert isinstance(curve, TemperatureCurve)
    return float(curve.law.ohm(np.array(celsius)))


@pytest.mark.parametrize("curve", load_curves(), ids=lambda curve: curve.id)
def test_every_curve_tells_where_it_comes_from(curve: AnyCurve) -> None:
    assert curve.source
    assert curve.about.endswith(".")
    assert 0.0 < curve.tolerance < 0.1


def test_the_usual_coolant_thermistor_lies_within_another_data_sheet_s_limits() -> None:
    """Limits of a widespread sensor by a vendor's page: -10, 20 and 80 degC."""
    assert 8260.0 < ohm("ntc-2k5-at-20", -10.0) < 10560.0
    assert 2280.0 < ohm("ntc-2k5-at-20", 20.0) < 2720.0
    assert 290.0 < ohm("ntc-2k5-at-20", 80.0) < 364.0


# Rows of two sensor makers' data sheets.
@pytest.mark.parametrize(
    ("name", "celsius", "published"),
    [
        ("ntc-15k-at-25", [-20, 0, 25, 50, 80, 100], [145880, 49254, 15000, 5356, 1804, 945]),
        (
            "ntc-10k-at-25",
            [-20, 0, 20, 25, 50, 80, 100, 120],
            [71668, 27936, 12136, 10000, 4103, 1629, 946.6, 578.1],
        ),
        ("pt200", [-40, 0, 25, 100, 500, 850], [168.54, 200.0, 219.47, 277.01, 561.96, 780.96]),
    ],
)
def test_rows_of_data_sheets(name: str, celsius: list[float], published: list[float]) -> None:
    found = [ohm(name, float(t)) for t in celsius]
    np.testing.assert_allclose(found, published, rtol=3e-5)


def test_the_wrong_part_looks_right_when_hot() -> None:
    """The 3.5 kohm part read by the 2.5 kohm curve: 20 reads 12, 0 reads -10, 90 reads 91 degC."""
    curve = curve_named("ntc-2k5-at-20")
    assert isinstance(curve, TemperatureCurve)
    shown = curve.law.celsius(np.array([ohm("ntc-3k5-at-20", t) for t in (20.0, 0.0, 90.0)]))
    # The published figures are whole degrees.
    np.testing.assert_allclose(shown, [12.0, -10.0, 91.0], atol=1.0)


def test_thermistors_and_platinum_are_there() -> None:
    kinds = {curve.kind for curve in temperature_curves()}
    assert kinds == {"ntc_steinhart_hart", "ntc_table", "platinum"}
    assert {curve.kind for curve in load_curves()} == kinds | {"transfer"}


@pytest.mark.parametrize("curve", load_curves(), ids=lambda curve: curve.id)
def test_the_page_of_curves_lists_it_with_its_source(curve: AnyCurve) -> None:
    page = (Path(__file__).parents[2] / "docs" / "sensor-curves.md").read_text(encoding="utf-8")
    assert f"| `{curve.id}` | {curve.title} | {curve.source} |" in page


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(NotFoundError, match=r'No curve is named "pt20"\. Did you mean "pt200"\?'):
        curve_named("pt20")


def test_a_file_of_one_s_own(tmp_path: Path) -> None:
    data = resources.files("backprobe.curves").joinpath("data", "pt100.toml").read_bytes()
    path = tmp_path / "pt100.toml"
    path.write_bytes(b"\xef\xbb\xbf" + data)
    assert load_curve(path).id == "pt100"
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(CurveFileError, match="isn't UTF-8"):
        load_curve(path)
    path.write_bytes(b"#" * 200_000)
    with pytest.raises(CurveFileError, match="larger than a curve"):
        load_curve(path)
    with pytest.raises(CurveFileError, match="can't be read"):
        load_curve(tmp_path)


def test_the_readme_shows_a_curve_that_can_be_used() -> None:
    text = resources.files("backprobe.curves").joinpath("data", "README.md").read_text("utf-8")
    (shown,) = re.findall(r"^```toml\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    assert parse_curve(shown, "my-curve.toml").kind == "ntc_beta"
