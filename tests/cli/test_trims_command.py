"""`backprobe trims`."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from backprobe.cli.main import app
from backprobe.errors import QuantityError, UsageError
from tests.services.trim_logs import drive_log


def run(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(app, ["trims", *words], catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.stdout


def test_typed_trims_are_answered_in_words() -> None:
    shown = run("--idle", "22/23", "--at-2500", "5/4", "--metering", "air-mass")
    for words in ("air gets in behind the air-mass sensor", "RULED OUT", "TEST NEXT", "bank 2"):
        assert words in shown
    assert "+22 %" in shown


def test_as_json_with_a_finding() -> None:
    answer = json.loads(
        run("--idle", "12", "--at-2500=-/9", "--found", "purge closed=trims stay", "--json")
    )
    assert answer["format"] == 1
    assert answer["cells"][1]["trims"] == [None, 9.0]
    assert sum(answer["shares"].values()) == pytest.approx(1.0)
    assert not [test for test in answer["next"] if test["name"] == "purge closed"]


def test_a_picture_is_written(tmp_path: Path) -> None:
    path = tmp_path / "trims.svg"
    run("--idle", "22", "--plot", str(path))
    assert path.read_text(encoding="utf-8").startswith("<svg")
    with pytest.raises(UsageError, match=r"written as SVG"):
        run("--idle", "22", "--plot", str(tmp_path / "trims.png"))


def test_what_fits_nothing_is_told_by_the_exit_status() -> None:
    shown = run("--idle", "0", "--at-2500", "22", "--loaded=-20", code=1)
    assert "fit nothing modelled here" in shown


def test_mistakes_are_said() -> None:
    with pytest.raises(UsageError, match=r"No trim is given\. Give at least the one at idle"):
        run()
    with pytest.raises(QuantityError, match="isn't a fuel trim"):
        run("--idle", "lean")


def test_a_log_is_reviewed(tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    log = drive_log()
    names = {each.name: each for each in log}
    units = {name: each.unit for name, each in names.items()}
    clock = names["long fuel trim bank 1"].times
    columns = [np.interp(clock, each.times, each.values) for each in log]
    head = ";".join(["time (s)", *(f"{name} ({units[name]})" for name in names)])
    rows = [";".join(f"{value:.2f}" for value in row) for row in zip(clock, *columns, strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    answer = json.loads(run(str(path), "--displacement", "2.0 l", "--json"))
    assert next(iter(answer["shares"])) == "unmetered-air"
    assert answer["cells"][0]["independent"] < answer["cells"][0]["values"]
    with pytest.raises(UsageError, match="don't go together"):
        run(str(path), "--idle", "3")
