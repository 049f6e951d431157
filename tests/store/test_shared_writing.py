"""Several who wait are written together; what one does wrong touches no other."""

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

import pytest
from sqlalchemy import Connection, event
from sqlalchemy.orm import Session

from backprobe.errors import StoreError
from backprobe.store.engine import Store
from backprobe.store.jobs import list_jobs, new_job
from backprobe.store.record import JobHead
from backprobe.store.shared_writing import SharedWriting

PATIENCE = 20.0  # s


def begin(title: str) -> Callable[[Session], str]:
    return lambda session: new_job(session, JobHead(title))


def fail(session: Session) -> str:
    """Write something, then go wrong."""
    new_job(session, JobHead("half done"))
    raise ValueError("a mistake of its own")


def titles(store: Store) -> list[str]:
    with store.read() as session:
        return sorted(line.title for line in list_jobs(session))


class Group:
    """Works that wait together: the first one holds the turn until all others are there."""

    def __init__(self, store: Store) -> None:
        self.writing = SharedWriting(store)
        self.n_commit = 0
        self.is_full = False  # for all but the first
        self.is_held, self.may_go = threading.Event(), threading.Event()
        event.listen(store.engine, "commit", self._count)

    def _count(self, connection: Connection) -> None:
        if not connection.get_execution_options().get("only_reads"):
            self.n_commit += 1
            if self.is_full and self.n_commit > 1:
                raise StoreError("The disk is full: nothing was stored.")

    def _hold(self, session: Session) -> str:
        self.is_held.set()
        assert self.may_go.wait(PATIENCE)
        return new_job(session, JobHead("first"))

    def write(self, works: list[Callable[[Session], str]]) -> list[Future[str]]:
        with ThreadPoolExecutor(len(works) + 1) as pool:
            first = pool.submit(self.writing.write, self._hold)
            assert self.is_held.wait(PATIENCE)
            found = [pool.submit(self.writing.write, work) for work in works]
            while len(self.writing._waiting) < len(works):  # what the test is about
                threading.Event().wait(0.001)
            self.may_go.set()
        first.result()
        return found


def test_those_who_wait_share_one_commit(store: Store) -> None:
    group = Group(store)
    keys = {each.result() for each in group.write([begin(f"{n:02d}") for n in range(20)])}
    assert len(keys) == 20
    assert titles(store) == [*(f"{n:02d}" for n in range(20)), "first"]
    assert group.n_commit == 2


def test_a_mistake_of_one_leaves_the_others_alone(store: Store) -> None:
    group = Group(store)
    works = [begin("before"), fail, begin("after"), fail]
    before, wrong, after, wrong_too = group.write(works)
    assert before.result() != after.result()
    for each in (wrong, wrong_too):
        with pytest.raises(ValueError, match="of its own"):
            each.result()
    assert titles(store) == ["after", "before", "first"]


def test_a_store_in_trouble_is_told_to_all(store: Store) -> None:
    """Nobody is told that it is kept, and nobody tries the same for each."""
    group = Group(store)
    group.is_full = True
    for each in group.write([begin("one"), begin("two"), begin("three")]):
        with pytest.raises(StoreError, match="disk is full"):
            each.result()
    assert group.n_commit == 2
    assert titles(store) == ["first"]
    group.is_full = False
    assert group.writing.write(begin("again"))
    assert titles(store) == ["again", "first"]


def test_who_is_interrupted_leaves_the_others_their_turn(store: Store) -> None:
    """What was told as kept is there, and nothing else, whoever wrote for all."""

    def interrupted(_session: Session) -> str:
        raise KeyboardInterrupt

    group = Group(store)
    names = [f"{n}" for n in range(6)]
    found = group.write([*(begin(name) for name in names), interrupted])
    kept = [name for name, each in zip(names, found, strict=False) if each.exception() is None]
    assert len(kept) >= 5
    assert titles(store) == [*kept, "first"]


def test_one_alone_writes_at_once(store: Store) -> None:
    writing = SharedWriting(store)
    assert writing.write(begin("one"))
    with pytest.raises(ValueError, match="of its own"):
        writing.write(fail)
    assert titles(store) == ["one"]
