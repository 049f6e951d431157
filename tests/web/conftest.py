"""A store of its own for every test, and visitors of all kinds."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from backprobe.web.app import create_app
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser
from tests.web.filled import EXAMPLES


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store that is up to date."""
    found = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(found)
    yield found
    found.close()


@pytest.fixture(autouse=True)
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where unforeseen errors go during a test."""
    path = tmp_path / "log" / "backprobe.log"
    monkeypatch.setattr("backprobe.services.incident.log_file", lambda: path)
    return path


@pytest.fixture
def app(store: Store) -> FastAPI:
    """The pages as served to this computer only."""
    return create_app(store, ServeSettings())


@pytest.fixture
def lan_app(store: Store) -> FastAPI:
    """The pages as served to paired devices too."""
    return create_app(store, ServeSettings(is_lan=True, lan_hosts=("192.0.2.10", "bench.local")))


@pytest.fixture
def book(app: FastAPI) -> JobBook:
    """The jobs of the application."""
    found: JobBook = app.state.book
    return found


@pytest.fixture
def sheet(book: JobBook) -> str:
    """Half a sheet: round A with volts at three terminals."""
    return book.take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    """A browser at this computer."""
    return browser(app)
