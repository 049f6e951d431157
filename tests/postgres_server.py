"""A PostgreSQL server of the tests' own: on a free loopback port, gone when they end."""

import getpass
import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import psycopg
import pytest
from psycopg import sql

MISSING = "PostgreSQL is not installed (sudo apt-get install postgresql); this test needs it"
# A test's data base is gone at its end: what protects against a power cut only costs time.
HASTY = ("fsync=off", "synchronous_commit=off", "full_page_writes=off")


class PostgresServer:
    """Hands out empty data bases."""

    def __init__(self, port: int, user: str) -> None:
        self.port = port
        self.user = user
        self._numbers = count(1)

    def url(self, name: str) -> str:
        return f"postgresql://{self.user}@127.0.0.1:{self.port}/{name}"

    def new_database(self) -> str:
        """Make an empty data base and return its URL."""
        name = f"test{next(self._numbers)}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(sql.SQL("create database {}").format(sql.Identifier(name)))
        return self.url(name)


def programs() -> Path | None:
    """The folder of the server's programs; Debian keeps them off the path."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    versions = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    found = sorted(versions, key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


def refuse_or_skip() -> None:
    """Leave a test out where there is no server, except where nothing may be left out."""
    if os.environ.get("CI") == "true":
        pytest.fail(MISSING, pytrace=False)
    pytest.skip(MISSING)


@contextmanager
def running_server(bin_folder: Path) -> Iterator[PostgresServer]:
    """Start a server in a folder of its own, and stop it at the end.

    It refuses to run as root, so root runs it as the user that its package has made.
    """
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    user = "postgres" if as_root else getpass.getuser()
    # Debian keeps it where only root's own path looks.
    runuser = shutil.which("runuser") or shutil.which("runuser", path="/usr/sbin:/sbin")
    prefix = [runuser or "runuser", "-u", "postgres", "--"] if as_root else []
    folder = Path(tempfile.mkdtemp(prefix="backprobe-postgres-"))
    if as_root:
        shutil.chown(folder, "postgres")

    def run(*command: str) -> None:
        subprocess.run(
            [*prefix, *command], cwd=folder, check=True, stdout=subprocess.DEVNULL, timeout=60
        )

    data, log = str(folder / "data"), str(folder / "log")
    port = free_port()
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
    options += "".join(f" -c {each}" for each in HASTY)
    control = str(bin_folder / "pg_ctl")
    try:
        run(
            *(str(bin_folder / "initdb"), "-D", data, "-A", "trust", "--no-sync"),
            *("-U", user, "-E", "UTF8", "--locale=C"),
        )
        run(control, "-w", "-D", data, "-l", log, "-o", options, "start")
        try:
            yield PostgresServer(port, user)
        finally:
            run(control, "-w", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port
