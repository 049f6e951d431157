"""A progress bar on the error stream while circuits are solved for the first time."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import Final

from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

from backprobe.cli.terminal import error_console

DONE: Final = 1.0


class BankProgress:
    """Shows what the service reports; stays silent when the error stream is not a terminal."""

    def __init__(self) -> None:
        self._bar: Progress | None = None
        self._task: TaskID | None = None
        self._is_shown = sys.stderr.isatty()

    def __enter__(self) -> BankProgress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.clear()

    def __call__(self, what: str, share: float) -> None:
        """Take a report: what is being done and which share of it (0 to 1) is."""
        if not self._is_shown:
            return
        if self._bar is None:
            columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
            self._bar = Progress(*columns, console=error_console(), transient=True)
            self._bar.start()
            self._task = self._bar.add_task(what, total=DONE)
        if self._task is not None:
            self._bar.update(self._task, description=what, completed=min(share, DONE))

    def clear(self) -> None:
        """Take the bar away before something else is printed."""
        if self._bar is not None:
            self._bar.stop()
        self._bar = self._task = None
