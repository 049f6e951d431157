"""`backprobe check`: what it says of files, in words and as JSON, and its exit status."""

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from backprobe.cli.check_command import check
from tests.job.good_file import GOOD

app = typer.Typer()
app.command()(check)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    sound = GOOD[: GOOD.index('[[round]]\nname = "B"')]
    (tmp_path / "sound.toml").write_text(sound, encoding="utf-8")
    (tmp_path / "bad.toml").write_text(GOOD.replace("volts = {", "volt = {"), encoding="utf-8")
    no_check = sound.replace('black_lead_check = "12.57 V"\n', "")
    (tmp_path / "remarked.toml").write_text(no_check, encoding="utf-8")
    return tmp_path


def test_a_usable_file_is_said_to_be_with_what_it_holds(files: Path) -> None:
    result = run("sound.toml")
    assert result.exit_code == 0
    assert result.stdout == "sound.toml: can be used. 3 terminals, 1 round, 8 readings.\n"
    assert result.stderr == ""


def test_remarks_follow_the_file_that_they_are_about(files: Path) -> None:
    result = run("remarked.toml", "sound.toml")
    assert result.exit_code == 0
    first, remark, second = result.stdout.splitlines()
    assert first.startswith("remarked.toml: can be used. ")
    assert remark.startswith("  - Round A has no black_lead_check: a bad black-lead point can't be")
    assert second.startswith("sound.toml: can be used. ")


def test_an_unusable_file_is_told_and_the_others_are_checked(files: Path) -> None:
    result = run("bad.toml", "missing.toml", "sound.toml")
    assert result.exit_code == 2
    assert result.stdout.startswith("sound.toml: can be used.")
    bad, missing = result.stderr.splitlines()
    assert bad.startswith(
        'bad.toml, line 45: "volt" isn\'t a key of [round] number 1. Did you mean'
    )
    assert missing.startswith("missing.toml: There is no such file.")


def test_one_json_object_a_file_in_the_order_given(files: Path) -> None:
    result = run("--json", "bad.toml", "remarked.toml")
    assert result.exit_code == 2
    assert result.stderr == ""
    bad, remarked = (json.loads(line) for line in result.stdout.splitlines())
    assert list(bad) == list(remarked)
    assert (bad["format"], bad["file"], bad["usable"]) == (1, "bad.toml", False)
    assert bad["error"].startswith("bad.toml, line 45: ")
    assert (bad["terminals"], bad["readings"], bad["remarks"]) == (0, 0, [])
    assert (remarked["usable"], remarked["error"]) == (True, "")
    assert (remarked["terminals"], remarked["rounds"], remarked["readings"]) == (3, 1, 7)
    assert len(remarked["remarks"]) == 1


def test_void_rounds_are_named(files: Path) -> None:
    path = files / "sound.toml"
    path.write_text(path.read_text(encoding="utf-8") + 'void = "slipped"\n', encoding="utf-8")
    assert run("sound.toml").stdout.splitlines() == [
        "sound.toml: can be used. 3 terminals, 1 round (1 void), no readings.",
        "  - There are no readings yet.",
    ]
