"""`backprobe family`: list, show, check and draw."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from backprobe.cli.family_command import family_app
from backprobe.errors import FamilyFileError, UsageError
from backprobe.families.draw_text import draw_text
from backprobe.families.loader import load_families

MINE = """\
format = 1
id = "mine"
title = "my thermistor"
kind = "temperature"
prior = 1.0
about = "A thermistor of my own."
source = "common practice"

[[wire]]
name = "signal"
role = "signal-thermistor"
to = "signal.cu"

[[wire]]
name = "ground"
role = "sensor-ground"
to = "cu-ground"

[[control-unit]]
name = "pull-up"
kind = "resistor"
between = ["vcc", "signal.cu"]
ohm = 2200

[[sensor]]
name = "thermistor"
kind = "thermistor"
between = ["signal.pin", "ground.pin"]
ohm_25 = 2200
beta_kelvin = 3500
celsius = 25
"""


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(MINE, encoding="utf-8")
    return path


def run(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(family_app, list(words), catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.stdout


def test_list_names_every_family_by_number_of_wires() -> None:
    rows = [line.split() for line in run("list").splitlines()]
    listed = [row for row in rows if len(row) > 1 and row[1].isdigit()]
    assert {family.id for family in load_families()} == {row[0] for row in listed}
    counts = [int(row[1]) for row in listed]
    assert counts == sorted(counts)


def test_list_as_json() -> None:
    listed = json.loads(run("list", "--json"))
    assert len(listed) == len(load_families())
    first = next(one for one in listed if one["id"] == "thermistor-two-wire")
    assert first["wires"][0] == {"name": "signal", "role": "signal-thermistor"}
    assert first["kind"] == "temperature"


def test_show_tells_wires_sources_and_readings() -> None:
    text = run("show", "thermistor-two-wire")
    assert "signal-thermistor" in text
    assert "800 ohm to 11 kohm" in text
    assert "common practice: 1 to 4.7 kohm" in text
    assert "-[pull-up]--+-- signal --+--[thermistor]-- ground" in text
    assert "Faults: plugged, key on" in text
    assert "open:sensor-ground" in text
    assert "Faults: cranking" not in text


def test_show_never_cuts_the_drawing_short() -> None:
    text = run("show", "air-mass-voltage-two-feeds")
    assert (
        draw_text(next(one for one in load_families() if one.id == "air-mass-voltage-two-feeds"))
        in text
    )


def test_show_all_tells_the_faults_in_every_state() -> None:
    assert "Faults: cranking" in run("show", "thermistor-two-wire", "--all")


def test_show_as_json_carries_readings_of_every_fault(mine: Path) -> None:
    shown = json.loads(run("show", str(mine), "--json"))
    faults = [row["fault"] for row in shown["readings"]]
    assert faults[0] == "none"
    assert "open:signal-thermistor" in faults
    # 2.2 kohm over 2.2 kohm at 25 degC: half of 5 V; unplugged all of it.
    low, middle, high = shown["readings"][0]["volts"]["plugged, key on"]["signal"]
    assert low <= middle <= high
    assert middle == pytest.approx(2.5, abs=0.05)
    assert shown["readings"][0]["volts"]["unplugged, key on"]["signal"][1] == pytest.approx(
        5.0, abs=0.05
    )


def test_check_draws_and_solves_a_sound_file(mine: Path) -> None:
    text = run("check", str(mine))
    assert f"{mine}: can be used. my thermistor, 2 wires." in text
    assert "[thermistor]-- ground" in text
    assert "What each wire reads" in text
    assert run("check", "--brief", str(mine)) == f"{mine}: can be used. my thermistor, 2 wires.\n"


def test_check_lists_every_mistake_and_answers_the_others(mine: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(MINE.replace('"mine"', '"bad"').replace("beta_kelvin", "beta"), encoding="utf-8")
    result = CliRunner().invoke(family_app, ["check", "--brief", str(bad), str(mine)])
    assert result.exit_code == 2
    assert "can be used" in result.stdout
    line = MINE[: MINE.index("beta_kelvin")].count("\n") + 1
    assert f'{bad}, line {line}: Unknown key "beta" in a thermistor.' in result.stderr
    assert 'Did you mean "beta_kelvin"?' in result.stderr
    assert "has no beta_kelvin" in result.stderr


def test_check_as_json(mine: Path, tmp_path: Path) -> None:
    lines = run("check", "--json", str(mine), str(tmp_path / "none.toml"), code=2).splitlines()
    good, missing = (json.loads(line) for line in lines)
    assert good == {"format": 1, "file": str(mine), "usable": True, "mistakes": []}
    assert missing["usable"] is False
    assert missing["mistakes"][0]["what"] == "There is no such file."
    assert missing["mistakes"][0]["line"] is None


def test_draw_in_characters_and_as_a_picture(mine: Path, tmp_path: Path) -> None:
    assert "--[pull-up]--+-- signal --+--[thermistor]-- ground" in run("draw", str(mine))
    picture = tmp_path / "mine.svg"
    assert str(picture) in run("draw", "oxygen-four-wire", "-o", str(picture))
    root = ElementTree.parse(picture).getroot()  # noqa: S314 - our own text
    assert root.tag.endswith("svg")


def test_draw_refuses_other_kinds_of_picture(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"written as SVG.*Name a file ending \.svg"):
        run("draw", "hall-5v", "-o", str(tmp_path / "hall.png"))
    with pytest.raises(UsageError, match="can't be written"):
        run("draw", "hall-5v", "-o", str(tmp_path / "none" / "hall.svg"))


def test_an_unknown_name_is_told_with_the_nearest() -> None:
    with pytest.raises(UsageError, match=r'No family is named "hal-5v".*"hall-5v"'):
        run("draw", "hal-5v")
    with pytest.raises(UsageError, match="backprobe family list"):
        run("draw", "zzz")
    with pytest.raises(FamilyFileError, match="There is no such file"):
        run("show", "zzz.toml")
