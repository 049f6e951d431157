"""The demo jobs answered by the whole program: the circuit told at each file's foot is found.

Only what the readings leave no doubt about is held here; how sure the program is belongs to the
campaign.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from backprobe.cli.main import app
from tests.cli.answer_shape import SHAPE, require_shape

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = ("both-wires-at-five-volts", "only-over-bumps", "painted-bracket", "twelve-of-what")

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def answers() -> dict[str, Any]:
    files = [str(EXAMPLES / f"{name}.toml") for name in NAMES]
    result = CliRunner().invoke(app, ["explain", "--json", *files])
    assert result.exit_code == 0, result.output
    return dict(zip(NAMES, map(json.loads, result.stdout.splitlines()), strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_each_answer_has_the_shape_of_the_format(answers: dict[str, Any], name: str) -> None:
    require_shape(answers[name], SHAPE)


def test_five_volts_on_both_plugged_wires_mean_an_open_ground(answers: dict[str, Any]) -> None:
    """Trade fact: 5 V on both wires of a plugged thermistor means its return is open."""
    answer = answers["both-wires-at-five-volts"]
    assert answer["faults"][0]["fault"] == "open:sensor-ground"
    assert answer["faults"][0]["terminals"] == ["2"]
    assert answer["faults"][0]["probability"] > 0.9
    assert answer["terminals"]["1"]["role"] == "signal-thermistor"
    # The thermistor's ohms and the pull-up are told at the foot of the file.
    pull_up = next(e for e in answer["estimates"] if e["name"] == "pull-up resistance")
    assert pull_up["low"] < 2200 < pull_up["high"]


def test_a_contact_that_lets_go_when_it_is_moved(answers: dict[str, Any]) -> None:
    """Trade fact: what jumps as wire or connector is wiggled is a contact that comes and goes."""
    answer = answers["only-over-bumps"]
    assert answer["faults"][0]["fault"] == "sensor-open:signal-thermistor"
    assert answer["faults"][0]["terminals"] == ["1"]
    assert answer["faults"][0]["probability"] > 0.8
    assert any("comes and goes" in remark for remark in answer["measurement"]["remarks"])
    assert answer["measurement"]["trusted"] > 0.95


def test_a_lifted_black_lead_is_blamed_and_not_the_circuit(answers: dict[str, Any]) -> None:
    """Trade fact: all readings low by the same volts and a negative ground mean the reference."""
    answer = answers["painted-bracket"]
    assert answer["measurement"]["rounds"]["A"] < 0.1
    assert answer["measurement"]["rounds"]["B"] > 0.9
    assert any(
        "A" in remark and "black lead" in remark for remark in answer["measurement"]["remarks"]
    )
    assert answer["faults"][0]["fault"] == "none"
    roles = [terminal["role"] for terminal in answer["terminals"].values()]
    assert roles == ["supply-regulated", "sensor-ground", "signal-analogue"]


def test_one_slip_of_the_pen_is_named_and_does_not_decide(answers: dict[str, Any]) -> None:
    answer = answers["twelve-of-what"]
    assert answer["terminals"]["2"]["role"] == "sensor-ground"
    assert answer["faults"][0]["fault"] == "none"
    assert "A volts 2" in answer["misfit"]["readings"]
