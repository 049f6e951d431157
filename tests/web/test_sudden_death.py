"""The server is killed again and again while readings come in: none is lost, none is there twice.

BACKPROBE_KILLS asks for more kills than the test run takes.
"""

import http.client
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.web.running import PATIENCE

KILLS = int(os.environ.get("BACKPROBE_KILLS", "10"))
SEED = 20260302
FILE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"


class Server:
    """`backprobe serve` in a process of its own."""

    def __init__(self, database: Path) -> None:
        command = [sys.executable, "-m", "backprobe", "serve", "--port", "0"]
        self.process = subprocess.Popen(
            [*command, "--database", str(database)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert "http://127.0.0.1:" in line
        self.port = int(line.split("127.0.0.1:")[1].split("/")[0])

    def kill(self) -> None:
        """End it as a flat battery would: it gets no chance to finish anything."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(PATIENCE)
        assert self.process.stdout is not None
        self.process.stdout.close()

    def send(self, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
        """Send something; None where no whole answer came."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        headers = {"X-Backprobe": "1", "Content-Type": "application/json"}
        try:
            connection.request("POST", path, json.dumps(body), headers)
            found = connection.getresponse()
            text = found.read()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            connection.close()
        assert found.status == 200, text
        told: dict[str, Any] = json.loads(text)
        return told


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
def test_every_acknowledged_reading_survives_once(store: Store, tmp_path: Path) -> None:
    chance = random.Random(SEED)  # noqa: S311 - when to kill is no secret
    sys.stdout.write(f"{KILLS} kills, seed {SEED}\n")
    book = JobBook(store)
    _, sheet = book.take_in(read_job(FILE))
    record = book.sheet(sheet)[2]
    key, pin = record.rounds[0].key, record.connector.pins[0]
    before = {entry.entry_key for entry in record.rounds[0].entries}
    sent: dict[str, str] = {}
    acknowledged: dict[str, int] = {}
    waiting: list[str] = []  # sent, and perhaps stored: the outbox of the page
    for _ in range(KILLS):
        server = Server(tmp_path / "jobs.sqlite3")
        killer = threading.Timer(chance.uniform(0.02, 0.6), server.process.kill)
        killer.start()
        deadline = time.monotonic() + PATIENCE
        while server.process.poll() is None and time.monotonic() < deadline:
            if not waiting:
                waiting.append(f"outbox-{len(sent):06d}")
                sent[waiting[0]] = f"{chance.uniform(0.0, 5.0):.3f}"
            told = _enter(server, key, pin, waiting[0], sent[waiting[0]])
            if told is None:
                break
            assert acknowledged.setdefault(waiting[0], told["entry"]) == told["entry"]
            waiting.pop()
        killer.join()
        server.kill()
    server = Server(tmp_path / "jobs.sqlite3")
    try:
        for each in waiting:
            told = _enter(server, key, pin, each, sent[each])
            assert told is not None
            acknowledged[each] = told["entry"]
        for each in list(acknowledged)[-20:]:  # sent again, though it was acknowledged
            told = _enter(server, key, pin, each, sent[each])
            assert told is not None
            assert (told["entry"], told["is_new"]) == (acknowledged[each], False)
    finally:
        server.kill()
    entries = [e for e in book.sheet(sheet)[2].rounds[0].entries if e.entry_key not in before]
    assert len(entries) == len(acknowledged) == len(sent) > KILLS
    assert {e.entry_key: e.id for e in entries} == acknowledged
    assert {e.entry_key: e.indication.written for e in entries if e.indication} == sent
    with store.engine.connect() as connection:
        assert connection.exec_driver_sql("pragma integrity_check").scalar() == "ok"


def _enter(server: Server, key: str, pin: str, name: str, written: str) -> dict[str, Any] | None:
    body = {"quantity": "volts", "place": pin, "written": written, "entry_key": name}
    return server.send(f"/api/rounds/{key}/entries", body)
