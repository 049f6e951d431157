"""What all tests share: fixed seeds, a cache, stores of their own, what a missing program means."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from tests.postgres_server import PostgresServer, programs, refuse_or_skip, running_server

# The same examples in every run: a failure seen once can be seen again. No deadline: some machines
# are slow at times.
settings.register_profile("fixed", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("fixed")


# Solved circuits are kept between runs, as for users, but never in the user's own cache directory.
os.environ.setdefault("BACKPROBE_CACHE", str(Path(__file__).parents[1] / "build" / "test-cache"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave a test out where its oracle is missing, except where nothing may be left out."""
    for tool in ("ngspice", "tshark"):
        if item.get_closest_marker(f"needs_{tool}") is None or shutil.which(tool):
            continue
        message = f"{tool} is not installed (sudo apt-get install {tool}); this comparison needs it"
        if os.environ.get("CI") == "true":
            pytest.fail(message, pytrace=False)
        pytest.skip(message)


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A server of PostgreSQL, started when the first test asks for it; one a worker."""
    found = programs()
    if found is None:
        refuse_or_skip()
    else:
        with running_server(found) as server:
            yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def backend(request: pytest.FixtureRequest) -> str:
    """Each data base that the store can be kept in."""
    name: str = request.param
    return name


@pytest.fixture
def new_store(
    backend: str, request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[Callable[[], Store]]:
    """Makes stores without tables, each with a folder of its own for files."""
    made: list[Store] = []

    def make() -> Store:
        folder = tmp_path / f"store{len(made)}"
        if backend == "sqlite":
            url = str(folder / "jobs.sqlite3")
        else:
            server: PostgresServer = request.getfixturevalue("postgres")
            url = server.new_database()
        made.append(Store(url, folder / "files"))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    """An empty store that is up to date, once in SQLite and once in PostgreSQL."""
    found = new_store()
    upgrade(found)
    return found
