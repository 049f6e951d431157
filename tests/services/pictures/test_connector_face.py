"""The face of a connector: numbered, coloured, small, and plain about what isn't known."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.job.model import Connector, Terminal
from backprobe.services.pictures import connector_face
from backprobe.services.pictures.wire_line import SHADES
from backprobe.standards.wire_colour import WORDS
from backprobe.vocabulary import ROLES
from tests.services.pictures.made_up import (
    all_words,
    parsed,
    require_plain,
    require_room,
    texts_of,
    told,
)

PHONE = 340.0  # px; a page of 360 less its margins


def face(count: int) -> Connector:
    return Connector("sensor", terminals=tuple(Terminal(str(i + 1), "BU") for i in range(count)))


@pytest.mark.parametrize("count", range(9))
def test_each_cavity_is_there_and_the_face_fits_a_phone(count: int) -> None:
    roles = {str(i + 1): ROLES[i] for i in range(count)}
    svg = connector_face(face(count), roles, "1")
    require_plain(svg)
    require_room(svg)
    assert float(parsed(svg).attrib["width"]) <= PHONE
    words = [seen.words for seen in texts_of(svg)]
    assert [w for w in words if w.isdigit()] == [str(i + 1) for i in range(count)]


@pytest.mark.parametrize(("count", "rows"), [(2, [2]), (4, [4]), (5, [3, 2]), (8, [4, 4])])
def test_up_to_four_stand_in_one_row_more_in_two(count: int, rows: list[int]) -> None:
    heights = [seen.top for seen in texts_of(connector_face(face(count))) if seen.words.isdigit()]
    assert [heights.count(each) for each in sorted(set(heights))] == rows


def test_the_order_is_said_to_be_as_entered() -> None:
    svg = connector_face(face(3))
    assert told(svg, "title") == "Connector sensor, order as entered"
    assert "order as entered" in all_words(svg)


def test_the_wanted_terminal_has_a_word_an_arrow_and_a_ring() -> None:
    plain, svg = connector_face(face(4)), connector_face(face(4), None, "3")
    assert "here" not in all_words(plain)
    assert "here" in all_words(svg)
    assert "Terminal 3: blue; go to this one." in told(svg, "desc")
    assert 'stroke-width="5"' in svg
    assert 'stroke-width="5"' not in plain
    here = next(seen for seen in texts_of(svg) if seen.words == "here")
    pin = next(seen for seen in texts_of(svg) if seen.words == "3")
    assert here.bottom < pin.top
    assert abs((here.left + here.right - pin.left - pin.right) / 2) < 30.0


def test_letters_of_the_standard_stand_beside_every_shade() -> None:
    # IEC 60757, table 1, as the program's own table of it has them.
    assert set(SHADES) == set(WORDS)
    for letters in SHADES:
        connector = Connector(
            "s", terminals=(Terminal("1", letters), Terminal("2", f"WH/{letters}"))
        )
        svg = connector_face(connector)
        assert SHADES[letters] in svg
        assert f"WH/{letters}" in all_words(svg)


def test_green_and_yellow_is_one_colour_of_two() -> None:
    svg = connector_face(Connector("s", terminals=(Terminal("1", "GNYE"),)))
    assert SHADES["GN"] in svg
    assert SHADES["YE"] in svg
    assert "green and yellow" in told(svg, "desc")


@given(st.lists(st.tuples(st.text(max_size=12), st.text(max_size=30)), max_size=8), st.text())
@settings(max_examples=60, deadline=None)
def test_any_text_keeps_its_room(cavities: list[tuple[str, str]], name: str) -> None:
    terminals = tuple(Terminal(pin, colour) for pin, colour in cavities)
    roles = dict(cavities)
    svg = connector_face(
        Connector(name, terminals=terminals), roles, cavities[0][0] if cavities else ""
    )
    require_plain(svg)
    require_room(svg)
    assert float(parsed(svg).attrib["width"]) <= PHONE
