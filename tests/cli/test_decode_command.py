import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backprobe.cli.main import app
from backprobe.errors import UsageError


def run(*words: str, code: int = 0, given: str = "") -> str:
    result = CliRunner().invoke(app, ["decode", *words], input=given, catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.stdout


def test_values_have_the_decimals_in_which_they_are_sent() -> None:
    assert run("41", "10", "01", "F4") == (
        "41 10 01 F4\n"
        "  answer, service 01: values now\n"
        "    air mass flow  5.00 g/s        from 01 F4\n"
    )
    assert "coolant temperature  83 °C" in run("41 05 7B")


def test_codes() -> None:
    text = run("P0113", "P0171")
    assert "intake air temperature 1 circuit high" in text
    assert "mixture too lean, bank 1" in text
    assert "A code is a statement about a circuit, not about a part." in text


def test_a_file_of_frames_as_json(tmp_path: Path) -> None:
    path = tmp_path / "frames.txt"
    path.write_text("7DF 02 01 10\n7E8 04 41 10 01 F4\n", encoding="utf-8")
    asked, answered = [json.loads(line) for line in run("--read", str(path), "--json").splitlines()]
    assert asked["sender"] == "7DF"
    assert answered["values"] == [
        {
            "name": "air mass flow",
            "value": 5.0,
            "unit": "g/s",
            "resolution": 0.01,
            "data": "01 F4",
        }
    ]
    assert answered["format"] == 1


def test_the_input_is_read_where_nothing_is_given() -> None:
    assert "trouble code P0113" in run(given="P0113\n")
    assert "trouble code P0113" in run("--read", "-", given="P0113\n")


def test_exit_status() -> None:
    run("1G4AH59H45G118341")
    assert "Check digit wrong" in run("1G4AH59H55G118341", code=1)
    assert "air mass flow" in run("41 10 01 F4", "nonsense", code=2)


def test_what_cannot_be_done_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is nothing to decode"):
        run("--read", "-", given="\n")
    with pytest.raises(UsageError, match="There are vin, code, message, frames"):
        run("--as", "word", "01 13")
    with pytest.raises(UsageError, match="The file can't be read"):
        run("--read", str(tmp_path / "none.txt"))
