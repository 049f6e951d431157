"""Fifty people entering readings at once, each listening to what becomes of them.

Three ways: at the pace of people at vehicles, each at their own time; one reading a second each,
which nobody keeps up; and the same with all fifty in the same instant, over and over.
"""

import json
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import numpy as np

from backprobe.job.job_file import parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from bench.jobs import ROUND, STEPS, job_text
from bench.report import Measured

N_CLIENT = 50
SETTLING = 5.0  # s for the answering process to start, and between two ways
MOST_MS = 150.0
N_FLAT_OUT = 300


# A pedal of six wires, read pin by pin in two rounds: steady, so its extremes are what it shows,
# and nothing alternates.
PINS = 6
CELLS = [
    (step.round, quantity, step.pin, "0.001 V" if quantity == "volts_ac" else f"{step.shown} V")
    for quantity in ("volts", "volts_low", "volts_high", "volts_ac")
    for step in STEPS[PINS]
]
EMPTY = job_text(PINS, 0) + "".join(
    f'[[round]]\nname = "{name}"\n{ROUND[name]}battery_volts = "12.58"\n' for name in ("A", "B")
)


@dataclass(frozen=True)
class Way:
    """How people enter: seconds between two readings of one, in step or not, for how long."""

    name: str
    pause: float
    in_step: bool
    seconds: float


WAYS = (
    Way("a reading in ten seconds each", 10.0, in_step=False, seconds=60.0),
    Way("a reading a second each", 1.0, in_step=False, seconds=30.0),
    Way("a reading a second, in step", 1.0, in_step=True, seconds=30.0),
)


class Person:
    """Enters readings into a job of their own, and hears of their answers."""

    def __init__(
        self, url: str, job: str, sheet: str, rounds: Mapping[str, str], number: int
    ) -> None:
        self.url, self.job, self.sheet, self.rounds = url, job, sheet, rounds
        self.n_entered = 0
        self.rng = np.random.default_rng(number)
        self.acknowledged: list[float] = []
        self.answered: list[float] = []
        self.last = 0.0
        self.is_over = False

    def enter(self) -> None:
        """Enter the next reading of the sheet and note how long its acknowledgement took."""
        name, quantity, pin, shown = CELLS[self.n_entered % len(CELLS)]
        self.n_entered += 1
        body = {"quantity": quantity, "place": pin, "written": shown}
        begun = time.perf_counter()
        self.last = self.last or begun
        post(f"{self.url}/api/rounds/{self.rounds[name]}/entries", body)
        self.acknowledged.append(time.perf_counter() - begun)

    def work(self, way: Way) -> None:
        """Enter for a while; not in step: from a time of one's own, with pauses that differ."""
        until = time.perf_counter() + way.seconds
        if not way.in_step:
            time.sleep(self.rng.uniform(0.0, way.pause))
        while time.perf_counter() < until:
            self.enter()
            time.sleep(way.pause * (1.0 if way.in_step else self.rng.uniform(0.5, 1.5)))

    def listen(self) -> None:
        """Follow the job and fetch its answers, as the page does.

        One to the sheet as it stands ends the wait for the oldest reading without one.
        """
        with urlopen(Request(f"{self.url}/api/jobs/{self.job}/events"), timeout=90) as stream:  # noqa: S310  # our own server
            for line in stream:
                if self.is_over:
                    return
                if line.startswith(b"data:") and json.loads(line[5:])["kind"] == "answer":
                    waited_since = self.last
                    is_current = fetch(f"{self.url}/api/sheets/{self.sheet}/answer")["is_current"]
                    if waited_since and is_current:
                        self.answered.append(time.perf_counter() - waited_since)
                        self.last = 0.0


def fetch(url: str) -> dict[str, Any]:
    """Get one JSON answer from our own server."""
    with urlopen(Request(url), timeout=60) as answer:  # noqa: S310  # as above
        found: dict[str, Any] = json.load(answer)
    return found


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
        empty = parse_job(EMPTY, "bench.toml")
        taken = [book.take_in(empty) for _ in range(N_CLIENT * len(WAYS))]
        rounds = [{r.round.name: r.key for r in book.sheet(sheet)[2].rounds} for _, sheet in taken]
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
            people = [
                Person(url, job, sheet, own, number)
                for number, ((job, sheet), own) in enumerate(zip(taken, rounds, strict=True))
            ]
            people[-1].enter()  # the answering process starts with the first reading
            people[-1].acknowledged.clear()
            people[-1].last = 0.0
            rows: list[Measured] = []
            for number, way in enumerate(WAYS):  # each with sheets of their own, empty at first
                crowd = people[number * N_CLIENT : (number + 1) * N_CLIENT]
                rows += _together(crowd, way, process.pid)
            return [*rows, *_flat_out(people[0])]
        finally:
            process.terminate()
            process.wait(20)


def _processor_time(pid: int) -> float:
    """Processor time that a process has taken, without those it started, s; NaN off Linux."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _together(people: list[Person], way: Way, server: int) -> list[Measured]:
    time.sleep(SETTLING)
    for person in people:
        threading.Thread(target=person.listen, daemon=True).start()
    before = _processor_time(server)
    workers = [threading.Thread(target=p.work, args=(way,)) for p in people]
    for each in workers:
        each.start()
    for each in workers:
        each.join()
    spent = _processor_time(server) - before
    for person in people:
        person.is_over = True
    acknowledged = np.array([s for p in people for s in p.acknowledged])
    answered = np.array([s for p in people for s in p.answered] or [np.nan])
    half, most = (float(1e3 * np.quantile(acknowledged, q)) for q in (0.5, 0.95))
    lag, longest = (float(1e3 * np.quantile(answered, q)) for q in (0.5, 0.95))
    who = f"{N_CLIENT} people, {way.name}"
    return [
        Measured(f"{who}: acknowledged, half within", half, "ms"),
        Measured(f"{who}: acknowledged, 95 % within", most, "ms", most=MOST_MS),
        Measured(
            f"{who}: processor time of the server for a reading and its answers",
            1e3 * spent / acknowledged.size,
            "ms",
        ),
        Measured(f"{who}: answer in hand, half within", lag, "ms"),
        Measured(f"{who}: answer in hand, 95 % within", longest, "ms", most=MOST_MS),
        Measured(f"{who}: readings a second", acknowledged.size / way.seconds, "1/s"),
        Measured(f"{who}: answers a second", answered.size / way.seconds, "1/s"),
    ]


def _flat_out(person: Person) -> list[Measured]:
    begun = time.perf_counter()
    for _ in range(N_FLAT_OUT):
        person.enter()
    rate = N_FLAT_OUT / (time.perf_counter() - begun)
    return [Measured("one client flat out, readings a second", rate, "1/s")]
