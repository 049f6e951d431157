"""`backprobe new`: what it writes, what it asks, and what it refuses."""

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from backprobe.cli import new_command
from backprobe.errors import UsageError
from backprobe.job import read_job
from backprobe.vocabulary import CONNECTOR_KINDS

app = typer.Typer()
app.command()(new_command.new)


def run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(app, list(arguments), input=typed)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "intake.toml"


def pins_and_colours(path: Path) -> list[tuple[str, str]]:
    return [(each.pin, each.colour) for each in read_job(path).connector.terminals]


def test_with_nobody_to_ask_a_usable_file_is_written(path: Path) -> None:
    result = run(str(path))
    assert result.exit_code == 0
    assert result.stdout == (
        f"{path} is ready with 4 terminals and three empty rounds."
        f" Fill in round A, then ask: backprobe explain {path}\n"
    )
    job = read_job(path)
    assert len(job.rounds) == 3
    assert job.opened is not None


def test_options_go_into_the_file(path: Path) -> None:
    result = run(
        *(str(path), "--title", "Hesitates", "--name", "intake sensor", "--kind", "air-mass"),
        *("--wire", "1 YE/BK", "--wire", "C7 brown", "--wire", "3"),
    )
    assert result.exit_code == 0
    job = read_job(path)
    assert (job.title, job.connector.name, job.connector.kind) == (
        "Hesitates",
        "intake sensor",
        "air-mass",
    )
    assert pins_and_colours(path) == [("1", "YE/BK"), ("C7", "BN"), ("3", "")]


def test_wires_that_are_not_described_get_the_next_free_number(path: Path) -> None:
    assert run(str(path), "--wire", "2 RD", "--wires", "4").exit_code == 0
    assert [pin for pin, _ in pins_and_colours(path)] == ["2", "1", "3", "4"]


def test_who_sits_at_the_keyboard_is_asked(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(new_command, "is_someone_there", lambda: True)
    typed = "Stalls when hot\ncam sensor\nmany\n12\n3\nyellow/black\npurplish\nBN\n\n"
    result = run(str(path), typed=typed)
    assert result.exit_code == 0
    assert "A number from 2 to 8, please." in result.stdout
    assert "isn't a wire colour" in result.stdout
    job = read_job(path)
    assert (job.title, job.connector.name) == ("Stalls when hot", "cam sensor")
    assert pins_and_colours(path) == [("1", "YE/BK"), ("2", "BN"), ("3", "")]


def test_what_was_given_is_not_asked(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(new_command, "is_someone_there", lambda: True)
    result = run(str(path), "--title", "x", "--name", "y", "--wires", "2")
    assert result.exit_code == 0
    assert result.stdout.startswith(str(path))


def test_a_file_that_is_there_is_kept(path: Path) -> None:
    path.write_text("precious", encoding="utf-8")
    result = run(str(path))
    assert str(result.exception) == (
        f"{path}: There is such a file already; nothing was written."
        " Choose another name, or write over it with --force."
    )
    assert path.read_text(encoding="utf-8") == "precious"
    assert run(str(path), "--force").exit_code == 0
    assert read_job(path).title == "New job"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["--wires", "1"],
            "--wires: A job file has 2 to 8 terminals, not 1. Take the wires of one",
        ),
        (["--wires", "9"], "--wires: A job file has 2 to 8 terminals, not 9."),
        (["--wire", "1"], "--wires: A job file has 2 to 8 terminals, not 1."),
        (
            ["--wire", "1", "--wire", "2", "--wire", "3", "--wires", "2"],
            "--wire: 3 wires are given, but --wires says 2. Leave --wires out, or correct it.",
        ),
        (["--wire", "1 RD", "--wire", "1 BK"], '--wire: Pin "1" is given twice. Give each its own'),
        (["--wire", "#1 RD"], '--wire: "#1 RD" doesn\'t begin with a pin. Write the pin, one to'),
        (
            ["--wire", "1 sky"],
            '--wire "1 sky": "sky" isn\'t a wire colour in the letters of IEC 60757.',
        ),
        (
            ["--kind", "oxigen"],
            '--kind: "oxigen" can\'t be the kind of a connector. Did you mean "',
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    path: Path, arguments: list[str], told: str
) -> None:
    result = run(str(path), *arguments)
    assert isinstance(result.exception, UsageError)
    assert told in str(result.exception)
    assert not path.exists()


def test_a_folder_and_a_missing_folder_are_told(tmp_path: Path) -> None:
    assert str(run(str(tmp_path)).exception) == f"{tmp_path}: This is a folder. Name a file in it."
    missing = tmp_path / "nowhere" / "job.toml"
    told = str(run(str(missing)).exception)
    assert told.startswith(f"{missing}: The file can't be written (")
    assert told.endswith("Check the folder and your right to write there.")


def test_the_help_names_every_kind() -> None:
    shown = " ".join(run("--help").stdout.split())
    assert all(kind in shown for kind in CONNECTOR_KINDS)
