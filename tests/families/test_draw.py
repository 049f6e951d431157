"""Pictures of the circuits: every part is in them, nothing stands on anything else."""

from itertools import combinations
from xml.etree import ElementTree

import pytest

from backprobe.families.draw import draw_svg
from backprobe.families.draw_plan import FLAGS, drawn_elements, plan_picture
from backprobe.families.draw_text import draw_text
from backprobe.families.loader import load_families, parse_family
from backprobe.families.schema import BUILT_IN_NODES, Family, Prior, Side
from backprobe.families.wording import number, spread

FAMILIES = load_families()
SIDES: tuple[Side, Side] = ("control-unit", "sensor")


def every(name: str) -> Family:
    return next(family for family in FAMILIES if family.id == name)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_the_plan_places_each_element_once(family: Family) -> None:
    plan = plan_picture(family)
    for side, placed in zip(SIDES, (plan.unit, plan.sensor), strict=True):
        names = [upright.element.name for upright in placed.uprights]
        names += [flat.element.name for flat in placed.flats if flat.element is not None]
        assert sorted(names) == sorted(e.name for e in drawn_elements(family, side))


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_nothing_stands_on_anything_else(family: Family) -> None:
    plan = plan_picture(family)
    for side in (plan.unit, plan.sensor):
        for one, other in combinations(side.uprights, 2):
            if one.x == other.x:
                first = [plan.y[row] for row in one.rows if row is not None]
                second = [plan.y[row] for row in other.rows if row is not None]
                assert max(first) < min(second) or max(second) < min(first)
        places = [(flat.x, flat.y) for flat in side.flats]
        assert len(set(places)) == len(places)
    assert len(set(plan.y.values())) == len(plan.y)


@pytest.mark.parametrize("family", FAMILIES[::7], ids=lambda family: family.id)
def test_the_picture_names_wires_roles_and_elements(family: Family) -> None:
    root = ElementTree.fromstring(draw_svg(family))  # noqa: S314 - our own text
    words = " ".join(root.itertext())
    assert root.tag.endswith("svg")
    assert root[0].text == f"{family.title} ({family.id})"
    for wire in family.wires:
        assert wire.name in words
        assert wire.role in words
    for side in SIDES:
        for element in drawn_elements(family, side):
            assert element.name in words


def test_the_picture_is_the_same_each_time() -> None:
    family = every("oxygen-four-wire")
    assert draw_svg(family) == draw_svg(family)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_the_drawing_in_characters_shows_every_element(family: Family) -> None:
    text = draw_text(family)
    assert text.isascii()  # an old terminal shows it as well
    assert max(len(line) for line in text.splitlines()) <= 110
    drawing, legend = text.split("\n\n")
    for side in SIDES:
        for element in drawn_elements(family, side):
            assert f"{element.name}]" in drawing
            assert f"  {element.name} " in legend


def test_a_thermistor_in_characters() -> None:
    assert draw_text(every("platinum-two-wire")) == (
        "          control unit       wire       sensor\n"
        "5 V inside --[pull-up]--+-- signal --+--[platinum]-- ground\n"
        "   sensor ground rail --+-- ground --+--[platinum]-- signal\n"
        "\n"
        "  pull-up   resistor, 500 ohm to 3.3 kohm\n"
        "  platinum  platinum resistor, 200 ohm +-3 ohm\n"
    )


ODD = """
format = 1
id = "odd"
title = "odd"
kind = "speed"
prior = 1.0
about = "Ends at the body and points inside."
source = "common practice"
[[wire]]
name = "supply"
role = "supply-regulated"
to = "ref"
[[wire]]
name = "signal"
role = "signal-analogue"
to = "signal.cu"
[[control-unit]]
name = "upper"
kind = "resistor"
between = ["signal.cu", "middle"]
ohm = 100
[[control-unit]]
name = "lower"
kind = "contact"
between = ["middle", "cu-inner"]
closed_ohm = 1
open_ohm = 1e6
closed = 0.5
[[sensor]]
name = "output"
kind = "ratiometric"
output = "signal.pin"
supply = "supply.pin"
ground = "battery-"
ratio = 0.5
ohm = 100
[[sensor]]
name = "track"
kind = "potentiometer"
between = ["supply.pin", "signal.pin", "battery-"]
ohm = 1000
wiper_ohm = 10
position = 0.3
"""


def test_ends_at_the_body_are_flagged() -> None:
    family = parse_family(ODD, "odd.toml")
    words = list(ElementTree.fromstring(draw_svg(family)).itertext())  # noqa: S314 - our own text
    assert "- body" in " ".join(words)
    assert FLAGS["battery-"] in [word.strip() for word in words]
    assert "[wiper of track]-- supply, body" in draw_text(family)
    assert "(middle)" in draw_text(family)


def test_every_built_in_node_has_a_flag() -> None:
    assert set(FLAGS) == set(BUILT_IN_NODES)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2200.0, "ohm", "2.2 kohm"),
        (0.45, "volt", "0.45 V"),
        (0.012, "volt", "12 mV"),
        (1e7, "ohm", "10 Mohm"),
        (0.007, "ampere", "7 mA"),
        (-15.0, "celsius", "-15 degC"),
        (0.5, "share", "0.5"),
        (1810.0, "hertz", "1.81 kHz"),
        (0.0, "volt", "0 V"),
    ],
)
def test_values_are_written_short(value: float, unit: str, text: str) -> None:
    assert number(value, unit) == text


def test_spreads_are_written_short() -> None:
    assert spread(Prior("log_uniform", 1000.0, 10_000.0), "ohm") == "1 to 10 kohm"
    assert spread(Prior("uniform", 800.0, 11_000.0), "ohm") == "800 ohm to 11 kohm"
    assert spread(Prior("normal", 5.0, 0.025), "volt") == "5 V +-25 mV"
    assert spread(Prior("choice", choices=("up", "down"), weights=(0.5, 0.5)), "") == "up or down"
    assert spread(Prior("fixed", 0.1), "ohm") == "0.1 ohm"
