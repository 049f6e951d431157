"""The map of fuel trims as a picture."""

from xml.etree import ElementTree

from backprobe.services.pictures.trim_picture import trim_picture
from backprobe.services.trim_log import table_from_log
from backprobe.services.trim_table import joined, typed_table
from tests.services.trim_logs import drive_log

SVG = "{http://www.w3.org/2000/svg}"


def tree(picture: str) -> ElementTree.Element:
    return ElementTree.fromstring(picture)  # noqa: S314 - our own text


def words(picture: str) -> list[str]:
    return [each.text or "" for each in tree(picture).iter(f"{SVG}text")]


def test_every_number_stands_in_its_cell_and_in_the_description() -> None:
    table = typed_table({"idle": [25.0, 3.0], "2500": [-12.0, float("nan")]})
    picture = trim_picture(table)
    assert {"≥+25", "+3", "-12", "not read", "Bank 1", "Bank 2"} <= set(words(picture))
    told = tree(picture).findtext(f"{SVG}desc") or ""
    assert told.startswith("idle: bank 1 +25 % or beyond, bank 2 +3 %.")


def test_more_and_less_fuel_differ_by_shape() -> None:
    """A full bar and a dashed one, so that no colour has to be told apart."""
    rich = trim_picture(typed_table({"idle": [-9.0]}))
    lean = trim_picture(typed_table({"idle": [9.0]}))
    assert 'stroke-dasharray="4 3"' in rich
    assert 'stroke-dasharray="4 3"' not in lean


def test_a_log_fills_the_cells_that_it_visited() -> None:
    picture = trim_picture(table_from_log(drive_log(), 2.0), ink="#111", paper="#fff")
    assert "to 2900" in words(picture)
    assert "style" not in picture
    assert all(f"{number}" not in picture for number in ("nan", "inf"))


def test_two_readings_at_one_place_stand_side_by_side() -> None:
    twice = joined([*typed_table({"idle": [3.0]}).cells, *typed_table({"idle": [-14.0]}).cells])
    assert "+3, -14" in words(trim_picture(twice))
