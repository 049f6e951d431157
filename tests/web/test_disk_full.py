"""A full disk and a disk that can only be read: a clear answer, and nothing acknowledged is lost.

On real file systems: a small one in memory, filled up, emptied, and mounted to be read only.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from backprobe.web.app import create_app
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser

EXAMPLE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"
KIB = 1024

pytestmark = pytest.mark.skipif(
    not (sys.platform == "linux" and os.geteuid() == 0 and os.access("/usr/bin/mount", os.X_OK)),
    reason="a file system can only be mounted by root, on Linux",
)


def mount(*arguments: str) -> None:
    done = subprocess.run(["mount", *arguments], capture_output=True, text=True, check=False)
    if done.returncode and os.environ.get("CI") != "true":
        pytest.skip(f"mounting isn't allowed here: {done.stderr.strip()}")
    assert done.returncode == 0, done.stderr


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of sixteen megabytes."""
    place = tmp_path / "disk"
    place.mkdir()
    mount("-t", "tmpfs", "-o", "size=16m", "tmpfs", str(place))
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def fill(disk: Path) -> Path:
    """Leave no room at all."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for size in (64 * KIB, KIB, 1):
            try:
                while True:
                    file.write(b"\0" * size)
            except OSError:
                continue
    return ballast


@pytest.fixture
def store(disk: Path) -> Iterator[Store]:
    found = Store(str(disk / "jobs.sqlite3"))
    upgrade(found)
    yield found
    found.close()


def entered(client: TestClient, round_key: str, number: int) -> int:
    sent = {
        "quantity": "volts",
        "place": "1",
        "written": f"{number / 1000:.3f} V",
        "entry_key": f"reading-number-{number:06d}",
    }
    return client.post(f"/api/rounds/{round_key}/entries", json=sent).status_code


def kept(book: JobBook, sheet: str) -> set[str]:
    record = book.sheet(sheet)[2].rounds[0]
    return {e.entry_key for e in record.cell("volts", "1")}


def test_a_full_disk_is_told_and_what_was_acknowledged_stays(store: Store, disk: Path) -> None:
    app = create_app(store, ServeSettings())
    client = browser(app)
    book = JobBook(store)
    sheet = book.take_in(read_job(EXAMPLE))[1]
    key = book.sheet(sheet)[2].rounds[0].key
    acknowledged = {n for n in range(20) if entered(client, key, n) == 200}
    assert len(acknowledged) == 20
    ballast = fill(disk)
    refused: set[int] = set()
    for number in range(100, 180):  # pages that are there already may still take some
        status = entered(client, key, number)
        assert status in (200, 503)
        (acknowledged if status == 200 else refused).add(number)
    assert refused
    answer = client.post(
        f"/api/rounds/{key}/entries", json={"quantity": "volts", "place": "1", "written": "1 V"}
    )
    assert answer.status_code == 503
    assert "disk is full" in answer.json()["what"]
    assert client.get(f"/api/sheets/{sheet}").status_code == 200
    ballast.unlink()
    for number in sorted(refused):
        assert entered(client, key, number) == 200, client.get("/api/health").text
    expected = {f"reading-number-{n:06d}" for n in acknowledged | refused}
    assert expected <= kept(book, sheet)


def test_a_disk_that_can_only_be_read_is_told(store: Store, disk: Path) -> None:
    sheet = JobBook(store).take_in(read_job(EXAMPLE))[1]
    key = JobBook(store).sheet(sheet)[2].rounds[0].key
    store.close()
    mount("-o", "remount,ro", str(disk))
    later = Store(str(disk / "jobs.sqlite3"))
    client = browser(create_app(later, ServeSettings()))
    answer = client.post(
        f"/api/rounds/{key}/entries", json={"quantity": "volts", "place": "1", "written": "1 V"}
    )
    later.close()
    mount("-o", "remount,rw", str(disk))
    assert answer.status_code == 503
    told = answer.json()
    assert told["remedy"]
    assert "read" in told["what"] or "opened" in told["what"]
