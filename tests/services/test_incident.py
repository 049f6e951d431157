"""Unforeseen errors: what a reader sees, and what only the log holds."""

import threading
from pathlib import Path

import pytest

from backprobe.services import incident
from backprobe.services.incident import record_incident


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "logs" / "backprobe.log"
    monkeypatch.setattr(incident, "log_file", lambda: path)
    return path


def raised(text: str) -> Exception:
    empty: dict[str, str] = {}
    try:
        empty[text]
    except KeyError as error:
        return error
    raise AssertionError


def test_the_reader_sees_a_reference_and_the_log_holds_the_trace(log: Path) -> None:
    found = record_incident(raised("surprise"))
    assert str(found).endswith(
        f"(reference {found.reference}). Its details are in {log}; "
        "send them along when you report it."
    )
    kept = log.read_text(encoding="utf-8")
    assert f"reference {found.reference}" in kept
    assert "KeyError: 'surprise'" in kept
    assert "in raised" in kept


def test_what_anybody_may_know_names_no_path(log: Path) -> None:
    found = record_incident(raised("surprise"))
    assert found.told == (
        f"Something went wrong that was not foreseen (reference {found.reference})."
    )


def test_a_log_that_cannot_be_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setattr(incident, "log_file", lambda: tmp_path / "file" / "log")
    found = record_incident(raised("surprise"))
    assert found.trouble
    assert str(found).startswith(found.told)
    assert "could not be written" in str(found)


def test_each_of_many_at_once_is_logged_once(log: Path) -> None:
    """A server meets errors in many threads; they share one logger."""
    found: list[str] = []
    start = threading.Barrier(8)

    def stumble(number: int) -> None:
        start.wait()
        found.append(record_incident(raised(f"surprise {number}")).reference)

    threads = [threading.Thread(target=stumble, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = log.read_text(encoding="utf-8")
    assert [kept.count(f"reference {reference}") for reference in found] == [1] * 8


def test_a_full_log_makes_room_and_keeps_the_last_ones(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incident, "LARGEST_LOG", 2000)
    for _ in range(30):
        record_incident(raised("x" * 200))
    names = sorted(path.name for path in log.parent.iterdir())
    assert names == ["backprobe.log", *(f"backprobe.log.{n}" for n in (1, 2, 3))]
    assert log.stat().st_size <= 2000
