"""`backprobe explain` and `backprobe next` at the edge: streams, order, exit status, JSON shape."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from backprobe.cli import answering, main
from backprobe.errors import JobFileError
from backprobe.job import Job
from backprobe.services.answer import Answer, Misfit
from tests.cli.answer_shape import SHAPE, require_shape
from tests.cli.made_up import made_up_answer, made_up_job

ESCAPE = "\x1b"
run = CliRunner().invoke


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> dict[str, Answer]:
    """Answers by file name; a name that contains "broken" cannot be read, "bug" surprises."""
    answers: dict[str, Answer] = {}

    def read(file: str) -> Job:
        if "broken" in file:
            raise JobFileError('There is no key "volt".', f"{file}, line 7", 'Write "volts".')
        return made_up_job()

    def explain_job(job: Job, file: str, progress: object = None) -> Answer:
        if "bug" in file:
            raise ZeroDivisionError("nobody foresaw this")
        return answers.get(file) or replace(made_up_answer(), file=file)

    monkeypatch.setattr(answering, "read", read)
    monkeypatch.setattr(answering, "explain_job", explain_job)
    monkeypatch.setenv("COLUMNS", "80")
    return answers


def test_one_json_object_a_line_in_the_order_given(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "--json", "b.toml", "a.toml"])
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert [json.loads(line)["file"] for line in lines] == ["b.toml", "a.toml"]
    assert result.stderr == ""


def test_unusable_file_leaves_the_others_answered(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "--json", "a.toml", "broken.toml", "c.toml"])
    assert result.exit_code == 2
    assert [json.loads(line)["file"] for line in result.stdout.splitlines()] == ["a.toml", "c.toml"]
    assert result.stderr == 'broken.toml, line 7: There is no key "volt". Write "volts".\n'


def test_nothing_is_written_for_an_unusable_file(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "--json", "broken.toml"])
    assert (result.exit_code, result.stdout) == (2, "")


def test_a_surprise_is_logged_with_its_reference_and_no_trace(
    engine: dict[str, Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("backprobe.services.incident.log_file", lambda: tmp_path / "log" / "b.log")
    result = run(main.app, ["explain", "bug.toml", "a.toml"])
    assert result.exit_code == 2
    assert "Traceback" not in result.output
    assert str(tmp_path / "log" / "b.log") in result.stderr
    reference = result.stderr.split("reference ")[1].split(")")[0]
    log = (tmp_path / "log" / "b.log").read_text(encoding="utf-8")
    assert reference in log
    assert "nobody foresaw this" in log
    assert "stumble" not in result.stderr
    assert "READINGS" in result.stdout


def test_words_are_plain_text_when_piped(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "a.toml"])
    assert result.exit_code == 0
    assert ESCAPE not in result.stdout
    assert "So far: the sensor ground wire" in result.stdout


def test_several_files_in_words_are_parted_by_a_rule(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "a.toml", "b.toml"])
    rule = "─" * 80
    assert [line for line in result.stdout.splitlines() if line == rule] == [rule]


def test_why_prints_the_table_only(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "a.toml", "--why", "3"])
    assert result.exit_code == 0
    assert "decibans" in result.stdout
    assert "READINGS" not in result.stdout


def test_why_about_nothing_known_is_an_error_for_that_file(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "a.toml", "--why", "swapped"])
    assert result.exit_code == 2
    assert 'a.toml: Nothing is claimed about "swapped".' in result.stderr
    assert result.stdout == ""


def test_why_and_json_do_not_go_together(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["explain", "a.toml", "--why", "3", "--json"])
    assert str(result.exception).startswith("--json and --why cannot be had together.")


def test_next_gives_steps_minutes_and_gain(engine: dict[str, Answer]) -> None:
    result = run(main.app, ["next", "a.toml"])
    assert result.exit_code == 0
    for words in ("1. plugged in, key on", "a) Key off.", "1.5 minutes", "0.82 bit", "Beware:"):
        assert words in result.stdout


def test_next_leaves_with_one_when_settled(engine: dict[str, Answer]) -> None:
    answer = made_up_answer()
    sure = (replace(answer.faults[0], probability=0.995),)
    for faults, words in ((sure, "Settled."), (answer.faults, "can hardly be told apart")):
        engine["a.toml"] = replace(answer, faults=faults, settled=True, next=())
        result = run(main.app, ["next", "a.toml"])
        assert result.exit_code == 1
        assert words in result.stdout


def test_next_leaves_with_one_when_nothing_is_worth_it(engine: dict[str, Answer]) -> None:
    engine["a.toml"] = replace(made_up_answer(), next=())
    result = run(main.app, ["next", "a.toml", "--json"])
    assert result.exit_code == 1
    assert json.loads(result.stdout)["next"] == []


def test_a_reading_to_take_again_is_worth_measuring(engine: dict[str, Answer]) -> None:
    engine["a.toml"] = replace(made_up_answer(), next=(), misfit=Misfit(0.001, ("A volts 3",)))
    result = run(main.app, ["next", "a.toml"])
    assert result.exit_code == 0
    assert "First of all read again A: volts at 3." in result.stdout


def test_next_as_json_carries_the_steps(engine: dict[str, Answer]) -> None:
    shown = json.loads(run(main.app, ["next", "a.toml", "--json"]).stdout)
    assert shown["settled"] is False
    assert shown["next"][0]["steps"][0] == "Key off."
    assert shown["next"][0]["minutes"] == 1.7


def test_json_has_the_shape_of_the_format(engine: dict[str, Answer]) -> None:
    require_shape(json.loads(run(main.app, ["explain", "--json", "a.toml"]).stdout), SHAPE)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda shown: shown.pop("misfit"),
        lambda shown: shown.update(extra=1),
        lambda shown: shown["terminals"]["1"].update(role="ground"),
        lambda shown: shown["faults"][0].update(probability=1.2),
        lambda shown: shown["next"][0].update(rpm=0.5),
    ],
)
def test_the_shape_check_notices(
    engine: dict[str, Answer], spoil: Callable[[dict[str, Any]], object]
) -> None:
    shown = json.loads(run(main.app, ["explain", "--json", "a.toml"]).stdout)
    spoil(shown)
    with pytest.raises(AssertionError):
        require_shape(shown, SHAPE)
