"""Names of exported files suit every system, differ from one another, and overwrite nothing."""

from dataclasses import replace
from pathlib import Path

import pytest

from backprobe.errors import UsageError
from backprobe.job import parse_job, read_job
from backprobe.services.job_book import JobBook
from backprobe.services.job_files import job_files, safe_name, write_files
from backprobe.store.engine import Store

EXAMPLE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("Hesitates on a cold morning", "hesitates-on-a-cold-morning"),
        ("../../etc/passwd", "etc-passwd"),
        ('C:\\x: <5 V?> "*|', "c-x-5-v"),
        ("Größe der Öffnung", "grösse-der-öffnung"),
        ("...", "job"),
        ("NUL", "nul-job"),
        ("com1", "com1-job"),
        ("a" * 300, "a" * 60),
    ],
)
def test_a_title_becomes_a_name(words: str, name: str) -> None:
    assert safe_name(words) == name


def test_each_sheet_becomes_a_file_of_its_own(store: Store) -> None:
    book = JobBook(store)
    job = replace(read_job(EXAMPLE), title="Two: at five?")
    key, sheet = book.take_in(job)
    assert list(job_files(book, key)) == ["two-at-five.toml"]
    book.repeat_after_repair(sheet)
    book.take_in(job, into=key)
    book.take_in(replace(job, connector=replace(job.connector, name="other")), into=key)
    found = job_files(book, key)
    assert list(found) == [
        "two-at-five-sensor-at-the-gearbox.toml",
        "two-at-five-sensor-at-the-gearbox-after-the-repair.toml",
        "two-at-five-sensor-at-the-gearbox-2.toml",
        "two-at-five-other.toml",
    ]
    assert parse_job(found["two-at-five-sensor-at-the-gearbox.toml"], "x") == job


def test_nothing_is_written_where_one_is_there(tmp_path: Path) -> None:
    there, new = tmp_path / "b.toml", tmp_path / "a.toml"
    there.write_text("dear", encoding="utf-8")
    with pytest.raises(UsageError, match="nothing was written"):
        write_files({new: "x", there: "x"})
    assert (there.read_text(encoding="utf-8"), new.exists()) == ("dear", False)
    write_files({new: "x", there: "y"}, replace=True)
    assert (there.read_text(encoding="utf-8"), new.exists()) == ("y", True)
