"""The program as users start it: help, version, exit status, no traceback, a closed pipe."""

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from backprobe import __version__
from backprobe.cli import main
from backprobe.errors import UsageError

CODE = "import sys; sys.argv[0] = 'backprobe'; from backprobe.cli.main import run; run()"
START = [sys.executable, "-c", CODE]


def started(
    *arguments: str, cwd: Path | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*START, *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env=os.environ | environment,
        check=False,
    )


def test_version() -> None:
    result = started("--version")
    assert (result.returncode, result.stdout) == (0, f"backprobe {__version__}\n")


def test_the_module_is_the_program_too() -> None:
    """Where the command is not on the path, as on many a Windows laptop."""
    command = [sys.executable, "-m", "backprobe", "--help"]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert result.returncode == 0
    assert result.stdout.startswith("Usage: python -m backprobe [OPTIONS]")


def test_help_names_the_commands() -> None:
    result = started("--help")
    assert result.returncode == 0
    commands = (
        "serve report new check explain next trims curve import export family backup restore"
        " doctor campaign"
    )
    for command in commands.split():
        assert f"\n  {command} " in result.stdout


def test_help_loads_nothing_heavy() -> None:
    """Else every keystroke of shell completion would wait for numpy and scipy."""
    code = (
        "import sys; sys.argv = ['backprobe', '--help']\n"
        "from backprobe.cli.main import run\n"
        "heavy = {'numpy', 'scipy', 'sqlalchemy', 'rich', 'schemdraw', 'multiprocessing'}\n"
        "try:\n    run()\nfinally:\n    print('heavy:', sorted(heavy & set(sys.modules)))\n"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert result.stdout.endswith("heavy: []\n")


def test_unknown_command_is_answered_with_status_two() -> None:
    result = started("explian")
    assert result.returncode == 2
    assert "explain" in result.stderr
    assert "Traceback" not in result.stderr


def test_missing_file_is_one_paragraph_on_the_error_stream(tmp_path: Path) -> None:
    result = started("explain", "nowhere.toml", cwd=tmp_path)
    assert (result.returncode, result.stdout) == (2, "")
    assert "nowhere.toml" in result.stderr
    assert result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr


def test_shell_completion_knows_the_commands() -> None:
    result = started(
        _BACKPROBE_COMPLETE="complete_bash", COMP_WORDS="backprobe expl", COMP_CWORD="1"
    )
    assert result.stdout.split() == ["explain"]


def status_of(error: BaseException, monkeypatch: pytest.MonkeyPatch) -> int:
    def fail() -> None:
        raise error

    monkeypatch.setattr(main, "app", fail)
    with pytest.raises(SystemExit) as leaving:
        main.run()
    assert isinstance(leaving.value.code, int)
    return leaving.value.code


def test_an_error_of_ours_is_its_paragraph_and_status_two(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of(UsageError("No.", "here", "Do that."), monkeypatch) == 2
    assert capsys.readouterr().err == "here: No. Do that.\n"


def test_an_unforeseen_error_shows_a_reference_and_the_log_holds_the_rest(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    log = tmp_path / "backprobe.log"
    monkeypatch.setattr("backprobe.services.incident.log_file", lambda: log)
    assert status_of(KeyError("surprise"), monkeypatch) == 2
    shown = capsys.readouterr().err
    assert "surprise" not in shown
    assert str(log) in shown
    assert shown.split("reference ")[1].split(")")[0] in log.read_text(encoding="utf-8")
    assert "KeyError: 'surprise'" in log.read_text(encoding="utf-8")


def test_a_log_that_cannot_be_written_is_told_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setattr("backprobe.services.incident.log_file", lambda: tmp_path / "file" / "log")
    assert status_of(KeyError("surprise"), monkeypatch) == 2
    assert "could not be written" in capsys.readouterr().err


def test_interrupting_is_quiet(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of(KeyboardInterrupt(), monkeypatch) == 130
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(sys.platform == "win32", reason="pipes as POSIX has them")
@pytest.mark.parametrize(
    "arguments", [["--help"], ["family", "list"], ["family", "list", "--json"]]
)
def test_a_reader_that_goes_away_is_not_an_error(arguments: list[str]) -> None:
    """As with `| head`: the pipe is closed before anything is written; no complaint follows."""
    reader, writer = os.pipe()
    os.close(reader)
    result = subprocess.run(
        [*START, *arguments], stdout=writer, stderr=subprocess.PIPE, check=False
    )
    os.close(writer)
    assert (result.stderr, result.returncode) == (b"", 141)


@pytest.mark.skipif(sys.platform == "win32", reason="pipes as POSIX has them")
def test_a_reader_that_goes_away_after_the_first_line_is_not_an_error() -> None:
    command = [*START, "family", "list"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        assert program.stdout.read(1) != b""
        program.stdout.close()
        assert program.stderr.read() == b""
    # What fits into the pipe was perhaps written before the reader went.
    assert program.returncode in {0, 141}


def test_a_closed_pipe_is_told_from_a_wrong_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows has one number for both (from memory, without a source)."""
    monkeypatch.setattr(main, "_forget_output", lambda: main.PIPE_CLOSED)
    monkeypatch.setattr(sys, "platform", "win32")
    assert status_of(OSError(errno.EINVAL, "Invalid argument"), monkeypatch) == 141
    assert status_of(OSError(errno.EINVAL, "Invalid argument", "a?b"), monkeypatch) == 2
