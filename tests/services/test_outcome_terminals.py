"""Terminals of an outcome: which connector's, where several have one of that name."""

import pytest

from backprobe.errors import ValueOutOfRange
from backprobe.job import Connector, Terminal
from backprobe.services.job_book import JobBook
from backprobe.services.outcome_terminals import plain_terminals, sheet_meant, told_terminals
from backprobe.store.engine import Store
from backprobe.store.record import JobHead, JobRecord

FAULT = "open:sensor-ground"


def connector(name: str, pins: str) -> Connector:
    return Connector(name, terminals=tuple(Terminal(pin) for pin in pins.split()))


@pytest.fixture
def book(store: Store) -> JobBook:
    return JobBook(store)


@pytest.fixture
def job(book: JobBook) -> str:
    """Two connectors: both have terminals 1 and 2, one alone has A and one alone 4."""
    key = book.begin(JobHead("job"))
    book.add_sheet(key, connector("pedal", "1 2 A"))
    book.add_sheet(key, connector("throttle", "1 2 4"))
    return key


def kept(book: JobBook, job: str, *terminals: str) -> tuple[JobRecord, tuple[str, ...]]:
    book.conclude(job, fault=FAULT, terminals=terminals)
    record = book.job(job)
    assert record.outcome is not None
    return record, record.outcome.terminals


def test_one_that_is_clear_is_named_by_its_pin(book: JobBook, job: str) -> None:
    record, found = kept(book, job, "4", "A", "4")
    pedal, throttle = record.sheets
    assert found == (f"{throttle.key}/4", f"{pedal.key}/A")
    assert plain_terminals(record, found) == ("4", "A")
    assert told_terminals(record, found) == ("4", "A")
    assert sheet_meant(record, found) == throttle


def test_one_that_is_not_clear_is_asked_back_and_told_apart(book: JobBook, job: str) -> None:
    with pytest.raises(ValueOutOfRange, match="Several connectors") as caught:
        book.conclude(job, fault=FAULT, terminals=["1"])
    pedal, throttle = book.job(job).sheets
    assert f"{pedal.key}/1 or {throttle.key}/1" in caught.value.remedy
    record, found = kept(book, job, f"{throttle.key}/1")
    assert found == plain_terminals(record, found) == (f"{throttle.key}/1",)
    assert told_terminals(record, found) == ("1 of throttle",)


def test_a_connector_that_comes_later_changes_nothing_of_what_was_meant(
    book: JobBook, job: str
) -> None:
    kept(book, job, "4")
    book.add_sheet(job, connector("coolant", "4 5"))
    record = book.job(job)
    assert record.outcome is not None
    assert told_terminals(record, record.outcome.terminals) == ("4 of throttle",)


def test_what_an_older_version_wrote_stays_readable(book: JobBook, job: str) -> None:
    record = book.job(job)
    assert told_terminals(record, ["1", "9"]) == plain_terminals(record, ["1", "9"]) == ("1", "9")
    assert sheet_meant(record, ["1"]) is None


@pytest.mark.parametrize("wrong", ["9", "", "0123456789abcdef/1"])
def test_one_that_is_not_there_is_refused(book: JobBook, job: str, wrong: str) -> None:
    with pytest.raises(ValueOutOfRange, match="No connector"):
        book.conclude(job, fault=FAULT, terminals=[wrong])
    assert book.job(job).outcome is None
