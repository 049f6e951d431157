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
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.web.running import PATIENCE

KILLS = int(os.environ.get("BACKPROBE_KILLS", "10"))
WRITERS = 6
SEED = 20260302
FILE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"


class Server:
    """`backprobe serve` in a process of its own."""

    def __init__(self, database: Path) -> None:
        self.has_answered = threading.Event()
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

    def kill_soon(self, wait: float, seconds: float) -> None:
        """End it some seconds after its first answer, for which is waited so long."""
        self.has_answered.wait(wait)
        time.sleep(seconds)
        self.process.kill()

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
        self.has_answered.set()
        told: dict[str, Any] = json.loads(text)
        return told


class Writer:
    """A page with its outbox: a reading stays in it until it is acknowledged."""

    def __init__(self, number: int, key: str, pin: str) -> None:
        self.number, self.key, self.pin = number, key, pin
        self.chance = random.Random(SEED + number)  # noqa: S311 - what is read is no secret
        self.sent: dict[str, str] = {}
        self.acknowledged: dict[str, int] = {}
        self.waiting = ""

    def work(self, server: Server) -> None:
        """Send reading after reading until the server is gone."""
        deadline = time.monotonic() + PATIENCE
        while server.process.poll() is None and time.monotonic() < deadline:
            if not self.waiting:
                self.waiting = f"outbox-{self.number}-{len(self.sent):06d}"
                self.sent[self.waiting] = f"{self.chance.uniform(0.0, 5.0):.3f}"
            if not self.deliver(server):
                return

    def deliver(self, server: Server) -> bool:
        """Send what waits; False where no whole answer came."""
        told = self.enter(server, self.waiting)
        if told is None:
            return False
        assert self.acknowledged.setdefault(self.waiting, told["entry"]) == told["entry"]
        self.waiting = ""
        return True

    def enter(self, server: Server, name: str) -> dict[str, Any] | None:
        """Send one reading, for the first time or again."""
        body = {"quantity": "volts", "place": self.pin, "written": self.sent[name]}
        return server.send(f"/api/rounds/{self.key}/entries", body | {"entry_key": name})


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
def test_every_acknowledged_reading_survives_once(store: Store, tmp_path: Path) -> None:
    chance = random.Random(SEED)  # noqa: S311 - when to kill is no secret
    sys.stdout.write(f"{KILLS} kills, {WRITERS} writers, seed {SEED}\n")
    book = JobBook(store)
    _, sheet = book.take_in(read_job(FILE))
    record = book.sheet(sheet)[2]
    key, pins = record.rounds[0].key, record.connector.pins
    before = {entry.entry_key for entry in record.rounds[0].entries}
    # More writers than terminals: some write into one cell at the same time.
    writers = [Writer(n, key, pins[n % len(pins)]) for n in range(WRITERS)]
    for _ in range(KILLS):
        server = Server(tmp_path / "jobs.sqlite3")
        # Some are killed before they have answered anything, the others soon after they have.
        wait = PATIENCE if chance.random() < 0.75 else 0.0
        killer = threading.Thread(target=server.kill_soon, args=(wait, chance.uniform(0.02, 0.6)))
        killer.start()
        with ThreadPoolExecutor(WRITERS) as pool:
            for done in [pool.submit(each.work, server) for each in writers]:
                done.result()
        killer.join()
        server.kill()
    server = Server(tmp_path / "jobs.sqlite3")
    try:
        for each in writers:
            assert not each.waiting or each.deliver(server)
            for name in list(each.acknowledged)[-5:]:  # sent again, though it was acknowledged
                told = each.enter(server, name)
                assert told is not None
                assert (told["entry"], told["is_new"]) == (each.acknowledged[name], False)
    finally:
        server.kill()
    entries = [e for e in book.sheet(sheet)[2].rounds[0].entries if e.entry_key not in before]
    sent = {name: text for each in writers for name, text in each.sent.items()}
    acknowledged = {name: number for each in writers for name, number in each.acknowledged.items()}
    sys.stdout.write(f"{len(sent)} readings\n")
    assert len(entries) == len(acknowledged) == len(sent) > KILLS // 2
    assert {e.entry_key: e.id for e in entries} == acknowledged
    assert {e.entry_key: e.indication.written for e in entries if e.indication} == sent
    with store.engine.connect() as connection:
        assert connection.exec_driver_sql("pragma integrity_check").scalar() == "ok"
