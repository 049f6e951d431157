"""Values of a log at an instant or over a span, ready to be a round's `scan`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from backprobe.errors import RecordingError
from backprobe.recordings.log import Log, LogSeries
from backprobe.services.log_sampling import GAP_FROM, sampling_of
from backprobe.standards.parameter_table import PARAMETERS
from backprobe.vocabulary import SCAN_NAMES

_SPELLED: Final = {"degC": "degC", "1/min": "rpm"}
# Step in which the standard's values are sent, by name [j1979]: half of it bounds the error.
_STEPS: Final[dict[str, float]] = {
    field.name: float(field.factor) for p in PARAMETERS.values() for field in p.fields
}


@dataclass(frozen=True, slots=True)
class LoggedValue:
    """A series at an instant or over a span.

    Parameters
    ----------
    name, quantity, unit : str
        As in the log.
    n_value : int
        Values in the span; at an instant 1.
    mean, low, high : float
        Over the span; at an instant all the same.
    deviation : float
        Sample standard deviation; NaN with fewer than two values.
    standard_uncertainty : float
        Of the mean: spread over the root of the number, and the step in which the value is sent.
    age : float
        At an instant: time since the value came, s; else NaN.
    """

    name: str
    quantity: str
    unit: str
    n_value: int
    mean: float
    low: float
    high: float
    deviation: float
    standard_uncertainty: float
    age: float


def values_at(log: Log, instant: float) -> tuple[LoggedValue, ...]:
    """Give each series' last value at or before an instant; those that paused then are left out.

    Raises
    ------
    RecordingError
        The instant is outside of the log.
    """
    _require_within(log, instant, instant)
    found = []
    for series in log.series:
        at = int(np.searchsorted(series.times, instant, side="right")) - 1
        if at < 0:
            continue
        age = instant - float(series.times[at])
        usual = sampling_of(series).interval
        if math.isfinite(usual) and age > GAP_FROM * usual:
            continue
        value = float(series.values[at])
        nan = math.nan
        u = _of_step(series)
        found.append(
            LoggedValue(
                series.name, series.quantity, series.unit, 1, value, value, value, nan, u, age
            )
        )
    return tuple(found)


def values_over(log: Log, start: float, end: float) -> tuple[LoggedValue, ...]:
    """Give each series' mean, lowest, highest value and spread over a span, its ends included.

    Raises
    ------
    RecordingError
        The span is empty or outside of the log.

    Notes
    -----
    The standard uncertainty of the mean is the deviation over the root of n [jcgm100, 4.2.3], with
    the step of sending as a rectangle [jcgm100, 4.3.7] added in squares. Neighbouring values of one
    engine aren't independent, so that it is rather too small.
    """
    if not start < end:
        raise RecordingError(
            f"From {start:g} s to {end:g} s is no span.", log.source, "Give the earlier one first."
        )
    _require_within(log, start, end)
    found = []
    for series in log.series:
        first = int(np.searchsorted(series.times, start, side="left"))
        last = int(np.searchsorted(series.times, end, side="right"))
        if first < last:
            found.append(_over(series, first, last))
    return tuple(found)


def scan_values(values: tuple[LoggedValue, ...]) -> Mapping[str, str]:
    """Write those that a job file knows as its `scan` values, as text with unit.

    Returns
    -------
    mapping
        Value by the job file's name, with as many digits as its uncertainty leaves: a value's last
        written digit is taken for its resolution there.
    """
    return {
        one.quantity: f"{_written(one)} {_SPELLED.get(one.unit, one.unit)}".rstrip()
        for one in values
        if one.quantity in SCAN_NAMES
    }


def _over(series: LogSeries, first: int, last: int) -> LoggedValue:
    v = series.values[first:last]
    n = last - first
    deviation = float(v.std(ddof=1)) if n > 1 else math.nan
    type_a = deviation / math.sqrt(n) if n > 1 else 0.0
    return LoggedValue(
        series.name,
        series.quantity,
        series.unit,
        n,
        float(v.mean()),
        float(v.min()),
        float(v.max()),
        deviation,
        math.hypot(type_a, _of_step(series)),
        math.nan,
    )


def _of_step(series: LogSeries) -> float:
    """Standard uncertainty from the step in which a value is sent, or in which it is written."""
    step = _STEPS.get(series.quantity)
    if step is None:
        steps = np.diff(np.unique(series.values[:10_000]))
        step = float(steps.min()) if steps.size else 0.0
    return step / math.sqrt(12.0)


def _written(one: LoggedValue) -> str:
    """Two digits of the uncertainty, at most six decimals."""
    u = one.standard_uncertainty
    decimals = 3 if u <= 0.0 else max(0, min(6, 1 - math.floor(math.log10(u))))
    return f"{one.mean:.{decimals}f}"


def _require_within(log: Log, start: float, end: float) -> None:
    first = min(float(one.times[0]) for one in log.series)
    last = max(float(one.times[-1]) for one in log.series)
    if end < first or start > last:
        raise RecordingError(
            f"The log has nothing at {start:g} s.",
            log.source,
            f"It goes from {first:g} s to {last:g} s.",
        )
