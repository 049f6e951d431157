"""`backprobe air`: typed points, a job, a log, the standing engine; words, JSON, a picture."""

import json
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from backprobe.cli.air_command import air
from backprobe.errors import UsageError

app = typer.Typer()
app.command()(air)
IDLE = (
    *("--displacement", "2.0", "--speed", "780", "--pressure", "34 kPa"),
    *("--temperature", "32 degC", "--barometer", "100 kPa"),
)
JOB = """
format = 1
[job]
title = "Stumbles"
[vehicle.engine]
displacement_l = 2.0
[connector]
name = "air mass"
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
[[round]]
name = "A"
plugged = true
key = "on"
scan = { "manifold pressure" = "99 kPa" }
[[round]]
name = "B"
plugged = true
key = "run"
rpm = 780
[round.scan]
"manifold pressure" = "34 kPa"
"air mass flow" = "3.2 g/s"
"intake air temperature" = 32
"""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments), env={"COLUMNS": "100"})


def told(*arguments: str) -> dict[str, object]:
    result = run(*arguments, "--json")
    assert result.exit_code in (0, 1), result.exception
    answer: dict[str, object] = json.loads(result.stdout)
    return answer


def points(answer: dict[str, object]) -> list[dict[str, Any]]:
    found = answer["points"]
    assert isinstance(found, list)
    return found


def test_one_point_is_calculated_with_its_band() -> None:
    # Heywood eq. 2.27 at 0.85 gives 4.558 g/s for these 35 kPa, 30 °C, 800 1/min: inside the band.
    answer = told(
        "--displacement", "2.0", "--speed", "800", "--pressure", "35 kPa", "--temperature",
        "30 degC", "--barometer", "100 kPa",
    )  # fmt: skip
    assert answer["verdict"] == "calculated only"
    assert points(answer)[0]["low"] < 4.558 < points(answer)[0]["high"]
    assert points(answer)[0]["flow"] is None


def test_idle_alone_cannot_tell_and_that_is_an_answer() -> None:
    result = run(*IDLE, "--flow", "3.2 g/s")
    assert result.exit_code == 0
    assert result.stdout.startswith("Can't tell with this")
    assert "Beware:" in result.stdout


def test_humidity_is_taken() -> None:
    answer = told(*IDLE, "--flow", "3.2 g/s", "--humidity", "90 %")
    assert "humidity" in str(answer["remarks"])


def test_what_is_wrong_gives_status_one() -> None:
    more = ("2500 rpm, 31 kPa, 30 degC, 7.4 g/s, 35 %", "4000 rpm, 97 kPa, 30 degC, 46.6 g/s, 35 %")
    arguments = [*IDLE, "--flow", "2.4 g/s", "--trim", "35 %"]
    result = run(*arguments, "--point", more[0], "--point", more[1])
    assert result.exit_code == 1
    assert result.stdout.startswith("The sensor reads low everywhere")
    assert " LOW " in result.stdout


def test_a_job_file(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    answer = told(str(path))
    assert [row["name"] for row in points(answer)] == ["round B"]
    assert answer["remarks"] == []
    twice = told(str(path), "--displacement", "4.0")
    assert points(twice)[0]["calculated"] == pytest.approx(2 * points(answer)[0]["calculated"])


def test_a_log(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{second},780,34,3.2,32" for second in range(8)]
    rows += [f"{second},2500,31,10.0,32" for second in range(10, 18)]
    head = "time (s),engine speed (1/min),manifold pressure (kPa),air mass flow (g/s)"
    head += ",intake air temperature (degC)"
    path.write_text("\n".join((head, *rows)), encoding="utf-8")
    answer = told(str(path), "--displacement", "2.0", "--height", "100")
    assert [round(row["speed"]) for row in points(answer)] == [780, 2500]


def test_the_standing_engine() -> None:
    result = run("--standing", "manifold 99 kPa", "--standing", "boost 91 kPa", "--height", "200")
    assert result.exit_code == 1
    assert "They contradict each other." in " ".join(result.stdout.split())
    sound = run("--soaked", "coolant 18 degC", "--soaked", "intake air 19 degC")
    assert sound.exit_code == 0
    assert "+ Cold soak" in sound.stdout


def test_the_picture(tmp_path: Path) -> None:
    path = tmp_path / "air.svg"
    assert run(*IDLE, "--flow", "3.2 g/s", "--plot", str(path)).exit_code == 0
    assert path.read_text(encoding="utf-8").startswith("<svg")


def test_a_file_and_points_are_two_things(tmp_path: Path) -> None:
    result = run(str(tmp_path / "x.toml"), *IDLE)
    assert isinstance(result.exception, UsageError)
    assert "A file and typed points are two things. Give one or the other." in str(result.exception)


def test_nothing_to_check() -> None:
    assert str(run().exception) == (
        "There is nothing to check."
        " Give a job file, a log, or speed, pressure, temperature and flow."
    )
