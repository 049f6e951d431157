"""Fifty people entering readings at once, each listening to what becomes of them."""

import json
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from urllib.request import Request, urlopen

import numpy as np

from backprobe.job import read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from bench.report import Measured

EXAMPLE = Path(__file__).parents[1] / "examples" / "half-a-sheet.toml"
N_CLIENT = 50
SECONDS = 30.0
PAUSE = 1.0  # s between two readings of one person
MOST_MS = 150.0
N_FLAT_OUT = 300


class Person:
    """Enters readings into a job of their own, and hears of their answers."""

    def __init__(self, url: str, job: str, round_key: str) -> None:
        self.url, self.job, self.round_key = url, job, round_key
        self.acknowledged: list[float] = []
        self.answered: list[float] = []
        self.last = 0.0
        self.is_over = False

    def enter(self, number: int) -> None:
        """Enter one reading and note how long its acknowledgement took."""
        body = {"quantity": "volts", "place": "1", "written": f"{5 + number % 7 / 100:.2f} V"}
        begun = time.perf_counter()
        post(f"{self.url}/api/rounds/{self.round_key}/entries", body)
        self.acknowledged.append(time.perf_counter() - begun)
        if not self.last:
            self.last = begun

    def work(self) -> None:
        """Enter at this person's own pace."""
        until = time.perf_counter() + SECONDS
        number = 0
        while time.perf_counter() < until:
            self.enter(number)
            number += 1
            time.sleep(PAUSE)

    def listen(self) -> None:
        """Follow the job; an answer ends the wait for the oldest reading without one."""
        with urlopen(Request(f"{self.url}/api/jobs/{self.job}/events"), timeout=90) as stream:  # noqa: S310  # our own server
            for line in stream:
                if self.is_over:
                    return
                if line.startswith(b"data:") and json.loads(line[5:])["kind"] == "answer":
                    if self.last:
                        self.answered.append(time.perf_counter() - self.last)
                    self.last = 0.0


def post(url: str, body: Mapping[str, object]) -> None:
    """Send one request of a program to our own server."""
    request = Request(  # noqa: S310  # as above
        url,
        data=json.dumps(body).encode(),
        headers={"Content-Type": "application/json", "X-Backprobe": "1"},
    )
    with urlopen(request, timeout=60) as answer:  # noqa: S310  # as above
        answer.read()


def measure() -> list[Measured]:
    """Serve a scratch store, let fifty people work, then one flat out."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "jobs.sqlite3"
        store = Store(str(file))
        upgrade(store)
        book = JobBook(store)
        taken = [book.take_in(read_job(EXAMPLE)) for _ in range(N_CLIENT)]
        rounds = [book.sheet(sheet)[2].rounds[0].key for _, sheet in taken]
        store.close()
        with closing(socket.create_server(("127.0.0.1", 0))) as free:
            port = free.getsockname()[1]
        command = [sys.executable, "-m", "backprobe", "serve", "--port", str(port)]
        process = subprocess.Popen(
            [*command, "--database", str(file)], stdout=subprocess.PIPE, text=True
        )
        try:
            if process.stdout is not None:
                process.stdout.readline()  # it answers from here on
            url = f"http://127.0.0.1:{port}"
            people = [Person(url, job, key) for (job, _), key in zip(taken, rounds, strict=True)]
            return [*_together(people), *_flat_out(people[0])]
        finally:
            process.terminate()
            process.wait(20)


def _together(people: list[Person]) -> list[Measured]:
    people[0].enter(0)  # the answering process starts with the first reading
    time.sleep(5.0)
    people[0].acknowledged.clear()
    listeners = [threading.Thread(target=p.listen, daemon=True) for p in people]
    workers = [threading.Thread(target=p.work) for p in people]
    for each in (*listeners, *workers):
        each.start()
    for each in workers:
        each.join()
    for person in people:
        person.is_over = True
    acknowledged = np.array([s for p in people for s in p.acknowledged])
    answered = np.array([s for p in people for s in p.answered] or [np.nan])
    half, most = (float(1e3 * np.quantile(acknowledged, q)) for q in (0.5, 0.95))
    return [
        Measured(f"{N_CLIENT} people: reading acknowledged, half within", half, "ms"),
        Measured(f"{N_CLIENT} people: reading acknowledged, 95 % within", most, "ms", most=MOST_MS),
        Measured("readings a second, all together", acknowledged.size / SECONDS, "1/s"),
        Measured("oldest reading to its answer, half within", float(np.median(answered)), "s"),
        Measured("answers a second", answered.size / SECONDS, "1/s"),
    ]


def _flat_out(person: Person) -> list[Measured]:
    begun = time.perf_counter()
    for number in range(N_FLAT_OUT):
        person.enter(number)
    rate = N_FLAT_OUT / (time.perf_counter() - begun)
    return [Measured("one client flat out, readings a second", rate, "1/s")]
