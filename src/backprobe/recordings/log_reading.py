"""The way in: from a file to a log, its series named and in the units used here."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.errors import RecordingError
from backprobe.recordings.log import Log, LogSeries
from backprobe.recordings.log_mapping import LogMapping, Meaning, guess_mapping_of, meaning_of
from backprobe.recordings.log_mdf import is_mdf, read_log_mdf
from backprobe.recordings.log_names import known_quantities
from backprobe.recordings.log_text import RawLog, RawSeries, read_log_text
from backprobe.recordings.log_units import AIR_A_STROKE

_STROKES_A_TURN = 0.5  # intake strokes of a cylinder, four-stroke


def read_log(path: Path, mapping: LogMapping | None = None, *, cylinders: int | None = None) -> Log:
    """Read a log: delimited text or ASAM MDF 4.

    Parameters
    ----------
    path : Path
        The file.
    mapping : LogMapping or None
        What is said of its series; None: all are matched by their names.
    cylinders : int or None
        Of the engine, four-stroke: needed where air is logged in mg a stroke.

    Raises
    ------
    RecordingError
        The file can't be read, or the mapping doesn't fit it.
    """
    said = mapping or LogMapping()
    raw = read_raw(path, said)
    names = {one.name for one in raw.series} | said.dropped
    missing = [one.name for one in said.series if one.name not in names]
    if missing:
        raise RecordingError(
            f"The mapping names {_listed(missing)}, which the log doesn't have.",
            path.name,
            f"It has {_listed([one.name for one in raw.series])}.",
        )
    remarks = list(raw.remarks)
    meanings = [meaning_of(one.name, one.unit, said.named(one.name)) for one in raw.series]
    meanings = _one_each(raw.series, meanings, said, remarks)
    converted = [
        _converted(one, meaning, remarks) for one, meaning in zip(raw.series, meanings, strict=True)
    ]
    series = _with_strokes(converted, meanings, cylinders, remarks)
    return Log(tuple(series), path.name, tuple(dict.fromkeys(remarks)))


def read_raw(path: Path, mapping: LogMapping) -> RawLog:
    """Read a log's series as the file has them."""
    if is_mdf(path):
        return read_log_mdf(path, dropped=mapping.dropped)
    return read_log_text(path, dropped=mapping.dropped, time_unit=mapping.time_unit)


def mapping_of(path: Path, mapping: LogMapping | None = None) -> LogMapping:
    """Write down how a log's series are taken, to be corrected."""
    said = mapping or LogMapping()
    raw = read_raw(path, said)
    guessed = guess_mapping_of((one.name, one.unit) for one in raw.series)
    series = tuple(said.named(one.name) or one for one in guessed.series)
    left_out = tuple(one for one in said.series if not one.is_kept)
    return LogMapping((*series, *left_out), said.time_unit)


def _one_each(
    series: Sequence[RawSeries], meanings: list[Meaning], said: LogMapping, remarks: list[str]
) -> list[Meaning]:
    """Of several series taken for one quantity only what a person said, or the first, keeps it."""
    found = list(meanings)
    for quantity in dict.fromkeys(meaning.quantity for meaning in meanings if meaning.quantity):
        at = [n for n, meaning in enumerate(meanings) if meaning.quantity == quantity]
        chosen = next((n for n in at if said.named(series[n].name)), at[0])
        for n in at:
            if n != chosen:
                found[n] = Meaning("", series[n].unit)
                remarks.append(
                    f"{series[n].name} looks like {quantity} too; {series[chosen].name} is taken."
                )
    return found


def _converted(one: RawSeries, meaning: Meaning, remarks: list[str]) -> LogSeries:
    if meaning.remark:
        remarks.append(meaning.remark)
    if not meaning.quantity:
        return LogSeries(one.name, "", one.unit, one.times, one.values)
    values = one.values
    if (meaning.factor, meaning.offset) != (1.0, 0.0):
        values = values * meaning.factor + meaning.offset
    if not one.unit and meaning.unit:
        remarks.append(f"{one.name} has no unit; {meaning.unit} is assumed.")
    if not meaning.is_air_a_stroke and not _is_possible(meaning.quantity, values):
        remarks.append(
            f"{one.name} can't be {meaning.quantity} in {meaning.unit or 'plain numbers'}: most of"
            " its values are beyond what that can be. Say its unit in the mapping."
        )
        return LogSeries(one.name, "", one.unit, one.times, one.values)
    return LogSeries(one.name, meaning.quantity, meaning.unit, one.times, values)


def _is_possible(quantity: str, values: NDArray[np.float64]) -> bool:
    known = next((one for one in known_quantities() if one.name == quantity), None)
    if known is None:
        return True
    return bool(np.mean((values >= known.low) & (values <= known.high)) > 0.5)


def _with_strokes(
    series: list[LogSeries], meanings: Sequence[Meaning], cylinders: int | None, remarks: list[str]
) -> list[LogSeries]:
    """Turn mg of air a stroke into a mass flow where speed and cylinders are known.

    Notes
    -----
    Flow = air a stroke · speed / 60 · cylinders / 2 for a four-stroke engine [j1979, parameter 43].
    """
    speed = next((one for one in series if one.quantity == "engine speed"), None)
    found = []
    for one, meaning in zip(series, meanings, strict=True):
        if not meaning.is_air_a_stroke:
            found.append(one)
        elif speed is None or cylinders is None:
            wanted = "the number of cylinders" if speed is not None else "the engine speed"
            remarks.append(f"{one.name} is in mg a stroke; {wanted} is needed for a mass flow.")
            found.append(LogSeries(one.name, "", AIR_A_STROKE, one.times, one.values))
        else:
            turning = np.interp(one.times, speed.times, speed.values)
            flow = one.values * 1e-3 * turning / 60.0 * _STROKES_A_TURN * cylinders
            remarks.append(
                f"{one.name}: mg a stroke to g/s with {speed.name}, {cylinders} cylinders."
            )
            found.append(LogSeries(one.name, one.quantity, "g/s", one.times, flow))
    return found


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(f'"{name}"' for name in names[:12])
    return shown if len(names) <= 12 else f"{shown} and {len(names) - 12} more"
