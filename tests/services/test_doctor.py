"""The doctor names what is wrong and how to mend it, and finds health where it is."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from backprobe.job import read_job
from backprobe.services import doctor
from backprobe.services.attachments import add_attachment
from backprobe.services.bank_cache import CACHE_VARIABLE
from backprobe.services.doctor import Finding, examine, worst
from backprobe.services.job_book import JobBook
from backprobe.store import files
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade

EXAMPLE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"


@pytest.fixture
def job(store: Store) -> str:
    return JobBook(store).take_in(read_job(EXAMPLE))[0]


def found(store: Store, check: str) -> list[Finding]:
    return [each for each in examine(store) if each.check == check]


def test_a_healthy_store_is_found_healthy(store: Store, job: str) -> None:
    add_attachment(store, job, "note.txt", b"note")
    findings = examine(store)
    assert worst(findings) == "sound"
    expected = ["data base", "contents", "links", "files", "disk", "solved circuits"]
    if not store.is_sqlite:
        expected = [each for each in expected if each not in ("contents", "links")]
    assert [each.check for each in findings] == expected
    assert "1 job." in findings[0].text
    assert "1 picture or document, all as they were kept" in found(store, "files")[0].text


def test_looking_makes_nothing(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    (finding,) = found(store, "data base")
    assert finding.state == "note"
    assert "not there yet" in finding.text
    assert not (tmp_path / "jobs.sqlite3").exists()


def test_an_empty_data_base_is_no_illness(new_store: Callable[[], Store]) -> None:
    store = new_store()
    with store.read():
        pass
    (finding,) = found(store, "data base")
    assert (finding.state, "empty" in finding.text) == ("note", True)


@pytest.mark.parametrize(
    ("revision", "state", "said"), [("9999", "unusable", "newer"), (None, "note", "empty")]
)
def test_another_version_is_told(
    store: Store, job: str, revision: str | None, state: str, said: str
) -> None:
    with store.write() as session:
        session.execute(text("delete from alembic_version"))
        if revision:
            session.execute(text("insert into alembic_version values (:r)"), {"r": revision})
    (finding,) = found(store, "data base")
    assert (finding.state, said in finding.text) == (state, True)


def test_a_missing_and_a_changed_file_are_named(store: Store, job: str) -> None:
    gone = add_attachment(store, job, "gone.txt", b"one")
    changed = add_attachment(store, job, "changed.txt", b"two")
    files.path_of(store.files, gone.sha256).unlink()
    files.path_of(store.files, changed.sha256).write_bytes(b"three")
    (finding,) = found(store, "files")
    assert finding.state == "wrong"
    assert '"gone.txt" is missing' in finding.text
    assert '"changed.txt" has changed' in finding.text
    assert "from a backup" in finding.remedy


def test_a_file_of_no_job_is_noted(store: Store, job: str) -> None:
    files.put(store.files, b"nobody's")
    sound, strange = found(store, "files")
    assert (sound.state, strange.state) == ("sound", "note")
    assert "1 file of no job" in strange.text


def test_rows_that_point_nowhere_are_found(tmp_path: Path) -> None:
    path = tmp_path / "jobs.sqlite3"
    with closing(Store(str(path))) as store:
        upgrade(store)
    with closing(sqlite3.connect(path)) as file, file:  # without foreign keys, SQLite's default
        file.execute("insert into terminal values (1, 99, 0, '1', '', '')")
    with closing(Store(str(path))) as store:
        (finding,) = found(store, "links")
    assert (finding.state, "in: terminal" in finding.text) == ("wrong", True)


def test_a_damaged_page_is_found(tmp_path: Path) -> None:
    path = tmp_path / "jobs.sqlite3"
    with closing(Store(str(path))) as store:
        upgrade(store)
        for _ in range(30):
            JobBook(store).take_in(read_job(EXAMPLE))
    content = bytearray(path.read_bytes())
    size = int.from_bytes(content[16:18], "big")  # of a page (SQLite's file format, section 1.3)
    for number in range(len(content) // size // 2, len(content) // size):
        content[number * size : number * size + 64] = b"\xa5" * 64
    path.write_bytes(content)
    with closing(Store(str(path))) as store:
        findings = examine(store)
    assert worst(findings) in ("wrong", "unusable")
    assert any("damaged" in each.text and "restore" in each.remedy for each in findings)


def test_a_file_that_is_none_can_not_be_used(tmp_path: Path) -> None:
    (tmp_path / "jobs.sqlite3").write_bytes(b"scrambled " * 1000)
    with closing(Store(str(tmp_path / "jobs.sqlite3"))) as store:
        assert worst(examine(store)) == "unusable"


def test_little_room_is_told(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "LEAST_FREE", 1 << 62)
    (finding,) = found(store, "disk")
    assert (finding.state, finding.remedy) == ("wrong", "Make room before the next job.")


def test_the_folder_of_solved_circuits_is_told(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / "x.npz").write_bytes(bytes(3_000_000))
    (finding,) = found(store, "solved circuits")
    assert "1 file, 3 MB" in finding.text
    monkeypatch.setattr("os.access", lambda path, _: "cache" not in str(path))
    (finding,) = found(store, "solved circuits")
    assert (finding.state, CACHE_VARIABLE in finding.remedy) == ("wrong", True)
