"""A real server, and a real browser that a person could have opened."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from backprobe.job import Job, read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade

ROOT = Path(__file__).parents[2]
SHOTS = ROOT / "test-output" / "screens"
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}
# Debian's build asks for nothing of its maker's servers with these.
QUIET = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]


def _chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Without a browser the tests here are left out, except where nothing may be."""
    if _chromium() is None and os.environ.get("CI") != "true":
        skip = pytest.mark.skip(
            reason="chromium isn't installed (Debian: apt-get install chromium)"
        )
        for item in items:
            if Path(__file__).parent in item.path.parents:
                item.add_marker(skip)


@dataclass(frozen=True, slots=True)
class Server:
    """A running server and its store."""

    url: str
    book: JobBook

    def take_in(self, example: str) -> str:
        """Put an example into the store; returns the sheet's key."""
        return self.take_in_job(read_job(ROOT / "examples" / f"{example}.toml"))

    def take_in_job(self, job: Job) -> str:
        """Put a job into the store; returns the sheet's key."""
        return self.book.take_in(job)[1]


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    file = tmp_path_factory.mktemp("store") / "jobs.sqlite3"
    store = Store(str(file))
    upgrade(store)
    command = [
        *(sys.executable, "-m", "backprobe", "serve", "--port", "0"),
        *("--database", str(file)),
    ]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        assert "http://" in line, line
        url = next(word for word in line.split() if word.startswith("http://")).rstrip("/")
        yield Server(url, JobBook(store))
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)
        if process.stdout is not None:
            process.stdout.close()
        store.close()


# Ended with the last test here: while it runs, no other test of this process can run a loop.
@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=QUIET)
        yield browser
        browser.close()


def _is_expected(text: str) -> bool:
    """A lost connection and a refused reading are what some tests are about."""
    return "ERR_INTERNET_DISCONNECTED" in text or "status of 422" in text


def _watched(context: BrowserContext, errors: list[str]) -> Page:
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on(
        "console",
        lambda message: (
            errors.append(message.text)
            if message.type == "error" and not _is_expected(message.text)
            else None
        ),
    )
    return page


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """A page on a phone; what the browser complained about fails the test."""
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]  # a TypedDict of the library
    errors: list[str] = []
    yield _watched(context, errors)
    context.close()
    assert errors == []


@pytest.fixture
def desk(browser: Browser) -> Iterator[Page]:
    """A page on a laptop."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]  # as above
    errors: list[str] = []
    yield _watched(context, errors)
    context.close()
    assert errors == []
