"""A log looked over: how often each value was asked, and values that the control unit made up.

A control unit that does not trust a signal reports or works with another value instead. Such a
value looks like a reading; what gives it away is said with its reason and how sure that is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.recordings.log import Log, LogSeries
from backprobe.services.log_sampling import Sampling, sampling_of
from backprobe.services.log_states import SPEED, HeldState, held_states

# Quantities that move whenever the engine's speed does (common practice, no source).
_MOVE_WITH_SPEED: Final = ("air mass flow", "manifold pressure", "calculated load", "absolute load")
_TEMPERATURES: Final = ("coolant temperature", "intake air temperature", "oil temperature")
# Lowest value of the standard's scale [j1979]: what an open thermistor circuit logs.
_OPEN: Final = -40.0
# Makers' limits for a shorted thermistor circuit lie between these (quoted in makers' texts).
_SHORTED: Final = (128.0, 216.0)
# Values that control units take in place of a temperature (common practice, no source).
_DEFAULT_TEMPERATURES: Final = (20.0, 25.0, 40.0, 60.0, 80.0)
_LOW_SHARE, _HIGH_SHARE = 0.02, 0.98  # of a supply of 5 V: an input at its end
_LIMITED: Final = {"throttle position": (0.0, 100.0), "pedal position": (0.0, 100.0)}
_SPEED_SPREAD: Final = 400.0  # 1/min; so much the engine has to move before stillness speaks
_FROZEN_FOR: Final = 5.0  # s
_FEWEST: Final = 8


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A series that may not show what a sensor measured.

    Parameters
    ----------
    series : str
        Its name.
    what : str
        What was seen, as a sentence.
    doubt : str
        What else it may be, as a sentence.
    sureness : str
        "likely" or "possible".
    start, end : float
        Span, s.
    """

    series: str
    what: str
    doubt: str
    sureness: str
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class ReviewedSeries:
    """A series with its sampling and its values' spread."""

    series: LogSeries
    sampling: Sampling
    low: float
    high: float
    mean: float


@dataclass(frozen=True, slots=True)
class LogReview:
    """What a look over a log shows."""

    log: Log
    series: tuple[ReviewedSeries, ...]
    states: tuple[HeldState, ...]
    suspicions: tuple[Suspicion, ...]
    remarks: tuple[str, ...]


def review_log(log: Log) -> LogReview:
    """Look a log over."""
    reviewed = tuple(_reviewed(one) for one in log.series)
    speed = next((one for one in log.series if one.quantity == SPEED), None)
    suspicions = [found for one in log.series for found in _suspicions(one, speed)]
    remarks = list(log.remarks)
    intervals = [one.sampling.interval for one in reviewed if one.sampling.n_value > 1]
    if intervals and float(np.median(intervals)) > 0.3:
        remarks.append(
            f"Each value comes every {float(np.median(intervals)):.2g} s: shorter faults do not"
            " show. Log fewer values at once (common practice, no source)."
        )
    return LogReview(log, reviewed, held_states(log), tuple(suspicions), tuple(remarks))


def _reviewed(series: LogSeries) -> ReviewedSeries:
    v = series.values
    return ReviewedSeries(
        series, sampling_of(series), float(v.min()), float(v.max()), float(v.mean())
    )


def _suspicions(series: LogSeries, speed: LogSeries | None) -> list[Suspicion]:
    if series.values.size < 2:
        return []
    found = []
    for look in (_at_end_of_scale, _at_input_limit, _at_limit):
        suspicion = look(series)
        if suspicion is not None:
            found.append(suspicion)
    if not found:
        default = _default_value(series, speed)
        frozen = _frozen(series, speed)
        found += [one for one in (default or frozen,) if one is not None]
    return found


def _at_end_of_scale(series: LogSeries) -> Suspicion | None:
    """A temperature at -40 degC, or beyond what makers take for a short."""
    if series.quantity not in _TEMPERATURES:
        return None
    cold = np.abs(series.values - _OPEN) <= 1.0
    if _lasts(cold, series):
        return _suspicion(
            series,
            cold,
            f"{series.name} stands at {_OPEN:g} °C, the end of its scale: the control unit sees an"
            " open circuit (wire, contact, sensor, or sensor ground).",
            "Real only in deep frost; compare with the other temperatures.",
            "likely",
        )
    low, high = _SHORTED
    hot = (series.values >= low) & (series.values <= high)
    if _lasts(hot, series) and float(np.ptp(series.values[hot])) <= 1.0:
        return _suspicion(
            series,
            hot,
            f"{series.name} stands at {float(np.median(series.values[hot])):g} °C: the control unit"
            " sees a circuit shorted to ground.",
            "An overheated engine moves; this does not.",
            "likely",
        )
    return None


def _at_input_limit(series: LogSeries) -> Suspicion | None:
    """Volts at either end of a 5 V input (common practice, no source)."""
    if not series.quantity.endswith(" volts"):
        return None
    low = series.values <= 5.0 * _LOW_SHARE
    high = (series.values >= 5.0 * _HIGH_SHARE) & (series.values <= 5.5)
    for at, words in (
        (low, "0 V: short to ground or open"),
        (high, "5 V: open or short to supply"),
    ):
        if _lasts(at, series):
            return _suspicion(
                series,
                at,
                f"{series.name} stands near {words}.",
                "A signal that legitimately ends there; look at the sensor's own range.",
                "likely",
            )
    return None


def _at_limit(series: LogSeries) -> Suspicion | None:
    """A position at the very end of its scale all the time."""
    limits = _LIMITED.get(series.quantity)
    if limits is None or series.values.size < _FEWEST:
        return None
    for limit in limits:
        at = np.abs(series.values - limit) < 0.05
        if bool(at.all()):
            return _suspicion(
                series,
                at,
                f"{series.name} is exactly {limit:g} % all the time.",
                "It may not have been moved while the log ran.",
                "possible",
            )
    return None


def _default_value(series: LogSeries, speed: LogSeries | None) -> Suspicion | None:
    """A round temperature that never moves although the engine runs."""
    if series.quantity not in _TEMPERATURES or float(np.ptp(series.values)) != 0.0:
        return None
    value, span = float(series.values[0]), float(series.times[-1] - series.times[0])
    runs = speed is not None and bool(np.any(speed.values > 400.0))
    if value not in _DEFAULT_TEMPERATURES or span < 30.0 or not runs:
        return None
    return _suspicion(
        series,
        np.ones(series.values.size, dtype=np.bool_),
        f"{series.name} is exactly {value:g} °C for {span:.0f} s while the engine runs: a value"
        " that control units put in place of one that they don't trust.",
        "A warm engine can hold a temperature for so long; look for a code.",
        "possible",
    )


def _frozen(series: LogSeries, speed: LogSeries | None) -> Suspicion | None:
    """Values that stay still while the engine's speed changes."""
    if speed is None or series.quantity not in _MOVE_WITH_SPEED or series.values.size < _FEWEST:
        return None
    still = np.concatenate(([False], np.diff(series.values) == 0.0))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    begins, ends = series.times[edges[::2] - 1], series.times[edges[1::2] - 1]
    for at in np.flatnonzero(ends - begins >= _FROZEN_FOR):
        begin, end = float(begins[at]), float(ends[at])
        first = int(np.searchsorted(speed.times, begin))
        last = int(np.searchsorted(speed.times, end, side="right"))
        within = speed.values[first:last]
        if within.size < 3:
            continue
        spread = float(np.ptp(within))
        if spread >= _SPEED_SPREAD and float(within.max()) > 400.0:
            return Suspicion(
                series.name,
                f"{series.name} does not move for {end - begin:.0f} s while the engine speed"
                f" changes by {spread:.0f} rpm: a substituted value or a dead signal.",
                "A logger that repeats an old answer looks the same; log this value alone.",
                "likely",
                begin,
                end,
            )
    return None


def _lasts(at: NDArray[np.bool_], series: LogSeries) -> bool:
    """Whether something was seen three times in a row, or in the whole of a short series."""
    if not at.any():
        return False
    run = int(min(3, series.values.size))
    padded = np.convolve(at.astype(np.int64), np.ones(run, dtype=np.int64), mode="valid")
    return bool(np.any(padded == run))


def _suspicion(
    series: LogSeries, at: NDArray[np.bool_], what: str, doubt: str, sureness: str
) -> Suspicion:
    instants = series.times[at]
    return Suspicion(series.name, what, doubt, sureness, float(instants[0]), float(instants[-1]))
