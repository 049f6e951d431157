"""Commands of the data base: take in, write out, save, put in place, look over."""

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from backprobe.cli.backup_command import backup, restore
from backprobe.cli.doctor_command import doctor
from backprobe.cli.transfer_command import export, import_
from backprobe.errors import JobFileError, NotFoundError, StoreError, UsageError
from backprobe.job import read_job
from tests.cli.test_main import started

EXAMPLES = Path(__file__).parents[2] / "examples"
HALF, AIR = EXAMPLES / "half-a-sheet.toml", EXAMPLES / "healthy-air-mass.toml"

app = typer.Typer()
for name, command in (
    *(("import", import_), ("export", export), ("backup", backup)),
    *(("restore", restore), ("doctor", doctor)),
):
    app.command(name)(command)


@pytest.fixture(autouse=True)
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The data base that commands find by the environment."""
    path = tmp_path / "data" / "jobs.sqlite3"
    monkeypatch.setenv("BACKPROBE_DATABASE", str(path))
    return path


def run(*arguments: str | Path) -> Result:
    result = CliRunner().invoke(app, [str(each) for each in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def taken_in(*arguments: str | Path) -> list[str]:
    """Keys of jobs taken in."""
    return [line.split("  ")[0] for line in run("import", *arguments).stdout.splitlines()]


def test_job_files_go_in_and_come_out_the_same(tmp_path: Path) -> None:
    result = run("import", HALF, AIR)
    lines = result.stdout.splitlines()
    assert [line.split("  ", 1)[1] for line in lines] == [
        read_job(path).title for path in (HALF, AIR)
    ]
    key = lines[0].split("  ")[0]
    result = run("export", key, "-o", tmp_path / "out")
    (path,) = (Path(line) for line in result.stdout.splitlines())
    assert path == tmp_path / "out" / "two-wires-at-five-volts-which-is-the-supply.toml"
    assert read_job(path) == read_job(HALF)


def test_json_tells_the_same(tmp_path: Path) -> None:
    told = [json.loads(line) for line in run("import", HALF, AIR, "--json").stdout.splitlines()]
    assert [each["file"] for each in told] == [str(HALF), str(AIR)]
    assert told[0]["title"] == read_job(HALF).title
    assert told[0]["sheet"] != told[0]["job"]
    out = json.loads(run("export", told[1]["job"], "-o", tmp_path, "--json").stdout)
    assert (out["format"], out["job"]) == (1, told[1]["job"])
    assert [read_job(each) for each in out["files"]] == [read_job(AIR)]


def test_a_file_that_can_not_be_used_keeps_all_out(tmp_path: Path, database: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\n", encoding="utf-8")
    with pytest.raises(JobFileError, match=r"bad\.toml"):
        run("import", HALF, bad)
    assert not database.exists()


def test_connectors_join_a_job(tmp_path: Path) -> None:
    (key,) = taken_in(HALF)
    assert taken_in(AIR, "--job", key) == [key]
    assert len(run("export", key, "-o", tmp_path).stdout.splitlines()) == 2
    with pytest.raises(UsageError, match="2 sheets, one file each"):
        run("export", key, "-o", tmp_path / "one.toml")
    with pytest.raises(NotFoundError, match="no such job"):
        run("import", AIR, "--job", "nowhere")


def test_a_file_is_not_written_over_unasked(tmp_path: Path) -> None:
    (key,) = taken_in(HALF)
    path = tmp_path / "mine.toml"
    run("export", key, "-o", path)
    path.write_text("dear", encoding="utf-8")
    with pytest.raises(UsageError, match="nothing was written"):
        run("export", key, "-o", path)
    assert path.read_text(encoding="utf-8") == "dear"
    run("export", key, "-o", path, "--force")
    assert read_job(path) == read_job(HALF)


@pytest.mark.parametrize("arguments", [("export", "x"), ("backup", "x.backup")])
def test_a_data_base_is_not_made_by_asking_of_it(
    arguments: tuple[str, ...], database: Path
) -> None:
    with pytest.raises(NotFoundError, match="There are no jobs here yet"):
        run(*arguments)
    assert not database.exists()


def test_a_backup_is_put_in_place_elsewhere(tmp_path: Path) -> None:
    (key,) = taken_in(HALF)
    saved = tmp_path / "saved.backup"
    result = run("backup", saved)
    assert result.stdout.startswith(f"{saved}: 1 job, 5 readings, 0 pictures and documents")
    with pytest.raises(StoreError, match="nothing was written"):
        run("backup", saved)
    run("backup", saved, "--force")
    other = tmp_path / "other" / "jobs.sqlite3"
    result = run("restore", saved, "--database", other)
    assert result.stdout.startswith("1 job, 5 readings, 0 pictures and documents, as they were at")
    assert len(result.stdout.splitlines()) == 1
    result = run("export", key, "-o", tmp_path / "x.toml", "--database", other)
    assert read_job(tmp_path / "x.toml") == read_job(HALF)


def test_what_was_there_is_kept_aside(tmp_path: Path, database: Path) -> None:
    taken_in(HALF)
    run("backup", tmp_path / "saved.backup")
    (later,) = taken_in(AIR)
    with pytest.raises(StoreError, match="with --force"):
        run("restore", tmp_path / "saved.backup")
    result = run("restore", tmp_path / "saved.backup", "--force")
    words, aside = result.stdout.splitlines()[1].rsplit(" ", 1)
    assert words == "What was there before is kept in"
    with pytest.raises(NotFoundError):
        run("export", later, "-o", tmp_path)
    run("export", later, "-o", tmp_path / "x.toml", "--database", aside)
    assert read_job(tmp_path / "x.toml") == read_job(AIR)


def test_the_doctor_says_how_it_is(tmp_path: Path, database: Path) -> None:
    taken_in(HALF)
    result = run("doctor")
    assert result.exit_code == 0
    assert f"ok       data base: {database}: 1 job." in result.stdout.splitlines()
    told = json.loads(run("doctor", "--json").stdout)
    assert (told["format"], told["database"], told["state"]) == (1, str(database), "sound")
    assert {"check", "state", "text", "remedy"} == set(told["findings"][0])

    database.write_bytes(b"scrambled " * 1000)
    result = run("doctor")
    assert result.exit_code == 2
    assert "UNUSABLE data base" in result.stdout
    assert "backprobe restore" in result.stdout


def test_the_doctor_tells_what_is_wrong_by_its_status(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("backprobe.services.doctor.LEAST_FREE", 1 << 62)
    result = run("doctor")
    assert result.exit_code == 1
    assert "WRONG    disk" in result.stdout


def test_the_program_knows_the_commands(tmp_path: Path, database: Path) -> None:
    key = started("import", str(HALF)).stdout.split("  ")[0]
    result = started("export", key, cwd=tmp_path)
    assert (result.returncode, len(list(tmp_path.glob("*.toml")))) == (0, 1)
    result = started("backup", "saved.backup", cwd=tmp_path)
    assert (result.returncode, result.stderr) == (0, "")
    result = started("restore", "saved.backup", cwd=tmp_path)
    assert result.returncode == 2
    assert result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr
    assert started("doctor").returncode == 0
