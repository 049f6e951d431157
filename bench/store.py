"""The store with a workshop's years in it: twenty thousand jobs with a million readings."""

import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from time import perf_counter
from typing import Any

from sqlalchemy import Connection, insert

from backprobe.job import Connector, Round, Terminal
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import JobHead
from backprobe.store.schema import (
    CodeRow,
    IndicationRow,
    JobRow,
    RoundRow,
    SheetRow,
    TerminalRow,
)
from backprobe.store.upgrade import upgrade
from bench.report import Measured, least_seconds, median

N_JOB = 20_000
N_READING = 50  # a job
N_ROUND = 5
PINS = ("1", "2", "3", "4")
CELLS = [
    *((quantity, pin) for quantity in ("volts", "volts_loaded") for pin in PINS),
    *(("battery_volts", ""), ("black_lead_check", "")),
]  # of a round: ten
N_ENTRY = 300
N_REPEAT = 5
MOST_MS = 100.0
START = datetime(2020, 1, 1, tzinfo=UTC)
PARTS = ("intake", "coolant", "throttle", "pedal", "rail", "knock", "camshaft", "lambda")
SIGNS = ("hesitates", "stalls", "surges", "no start", "rough idle", "lamp on", "low power")


def job_rows(numbers: range) -> Iterator[dict[str, Any]]:
    """Jobs of invented vehicles."""
    for n in numbers:
        part, sign = PARTS[n % len(PARTS)], SIGNS[n % len(SIGNS)]
        title, code = f"{part} sensor, {sign}", f"P0{n % 900 + 100}"
        yield {
            "id": n,
            "key": f"job{n:08}",
            "title": title,
            "vehicle": f"hatchback number {n}",
            "meter_counts": 4000,
            "meter_dc_volts": "0.5 % + 2 digits",
            "meter_ac_volts": "1 % + 5 digits",
            "meter_ohms": "0.8 % + 3 digits",
            "meter_hertz": "0.1 % + 1 digit",
            "meter_input_ohm": 10e6,
            "created_at": START + timedelta(minutes=n),
            "changed_at": START + timedelta(minutes=n),
            "closed_at": START + timedelta(minutes=n + 60) if n % 50 else None,
            "search_text": f"{title} hatchback number {n} {code.casefold()} gearbox connector",
        }


def rows_of(n: int) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rounds of a job's one sheet, and their readings."""
    instant = START + timedelta(minutes=n)
    rounds, readings = [], []
    for r in range(N_ROUND):
        number = (n - 1) * N_ROUND + r + 1
        rounds.append(
            {
                "id": number,
                "key": f"round{number:08}",
                "sheet_id": n,
                "position": r,
                "name": "ABCDE"[r],
                "plugged": False,
                "ignition": "on",
                "speed_rpm": 0.0,
                "action": "",
                "black_lead": "battery negative",
                "load_ohm": 1000.0,
                "fitted": [],
                "begun_at": instant,
            }
        )
        readings += [
            {
                "entry_key": f"{number}-{c}",
                "round_id": number,
                "quantity": quantity,
                "place": place,
                "value": 5.0,
                "written": "5.00",
                "entered_at": instant,
            }
            for c, (quantity, place) in enumerate(CELLS)
        ]
    return rounds, readings


def fill(connection: Connection, n_job: int = N_JOB) -> None:
    """Put all jobs in, a thousand at a time."""
    for first in range(1, n_job + 1, 1000):
        numbers = range(first, min(first + 1000, n_job + 1))
        connection.execute(insert(JobRow), list(job_rows(numbers)))
        codes = [
            {"job_id": n, "position": 0, "code": f"P0{n % 900 + 100}", "status": "stored"}
            | {"freeze_frame": {}}
            for n in numbers
        ]
        connection.execute(insert(CodeRow), codes)
        sheets = [
            {"id": n, "key": f"sheet{n:08}", "job_id": n, "position": 0, "name": "gearbox"}
            | {"kind": "unknown"}
            for n in numbers
        ]
        connection.execute(insert(SheetRow), sheets)
        pins = [
            {"sheet_id": n, "position": p, "pin": pin}
            for n in numbers
            for p, pin in enumerate(PINS)
        ]
        connection.execute(insert(TerminalRow), pins)
        both = [rows_of(n) for n in numbers]
        connection.execute(insert(RoundRow), [row for rounds, _ in both for row in rounds])
        connection.execute(insert(IndicationRow), [row for _, some in both for row in some])


def entry_seconds(book: JobBook) -> float:
    """Median duration of one reading, checked and durable, in sheets of usual size, s."""
    connector = Connector("bench", terminals=tuple(map(Terminal, PINS)))
    durations: list[float] = []
    while len(durations) < N_ENTRY:
        sheet = book.add_sheet(book.begin(JobHead("bench")), connector)
        for _ in range(N_ROUND):
            key = book.add_round(sheet, Round("", plugged=False, key="on"))
            for pin in PINS:
                entry_key = f"bench{len(durations)}"
                start = perf_counter()
                book.enter(key, ("volts", pin), "5.01", entry_key=entry_key)
                durations.append(perf_counter() - start)
    return median(durations)


def bare_seconds(path: Path) -> float:
    """Median duration of one row put into SQLite by itself, as durably, s."""
    durations: list[float] = []
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("pragma journal_mode = wal")
        connection.execute("pragma synchronous = full")
        connection.execute("create table reading (id integer primary key, place text, value real)")
        for n in range(N_ENTRY):
            start = perf_counter()
            connection.execute("begin immediate")
            connection.execute("insert into reading (place, value) values (?, ?)", (str(n), 5.01))
            connection.execute("commit")
            durations.append(perf_counter() - start)
    return median(durations)


def measure() -> list[Measured]:
    """The rows of the report."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(str(Path(folder) / "jobs.sqlite3"))
        upgrade(store)
        start = perf_counter()
        with store.write() as session:
            fill(session.connection())
        filled = perf_counter() - start
        book = JobBook(store)
        rows = [
            Measured(f"{N_JOB:,} jobs, {N_JOB * N_READING:,} readings put in at once", filled, "s")
        ]
        asked: dict[str, Callable[[], object]] = {
            "list, first page": partial(book.listed),
            "list, last page": partial(book.listed, offset=N_JOB - 50),
            "list, open jobs": partial(book.listed, is_open=True),
            "search, two words in many jobs": partial(book.listed, "coolant stalls"),
            "search, one job": partial(book.listed, f"number {N_JOB - 7}"),
            "search, in no job": partial(book.listed, "nowhere"),
            "open one job": partial(book.job, f"job{N_JOB // 2:08}"),
        }
        for what, task in asked.items():
            rows.append(Measured(what, 1e3 * least_seconds(task, N_REPEAT), "ms", most=MOST_MS))
        entry, bare = entry_seconds(book), bare_seconds(Path(folder) / "bare.sqlite3")
        store.close()
    return [
        *rows,
        Measured("one reading entered: checked, logged, durable", 1e3 * entry, "ms"),
        Measured("one bare row in SQLite, as durable", 1e3 * bare, "ms"),
        Measured("times the bare row", entry / bare, "x"),
    ]
