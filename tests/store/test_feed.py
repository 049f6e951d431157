"""Changes of jobs for whoever follows along."""

from pathlib import Path

import pytest

from backprobe.errors import NotFoundError
from backprobe.store.engine import Store
from backprobe.store.events import job_row, log
from backprobe.store.feed import events_after, news_after, position
from backprobe.store.jobs import new_job
from backprobe.store.record import JobHead
from backprobe.store.upgrade import upgrade


def test_changes_are_told_by_job_in_order(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(store)
    with store.write() as session:
        mine, other = (new_job(session, JobHead(title)) for title in ("Mine", "Other"))
        numbers = [job_row(session, key).id for key in (mine, other)]
    for number in (0, 1, 0):
        with store.write() as session:
            log(session, numbers[number], "noted", "bench", number=number)
    number, newest = position(store, mine)
    assert number == numbers[0]
    found = events_after(store, number, 0)
    assert [event.id for event in found] == sorted(event.id for event in found)
    assert found[-1].id == newest
    assert [event.kind for event in found[-2:]] == ["noted", "noted"]
    assert (dict(found[-1].details), found[-1].device) == ({"number": 0}, "bench")
    assert events_after(store, number, newest) == ()
    assert events_after(store, number, found[-2].id) == found[-1:]
    with pytest.raises(NotFoundError):
        position(store, "nobody")
    store.close()


def test_news_are_told_of_all_jobs_at_once(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "jobs.sqlite3"))
    upgrade(store)
    assert news_after(store, None) == (0, ())
    with store.write() as session:
        mine, other = (
            job_row(session, new_job(session, JobHead(title))).id for title in ("Mine", "Other")
        )
    before, found = news_after(store, None)
    assert (before, found) == (2, ())
    for job in (mine, other, mine):
        with store.write() as session:
            log(session, job, "noted", "bench", job=job)
    newest, found = news_after(store, before)
    assert [job for job, _ in found] == [mine, other, mine]
    assert [event.details["job"] for _, event in found] == [mine, other, mine]
    assert [event.id for _, event in found] == [3, 4, 5]
    assert newest == 5
    assert news_after(store, newest) == (newest, ())
    assert news_after(store, 100) == (newest, ())
    store.close()
