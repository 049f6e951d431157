"""Several who wait for the one writer are written together, in one durable transaction.

Making a change durable takes the disk longer than the change itself, and fifty may wait. The first
of them who gets the turn writes for all who wait then; each is told only after the commit.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from threading import Lock
from typing import Generic, TypeVar

from sqlalchemy.orm import Session

from backprobe.errors import StoreError
from backprobe.store.engine import Store

T = TypeVar("T")


class _Wish(Generic[T]):
    """What somebody wants written, and what became of it."""

    def __init__(self, work: Callable[[Session], T]) -> None:
        self.work = work
        self.is_done = False  # its transaction has ended, well or not
        self.error: Exception | None = None
        self.result: T

    def outcome(self) -> T:
        if self.error is not None:
            raise self.error
        return self.result


class SharedWriting:
    """Takes what is to be written from many threads.

    Parameters
    ----------
    store : Store
        Where it is written.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self._turn = Lock()
        self._waiting: deque[_Wish[object]] = deque()

    def write(self, work: Callable[[Session], T]) -> T:
        """Do some work in a transaction that it may share with others; returns when it is durable.

        Parameters
        ----------
        work : callable
            Takes a session. Where one of those who share a transaction fails, nothing of it stays
            and each is done again by itself: it must do nothing beside its statements.
        """
        wish = _Wish(work)
        self._waiting.append(wish)  # type: ignore[arg-type]  # taken out with the same type
        with self._turn:
            if not wish.is_done:
                self._write_all_that_wait(wish)  # type: ignore[arg-type]  # as above
        return wish.outcome()

    def _write_all_that_wait(self, own: _Wish[object]) -> None:
        group = [self._waiting.popleft() for _ in range(len(self._waiting))]
        if own not in group:  # whoever wrote for it was interrupted
            group.append(own)
        if not self._is_written(group):
            for each in group:
                self._is_written([each])

    def _is_written(self, group: Sequence[_Wish[object]]) -> bool:
        """Write some together; False where each has to be tried by itself."""
        try:
            with self.store.write() as session:
                for each in group:
                    each.result = each.work(session)
        except Exception as error:  # noqa: BLE001  # told to whom it concerns, whatever it is
            # A store in trouble is so for all.
            if len(group) > 1 and not isinstance(error, StoreError):
                return False
            for each in group:
                each.error = error
        for each in group:
            each.is_done = True
        return True
