"""A log in words: its series, when states held, what is suspicious, values there."""

from __future__ import annotations

import math

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.cli.layout import hanging, heading
from backprobe.recordings.log import Log
from backprobe.services.log_review import LogReview, ReviewedSeries
from backprobe.services.log_states import RULES
from backprobe.services.log_values import LoggedValue, scan_values


def log_page(review: LogReview) -> RenderableType:
    """Show all that a look over a log found."""
    parts: list[RenderableType] = [_series_table(review.series)]
    if review.suspicions:
        parts.append(heading("May not be what a sensor measured"))
        for one in review.suspicions:
            span = f"From {one.start:.1f} s to {one.end:.1f} s."
            parts.append(hanging("!", f"{one.what} {one.doubt} {span} {one.sureness.title()}."))
    if review.states:
        parts.append(heading("States held"))
        words = {rule.name: rule.words for rule in RULES}
        for name in dict.fromkeys(state.state for state in review.states):
            spans = [
                f"{state.start:.1f} to {state.end:.1f} s"
                for state in review.states
                if state.state == name
            ]
            shown = ", ".join(spans[:8]) + (f" and {len(spans) - 8} more" if spans[8:] else "")
            parts.append(hanging("-", f"{name}: {shown}. Rule: {words[name]}."))
    if review.remarks:
        parts.append(heading("Remarks"))
        parts += [hanging("-", remark) for remark in review.remarks]
    return Group(*parts)


def values_page(log: Log, values: tuple[LoggedValue, ...]) -> RenderableType:
    """Show values at an instant or over a span."""
    table = _table("series", "quantity", "value", "lowest", "highest", "sd", "n", "unit")
    for one in values:
        digits = _digits(one)
        spread = "" if math.isnan(one.deviation) else f"{one.deviation:.2g}"
        table.add_row(
            Text(one.name),
            one.quantity,
            f"{one.mean:.{digits}f}",
            f"{one.low:.{digits}f}",
            f"{one.high:.{digits}f}",
            spread,
            str(one.n_value),
            _unit(one.unit),
        )
    parts: list[RenderableType] = [table]
    scan = scan_values(values)
    if scan:
        parts.append(heading("For a round of a job file"))
        parts += [Text(f'scan."{name}" = "{written}"') for name, written in scan.items()]
    if not values:
        parts.append(Text(f"{log.source} has no value there."))
    return Group(*parts)


def _series_table(series: tuple[ReviewedSeries, ...]) -> Table:
    table = _table("series", "quantity", "unit", "n", "interval", "gaps", "lowest", "highest")
    for one in series:
        sampling = one.sampling
        table.add_row(
            Text(one.series.name),
            one.series.quantity or "-",
            _unit(one.series.unit),
            str(sampling.n_value),
            _interval(sampling.interval, sampling.interval_low, sampling.interval_high),
            str(sampling.n_gap) if sampling.n_gap else "",
            f"{one.low:.5g}",
            f"{one.high:.5g}",
        )
    return table


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    left = ("series", "quantity", "unit")
    for column in columns:
        table.add_column(
            column, justify="left" if column in left else "right", no_wrap=column not in left
        )
    return table


def _interval(median: float, low: float, high: float) -> str:
    if math.isnan(median):
        return ""
    if high - low <= 0.1 * median:
        return f"{median:.3g} s"
    return f"{median:.3g} s ({low:.3g} to {high:.3g})"


def _unit(unit: str) -> str:
    return unit.replace("deg", "°")


def _digits(one: LoggedValue) -> int:
    u = one.standard_uncertainty
    return 3 if u <= 0.0 else max(0, min(6, 1 - math.floor(math.log10(u))))
