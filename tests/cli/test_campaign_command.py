"""`backprobe campaign` from option to table, JSON and page, on an answer that knows nothing."""

import json
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from backprobe.campaign import asking
from backprobe.cli.campaign_command import campaign
from backprobe.errors import UsageError
from backprobe.job.model import Job


def _guess(job: Job) -> dict[str, Any]:
    return {
        "terminals": {
            pin: {"role": "not-used", "probability": 0.5, "roles": {"not-used": 0.5}}
            for pin in job.connector.pins
        },
        "faults": [{"fault": "none", "probability": 0.6, "terminals": []}],
        "measurement": {"trusted": 0.9, "rounds": {each.name: 0.9 for each in job.rounds}},
        "estimates": [],
        "misfit": {"probability": 0.5, "readings": []},
    }


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> typer.Typer:
    monkeypatch.setenv("BACKPROBE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(asking, "ask_closely", lambda job: asking.Asked(_guess(job)))
    made = typer.Typer()
    made.command()(campaign)
    return made


SMALL = ["--vehicles", "2", "--connector", "thermistor", "--workers", "1"]


def test_table_names_every_measure(app: typer.Typer) -> None:
    shown = CliRunner().invoke(app, SMALL)
    assert shown.exit_code == 0, shown.output
    assert "every role right" in shown.stdout
    assert "calibration error" in shown.stdout


def test_json_tells_the_campaign_and_its_counts(app: typer.Typer) -> None:
    shown = CliRunner().invoke(app, [*SMALL, "--json", "--conditions", "healthy", "--seed", "3"])
    found = json.loads(shown.stdout)
    assert found["campaign"]["conditions"] == "healthy"
    assert found["measures"]["every role right, healthy"]["total"] == 2
    assert found["measures"]["every role right, healthy"]["count"] == 0


def test_page_and_vehicles_are_written(app: typer.Typer, tmp_path: Path) -> None:
    page, folder = tmp_path / "accuracy.md", tmp_path / "vehicles"
    shown = CliRunner().invoke(app, [*SMALL, "--write", str(page), "--save", str(folder)])
    assert shown.exit_code == 0, shown.output
    text = page.read_text(encoding="utf-8")
    assert "backprobe campaign --vehicles 2 --seed 1" in text
    assert "--connector thermistor" in text
    assert sorted(each.name for each in folder.iterdir()) == [
        "vehicle-00001.answer.json",
        "vehicle-00001.toml",
        "vehicle-00001.truth.json",
        "vehicle-00002.answer.json",
        "vehicle-00002.toml",
        "vehicle-00002.truth.json",
    ]


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--conditions", "sunny"], "--conditions"),
        (["--sheets", "torn"], "--sheets"),
        (["--kinds", "open,rusty"], "--kinds"),
        (["--connector", "toaster"], "toaster"),
    ],
)
def test_unknown_words_are_refused_with_those_known(
    app: typer.Typer, options: list[str], named: str
) -> None:
    shown = CliRunner().invoke(app, [*SMALL[:2], *options])
    assert isinstance(shown.exception, UsageError)
    assert named in str(shown.exception)
    assert "Take one of:" in str(shown.exception)
