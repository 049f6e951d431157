"""What was measured, beside what was asked for."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import perf_counter

from rich.console import Console
from rich.table import Table


@dataclass(frozen=True)
class Measured:
    """One value of the report.

    ``most`` or ``least`` is the target; a value without one is there for information.
    """

    what: str
    value: float
    unit: str
    most: float | None = None
    least: float | None = None

    @property
    def target(self) -> str:
        """The target in words; empty where there is none."""
        if self.most is not None:
            return f"at most {self.most:g} {self.unit}"
        if self.least is not None:
            return f"at least {self.least:g} {self.unit}"
        return ""

    @property
    def is_met(self) -> bool:
        """Whether the target holds; a value that could not be measured (NaN) meets none."""
        if self.most is not None:
            return self.value <= self.most
        if self.least is not None:
            return self.value >= self.least
        return True


def least_seconds(task: Callable[[], object], repeats: int) -> float:
    """Least duration of a task done again and again, s: the one that least else disturbed."""
    durations = []
    for _ in range(repeats):
        start = perf_counter()
        task()
        durations.append(perf_counter() - start)
    return min(durations)


def median(values: Sequence[float]) -> float:
    """Middle value (lower middle of an even number)."""
    return percentile(values, 50.0)


def percentile(values: Sequence[float], share: float) -> float:
    """Smallest value that at least ``share`` percent of the values do not exceed (nearest rank)."""
    ordered = sorted(values)
    return ordered[max(math.ceil(share / 100.0 * len(ordered)), 1) - 1]


def show(title: str, rows: Sequence[Measured]) -> None:
    """Print a part of the report."""
    table = Table(title=title, title_justify="left", title_style="bold")
    table.add_column("what")
    table.add_column("measured", justify="right")
    table.add_column("target", justify="right")
    table.add_column("")
    for row in rows:
        shown = (
            f"{row.value:,.3g} {row.unit}" if row.value < 1000 else f"{row.value:,.0f} {row.unit}"
        )
        verdict = "" if not row.target else "met" if row.is_met else "MISSED"
        table.add_row(row.what, shown, row.target, verdict)
    Console().print(table)
