"""Many files at once: two processes, the order kept, errors told per file."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from backprobe.cli import answering
from backprobe.cli.answering import Outcome, outcomes
from backprobe.cli.bank_progress import BankProgress
from backprobe.job import Job
from backprobe.services.answer import Answer
from tests.cli.made_up import made_up_answer, made_up_job


def test_many_files_go_to_other_processes_and_come_back_in_order(tmp_path: Path) -> None:
    """Started afresh as on Windows; none of these files is there, so no engine is needed."""
    files = [str(tmp_path / f"{name}.toml") for name in "dbcae"]
    found = list(outcomes(files))
    assert [each.file for each in found] == files
    for each in found:
        assert each.answer is None
        assert each.file in each.error


def test_few_files_stay_here_and_report_progress(monkeypatch: pytest.MonkeyPatch) -> None:
    def explain_job(job: Job, file: str, progress: answering.Progress | None = None) -> Answer:
        if progress is not None:
            progress("solving circuits", 0.5)
        return made_up_answer()

    told: list[tuple[str, float]] = []
    monkeypatch.setattr(answering, "read", lambda _: made_up_job())
    monkeypatch.setattr(answering, "explain_job", explain_job)
    found = list(outcomes(["a", "b", "c"], lambda what, share: told.append((what, share))))
    assert [each.file for each in found] == ["a", "b", "c"]
    assert told == [("solving circuits", 0.5)] * 3


def test_an_answer_is_given_before_the_next_file_is_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[str] = []

    def answer_file(file: str, progress: answering.Progress | None = None) -> Outcome:
        begun.append(file)
        return Outcome(file)

    monkeypatch.setattr(answering, "answer_file", answer_file)
    found: Iterator[Outcome] = outcomes(["a", "b"])
    next(found)
    assert begun == ["a"]


def test_progress_is_silent_unless_the_error_stream_is_a_terminal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with BankProgress() as progress:
        progress("solving circuits", 0.3)
    assert capsys.readouterr() == ("", "")


def test_progress_on_a_terminal_goes_to_the_error_stream_only(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    with BankProgress() as progress:
        progress("solving circuits", 0.3)
        progress("solving circuits", 7.0)
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "solving circuits" in shown.err
