"""Every mistake that a family file can hold is told with its line and how to mend it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from backprobe.errors import FamilyFileError
from backprobe.families.loader import examine_family, load_family, parse_family
from backprobe.families.mistakes import Mistake
from backprobe.families.schema import CHOICE_MOVES

SOUND = """\
format = 1
id = "lamp"
title = "test lamp"
kind = "switch"
prior = 1.0
about = "A lamp fed by the control unit."
source = "common practice"
reports = [{ scan = "throttle position", wire = "signal" }]

[[wire]]
name = "signal"
role = "signal-analogue"
to = "signal.cu"

[[wire]]
name = "ground"
role = "sensor-ground"
to = "cu-ground"

[value.hold]
choice = ["down", "up"]
weights = [0.5, 0.5]
source = "common practice"

[value.strength]
log_uniform = [1000.0, 10000.0]
source = "common practice"

[driven.warmth]
unit = "celsius"
key-on = { uniform = [0.0, 20.0], source = "common practice" }
idle = 80.0
repeat = 2.0

[[control-unit]]
name = "pull-up"
kind = "resistor"
between = ["vcc", "signal.cu"]
ohm = "strength"
only_if = { value = "hold", is = "up" }

[[control-unit]]
name = "pull-down"
kind = "resistor"
between = ["signal.cu", "cu-inner"]
ohm = 10000
only_if = { value = "hold", is = "down" }

[[sensor]]
name = "filament"
kind = "thermistor"
between = ["signal.pin", "ground.pin"]
ohm_25 = { normal = [2000.0, 100.0], source = "common practice" }
beta_kelvin = 3500
celsius = "warmth"
"""


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def only_mistake(text: str) -> Mistake:
    reading = examine_family(text, "lamp.toml")
    assert reading.family is None
    assert len(reading.mistakes) == 1, [str(mistake) for mistake in reading.mistakes]
    return reading.mistakes[0]


def test_the_text_that_the_others_spoil_is_sound() -> None:
    family = parse_family(SOUND, "lamp.toml")
    assert [wire.pin for wire in family.wires] == ["signal.pin", "ground.pin"]
    assert family.values["pull-down.ohm"].a == 10000.0
    assert family.driven["warmth"].prior("idle").a == 80.0
    # What is missing follows the order of the schema: raised as key-on, snap-low as idle.
    assert family.driven["warmth"].prior("raised").kind == "uniform"
    assert family.driven["warmth"].prior("snap-low").a == 80.0
    assert family.driven["warmth"].prior("sweep-high").kind == "uniform"


def test_a_choice_moves_between_rounds_unless_the_file_says_otherwise() -> None:
    contact = SOUND.replace("idle = 80.0", 'idle = { choice = [20.0, 80.0], source = "x" }')
    assert parse_family(contact, "lamp.toml").driven["warmth"].moves == CHOICE_MOVES
    held = contact.replace("repeat = 2.0", "repeat = 2.0\nmoves = 0")
    assert parse_family(held, "lamp.toml").driven["warmth"].moves == 0.0


# (what is replaced, by what, part that names the line, what is said, the remedy)
SPOILED = [
    ("format = 1", "format = 2", "format", "format 2; this program reads format 1", "format = 1"),
    ('title = "test lamp"\n', "", "", "The family has no title", 'title = "..."'),
    ('title = "test lamp"', "title = 3", "title", "title must be a text", 'title = "..."'),
    ('id = "lamp"', 'id = "lump"', "id =", "isn't the name of the file", 'id = "lamp"'),
    ('kind = "switch"', 'kind = "swich"', "kind =", "no kind of connector", '"switch"'),
    ("prior = 1.0", "prior = 0", "prior", "prior must be a number above zero", "1.0"),
    ("prior = 1.0", "prior = 1.0\nprio = 2", "prio =", 'Unknown key "prio"', '"prior"'),
    ("prior = 1.0", "prior = 1.0\nwires = 2", "wires", 'Unknown key "wires"', '"wire"'),
    ('"signal-analogue"', '"signal-analog"', "role", "no role of a wire", '"signal-analogue"'),
    ('to = "cu-ground"', 'to = "cu-grund"', 'to = "cu-gr', "which nothing feeds", '"cu-ground"'),
    ('name = "ground"', 'name = "signal"', 'name = "signal"\nrole = "sen', "Two wires", "Rename"),
    ('name = "ground"', 'name = "vcc"', 'name = "vcc"', "can't be named", "cu-inner"),
    ('name = "ground"', 'name = "a.pin"', 'name = "a.pin"', "can't be named", "hyphens"),
    ('to = "cu-ground"', 'to = "cu-ground"\nfrom = "x"', "from", 'Unknown key "from"', "role"),
    ("weights = [0.5, 0.5]", "weights = [1.0]", "weights", "2 choices but 1 weights", "one weight"),
    ("weights = [0.5, 0.5]", "weights = [1, 0]", "weights", "isn't above zero", "Leave that"),
    ('["down", "up"]', '["up"]', "choice", "two values or more", "choice = "),
    ('["down", "up"]', '["up", "up"]', "choice", "same value twice", "once"),
    ('["down", "up"]', '["up", 3]', "choice", "mixes numbers and words", "only"),
    ("[1000.0, 10000.0]", "[10000.0, 1000.0]", "log_uni", "reversed", "Write [1000, 10000]"),
    ("[1000.0, 10000.0]", "[10.0, 10.0]", "log_uni", "Both limits", "number 10 instead"),
    ("[1000.0, 10000.0]", "[0.0, 10.0]", "log_uni", "can't hold 0", "above zero"),
    ("[1000.0, 10000.0]", "[1.0]", "log_uni", "needs two numbers", "[lower limit, upper limit]"),
    ("[1000.0, 10000.0]", "[1.0, inf]", "log_uni", "needs two numbers", "[lower limit"),
    ("log_uniform", "log_unifrom", "log_unifrom", 'Unknown key "log_unifrom"', '"log_uniform"'),
    ("[2000.0, 100.0]", "[2000.0, 0.0]", "ohm_25", "standard deviation of 0", "[mean, standard"),
    ("normal = [2000.0, 100.0], ", "", "ohm_25", "no distribution", "log_normal"),
    ('00.0], source = "common practice" }\nbeta', "00.0] }\nbeta", "ohm_25", "no source", "comm"),
    ('unit = "celsius"', 'unit = "kelvin"', "unit = ", 'has unit "kelvin"', "celsius"),
    ('unit = "celsius"\n', "", "[driven", "has no unit", "celsius"),
    ('unit = "celsius"', 'unit = "volt"', 'celsius = "w', "driven in volt", "correct its unit"),
    ("idle = 80.0", "idel = 80.0", "idel", 'Unknown state or key "idel"', '"idle"'),
    ("idle = 80.0", "drift = 80.0", "drift", "makes no sense without always", "repeat"),
    ("idle = 80.0", 'idle = "hot"', "idle", "a number or a prior", "uniform"),
    ("repeat = 2.0", "repeat = -2.0", "repeat", "zero or above", "standard deviation"),
    ("repeat = 2.0", "moves = 0.2", "moves", "which has no choice", "give a state a choice"),
    ("idle = 80.0", "idle = { choice = [1, 2], source = \"x\" }\nmoves = 1.5", "moves",
     "number from 0 to 1", "drawn afresh"),
    ("repeat = 2.0", "limits = [0, 90]", "limits", "must be a uniform prior", "limits = {"),
    ("repeat = 2.0", "limits = { uniform = [0.0, 90.0] }", "limits", "no source", "common"),
    ("repeat = 2.0", "limits = { uniform = [9.0, 0.0], source = \"x\" }", "limits", "reversed",
     "Write [0, 9]"),
    ("key-on = {", "crank = {", "[driven", "has no key-on state", "key-on = "),
    ('"resistor"\nbet', '"resister"\nbet', 'kind = "resister', "no kind of", '"resistor"'),
    ('"vcc", "signal.cu"', '"vvc", "signal.cu"', 'between = ["vvc', '"vvc" isn\'t a node', '"vcc"'),
    ('"vcc", "signal.cu"', '"vcc", "signal"', 'between = ["vcc', '"signal" isn\'t', '"signal.cu"'),
    ('"signal.pin", "gr', '"signal.cu", "gr', 'between = ["signal.cu", "gr', "sensor's", "pin"),
    ('"vcc", "signal.cu"', '"vcc"', 'between = ["vcc"', "stands between 2 nodes", "between = "),
    ('"vcc", "signal.cu"', '"vcc", "vcc"', 'between = ["vcc"', "two ends on", "different nodes"),
    ('ohm = "strength"', 'ohm = "stregth"', "ohm = ", 'is named "stregth"', '"strength"'),
    ('ohm = "strength"', 'ohm = "hold"', "ohm = ", "choice of words", "only_if"),
    ('ohm = "strength"', "ohm = [1]", "ohm = ", "must be a number, a prior or", "in ohm"),
    ('ohm = "strength"', "ohm = -5", "ohm = ", "ohm is -5 ohm", "between 0.0001 and"),
    ('ohm = "strength"', 'ohm = "strength"\nhms = 1', "hms", 'Unknown key "hms"', '"ohm"'),
    ("beta_kelvin = 3500\n", "", "[[sensor", "has no beta_kelvin", "ohm_25, beta_kelvin, celsius"),
    ('is = "up"', 'is = "upp"', "only_if", 'never "upp"', '"up"'),
    ('value = "hold", is = "up"', 'value = "hold"', "only_if", "needs value and is", "NAME"),
    ('value = "hold", is = "up"', 'value = "strength", is = "up"', "only", "no choice", "hold"),
    ('value = "hold", is = "up"', 'value = "feed-relay", is = 2', "only_if", 'never "2"', "0, 1"),
    ('value = "hold", is = "up"', 'value = "warmth", is = 1', "only_if", "no driven share", ""),
    ('name = "pull-down"', 'name = "pull-up"', 'name = "pull-up"\nkind = "resistor"\nbetween = ["s',
     "Another element", "Rename"),
    ('name = "pull-down"', 'name = "battery"', 'name = "batt', "Another element", "Rename"),
    ('ohm = "strength"', "ohm = 2200", "[value.strength", 'Nothing uses "strength"', "take it out"),
    ("[driven.w", '[value.vcc-volts]\nuniform = [4.9, 5.1]\nsource = "x"\n[driven.w', "[value.vcc",
     "already the name", "Rename"),
    ("celsius = \"warmth\"", 'celsius = "warmth"\npassive = 1', "passive", "true or false", "true"),
    ('scan = "throttle position"', 'scan = "throttle"', "reports", "no value that", "throttle pos"),
    ('wire = "signal" }]', 'wire = "signl" }]', "reports", 'No wire is named "signl"', '"signal"'),
    ('["signal.pin", "ground.pin"]', '["signal.pin", "battery-"]', 'name = "ground"',
     'Nothing of the sensor is on "ground.pin"', "[[sensor]]"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "place", "said", "remedy"), SPOILED)
def test_a_mistake_is_told_with_its_line(
    old: str, new: str, place: str, said: str, remedy: str
) -> None:
    assert old in SOUND
    text = SOUND.replace(old, new, 1)
    reading = examine_family(text, "lamp.toml")
    assert reading.family is None
    found = [
        mistake
        for mistake in reading.mistakes
        if said in mistake.what
        and remedy in mistake.remedy
        and mistake.line == (line_of(text, place) if place else None)
    ]
    assert len(found) == 1, [str(mistake) for mistake in reading.mistakes]
    assert len(reading.mistakes) <= 2  # a value left unused may follow from it, nothing more


SWITCH = """
[[sensor]]
name = "flicker-{0}"
kind = "contact"
between = ["signal.pin", "ground.pin"]
closed_ohm = 1.0
open_ohm = 1e6
closed = 0.5
"""


def test_more_than_two_switching_elements_are_refused() -> None:
    text = SOUND + SWITCH.format(1) + SWITCH.format(2)
    assert examine_family(text, "lamp.toml").family is not None
    mistake = only_mistake(text + SWITCH.format(3))
    assert mistake.what == '3 elements switch: "flicker-1", "flicker-2", "flicker-3".'
    assert mistake.line == line_of(text + SWITCH.format(3), '[[sensor]]\nname = "flicker-3"')


def test_a_fed_output_needs_all_of_its_feed() -> None:
    text = SOUND + SWITCH.format(1) + 'supply = "signal.pin"\n'
    mistake = only_mistake(text)
    assert mistake.what == 'The contact "flicker-1" has no ground and no full_volt.'
    assert "supply, ground, full_volt go together" in mistake.remedy


def test_forms_of_an_output_can_not_be_mixed() -> None:
    text = (
        SOUND
        + """
[[sensor]]
name = "output"
kind = "ratiometric"
output = "signal.pin"
supply = "battery-"
ground = "ground.pin"
ratio = 0.5
high = 0.5
ohm = 100.0
"""
    )
    mistake = only_mistake(text)
    assert mistake.what.endswith('"output" has high besides ratio, ohm.')
    assert mistake.line == line_of(text, "high = 0.5")


def test_a_node_that_floats_under_one_choice_is_named() -> None:
    text = (
        SOUND.replace('between = ["vcc", "signal.cu"]', 'between = ["middle", "signal.cu"]')
        + """
[[control-unit]]
name = "bias"
kind = "source"
between = ["far", "middle"]
volt = 1.0
ohm = 10.0
[[control-unit]]
name = "tie"
kind = "resistor"
between = ["far", "vcc"]
ohm = 10.0
only_if = { value = "hold", is = "up" }
"""
    )
    mistake = only_mistake(text)
    assert mistake.what == 'Nothing holds the node "far" when hold is "down".'


def test_nine_wires_are_too_many() -> None:
    extra = "".join(
        f'[[wire]]\nname = "w{n}"\nrole = "not-used"\nto = "cu-ground"\n' for n in range(7)
    )
    mistake = only_mistake(SOUND + extra)
    assert mistake.what == "This family has 9 wires."
    assert "At most 8" in mistake.remedy


def test_all_mistakes_are_listed_in_the_order_of_the_file() -> None:
    text = SOUND.replace("beta_kelvin", "beta").replace("log_uniform", "log")
    lines = [mistake.line or 0 for mistake in examine_family(text, "lamp.toml").mistakes]
    assert lines == sorted(lines)
    assert line_of(text, "log = ") in lines
    assert line_of(text, "beta = ") in lines


@pytest.mark.parametrize(
    ("spoil", "line", "said"),
    [
        (lambda text: text.replace("format = 1", "format 1"), 1, "This isn't TOML"),
        (lambda text: text + "[value.hold]\n", 56, "This isn't TOML"),
        (lambda text: text + 'x = "unended', 56, "This isn't TOML"),
        (lambda _text: "x = " + "[" * 5000, None, "nested too deeply"),
        (lambda _text: "", None, "This file doesn't say which format"),
        (lambda text: text.replace("beta_kelvin = 3500", "beta_kelvin = " + "9" * 400), 54, "beta"),
        (lambda text: text.replace("prior = 1.0", "prior = nan"), 5, "prior must be a number"),
    ],
)
def test_a_file_that_is_no_family_at_all(
    spoil: Callable[[str], str], line: int | None, said: str
) -> None:
    with pytest.raises(FamilyFileError) as caught:
        parse_family(spoil(SOUND), "lamp.toml")
    assert said in caught.value.what
    assert caught.value.where == (f"lamp.toml, line {line}" if line else "lamp.toml")
    assert caught.value.remedy


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(FamilyFileError, match="There is no such file"):
        load_family(tmp_path / "none.toml")
    with pytest.raises(FamilyFileError, match="This is a folder"):
        load_family(tmp_path)
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b'format = 1\ntitle = "\xb0C"\n')
    with pytest.raises(FamilyFileError, match="line 2: Byte 21 of this file isn't UTF-8"):
        load_family(bad)
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 1_000_001)
    with pytest.raises(FamilyFileError, match="larger than a megabyte"):
        load_family(big)


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "lamp.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.encode())
    assert load_family(path).id == "lamp"
