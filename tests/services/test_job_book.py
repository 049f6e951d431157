"""A job file goes into the book and comes out of it as the same job."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from backprobe.errors import ValueOutOfRange
from backprobe.job import Connector, Job, Terminal, parse_job, read_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import JobHead
from tests.job.job_strategies import jobs

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def book(store: Store) -> JobBook:
    return JobBook(store)


# One store serves all examples: each is a job of its own in it.
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(job=jobs())
def test_a_job_comes_back_as_it_went_in(book: JobBook, job: Job) -> None:
    _, sheet = book.take_in(job)
    found, text = book.job_file(sheet)
    assert found == job
    assert parse_job(text, "exported") == job


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_an_example_comes_back_as_it_went_in(book: JobBook, path: Path) -> None:
    job = read_job(path)
    _, sheet = book.take_in(job)
    assert book.job_file(sheet)[0] == job


def test_a_second_connector_joins_a_job(book: JobBook) -> None:
    first, second = (read_job(EXAMPLES / f"{n}.toml") for n in ("half-a-sheet", "painted-bracket"))
    key, _ = book.take_in(first)
    assert book.take_in(second, into=key)[0] == key
    record = book.job(key)
    assert [each.connector for each in record.sheets] == [first.connector, second.connector]
    assert record.head.title == first.title


def test_nothing_of_a_job_that_could_not_be_a_file_is_taken_in(book: JobBook) -> None:
    twice = Connector("sensor", terminals=(Terminal("1"), Terminal("1")))
    with pytest.raises(ValueOutOfRange):
        book.take_in(Job("job", twice))
    assert book.listed() == ([], 0)


def test_a_head_is_stored_as_its_file_would_give_it_back(book: JobBook) -> None:
    key = book.begin(JobHead("  Hesitates  ", meter_name=" the yellow one "))
    head = book.job(key).head
    assert (head.title, head.meter_name) == ("Hesitates", "the yellow one")
    with pytest.raises(ValueOutOfRange):
        book.begin(JobHead("   "))
