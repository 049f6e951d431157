"""Which sheet is answered next: at a glance as soon as there is news, then closer, then wholly.

Threads take from it. Some have what is new glanced at; one goes into it and, after a while without
news, has the sheet searched from the start. A sheet that changes again before its turn is taken
once.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Final, TypeVar

from backprobe.services.depth import Depth

QUIET: Final = 4.0  # s without news after which a sheet is searched from the start
REST: Final = 1.0  # s without news of any sheet before that: many at work are answered first
MOST_DELAY: Final = 300.0  # s that the others may put it off

Taken = TypeVar("Taken")


class Agenda:
    """The sheets that wait for an answer; may be used by any thread."""

    def __init__(self) -> None:
        self._news: dict[str, None] = {}  # to be glanced at, oldest first
        self._closer: dict[str, Depth] = {}  # to be gone into, oldest first
        self._later: dict[str, float] = {}  # to be searched from the start, and when
        self._glances: list[str] = []  # sheets that are glanced at
        self._searches: list[str] = []  # and that are gone into
        self._news_at = 0.0  # when the last sheet with news was gone into
        self._changed = threading.Condition()
        self.is_open = True

    def close(self) -> None:
        """Give out nothing more."""
        with self._changed:
            self.is_open = False
            self._changed.notify_all()

    def put_news(self, sheet: str) -> None:
        """Have a sheet answered as it stands now."""
        with self._changed:
            self._news.setdefault(sheet)
            self._later.pop(sheet, None)
            self._changed.notify_all()

    def put_closer(self, sheet: str, depth: Depth) -> None:
        """Have a sheet gone into, without a glance before."""
        with self._changed:
            if self._closer.get(sheet) is not Depth.WHOLE:
                self._closer[sheet] = depth
            self._changed.notify_all()

    def put_later(self, sheet: str) -> None:
        """Have a sheet searched from the start once it is quiet, unless it is awaited anyway."""
        with self._changed:
            if not self._is_awaited(sheet):
                self._later.setdefault(sheet, time.monotonic() + QUIET)
                self._changed.notify_all()

    def is_awaited(self, sheet: str) -> bool:
        """Whether a newer answer of a sheet is on its way."""
        with self._changed:
            return self._is_awaited(sheet)

    def wait_for(self, sheet: str, seconds: float) -> None:
        """Wait until a sheet is awaited no more, or for some time."""
        with self._changed:
            self._changed.wait_for(lambda: not self._is_awaited(sheet), seconds)

    def take_news(self, least_busy: int = 0) -> str | None:
        """Wait for the next sheet to glance at; None when closed.

        Taken only where at least so many others are being glanced at.
        """
        return self._take(lambda: self._next_news(least_busy))

    def see_news(self, least_busy: int) -> str | None:
        """Wait as `take_news` does, but leave the sheet to others."""
        return self._take(lambda: (self._waiting_news(least_busy), None))

    def take_closer(self) -> tuple[str, Depth] | None:
        """Wait for the next sheet to go into, and how far; None when closed."""
        return self._take(self._next_closer)

    def glanced_at(self, sheet: str) -> None:
        """A sheet that was taken was glanced at; it is gone into next."""
        with self._changed:
            self._glances.remove(sheet)
            self._closer.setdefault(sheet, Depth.QUICK)
            self._changed.notify_all()

    def gone_into(self, sheet: str, depth: Depth, *, answered: bool) -> None:
        """A sheet that was taken was gone into; a whole search follows an answer of any other."""
        with self._changed:
            self._searches.remove(sheet)
            if depth is not Depth.WHOLE:
                self._news_at = time.monotonic()
                if answered and not self._is_awaited(sheet):
                    self._later[sheet] = time.monotonic() + QUIET
            self._changed.notify_all()

    def _is_awaited(self, sheet: str) -> bool:
        return any(
            sheet in waiting
            for waiting in (self._news, self._closer, self._glances, self._searches)
        )

    def _take(self, find: Callable[[], tuple[Taken | None, float | None]]) -> Taken | None:
        with self._changed:
            while self.is_open:
                found, wait = find()
                if found is not None:
                    return found
                self._changed.wait(wait)
        return None

    def _next_news(self, least_busy: int) -> tuple[str | None, float | None]:
        sheet = self._waiting_news(least_busy)
        if sheet is not None:
            del self._news[sheet]
            self._glances.append(sheet)
            self._changed.notify_all()  # a second one may be wanted now
        return sheet, None

    def _waiting_news(self, least_busy: int) -> str | None:
        return next(iter(self._news), None) if len(self._glances) >= least_busy else None

    def _next_closer(self) -> tuple[tuple[str, Depth] | None, float | None]:
        """The next sheet and how far to go, or how long to wait for one, s (None: for news)."""
        if self._closer:
            sheet = next(iter(self._closer))
            self._searches.append(sheet)
            return (sheet, self._closer.pop(sheet)), None
        if not self._later:
            return None, None
        due = min(self._later, key=lambda k: self._later[k])
        rested = max(self._later[due], self._news_at + REST)
        wait = min(rested, self._later[due] + MOST_DELAY) - time.monotonic()
        if wait > 0:
            return None, wait
        del self._later[due]
        self._searches.append(due)
        return (due, Depth.WHOLE), None
