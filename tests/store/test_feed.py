"""Changes are numbered in the order in which they happened, each job's apart."""

from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.feed import events_after, newest_of_jobs, position
from backprobe.store.record import JobHead


def test_changes_are_followed_from_where_one_stands(store: Store) -> None:
    book = JobBook(store)
    one, other = book.begin(JobHead("one")), book.begin(JobHead("other"))
    row, number = position(store, one)
    other_row, other_number = position(store, other)
    assert events_after(store, row, number) == ()
    book.close(one, device="phone")
    book.reopen(other)  # is open: nothing happens
    (event,) = events_after(store, row, number)
    assert (event.kind, event.device) == ("closed", "phone")
    assert event.id > other_number > number
    assert newest_of_jobs(store, [row, other_row]) == {row: event.id, other_row: other_number}
    assert newest_of_jobs(store, []) == {}
