"""What the lines above a table tell: "Sample interval: 2 us", "Sample rate = 500 kS/s"."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.recordings.heading_units import known_unit

_INTERVAL: Final = re.compile(
    r"(?:(?:sampl\w*|time)[ _-]*(?:interval|period|increment|step)|interval|delta[ _]?t|Δt|\bdt\b)",
    re.IGNORECASE,
)
_RATE: Final = re.compile(r"(?:sampl\w*[ _-]*(?:rate|frequency|freq\b\.?)|\bfs\b)", re.IGNORECASE)
_START: Final = re.compile(r"^\W*(?:start(?:[ _]?time)?|first[ _]sample(?:[ _]at)?)", re.IGNORECASE)
_COUNT: Final = re.compile(
    r"(?:number[ _]of[ _](?:samples|points)|samples?[ _](?:count|number)|record[ _]length"
    r"|^\W*samples|^\W*points)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Preamble:
    """What was found above the table; None where it isn't told.

    Parameters
    ----------
    interval, start : float or None
        s.
    n_sample : int or None
        Samples that the file should hold.
    """

    interval: float | None = None
    start: float | None = None
    n_sample: int | None = None


def read_preamble(lines: Sequence[str], separator: str, decimal: str) -> Preamble:
    """Look for sample interval, sample rate, start and number of samples."""
    interval = start = None
    n_sample = None
    for line in lines:
        found = _value_after(_INTERVAL, line, separator, decimal)
        if interval is None and found is not None and found[1] in ("s", "") and found[0] > 0:
            interval = found[0]
        found = _value_after(_RATE, line, separator, decimal)
        if interval is None and found is not None and found[1] in ("Hz", "") and found[0] > 0:
            interval = 1.0 / found[0]
        found = _value_after(_START, line, separator, decimal)
        if start is None and found is not None and found[1] in ("s", ""):
            start = found[0]
        found = _value_after(_COUNT, line, separator, decimal)
        if n_sample is None and found is not None and not found[1] and found[0] == int(found[0]):
            n_sample = int(found[0])
    return Preamble(interval, start, n_sample)


def _value_after(
    key: re.Pattern[str], line: str, separator: str, decimal: str
) -> tuple[float, str] | None:
    """Value and unit (without prefix) behind a key; None where there is none."""
    found = key.search(line)
    if found is None:
        return None
    rest = line[found.end() :]
    mark = re.escape("".join({decimal, "."} - {separator}))
    number = rf"(?P<number>[+-]?\d+(?:[{mark}]\d+)?(?:[eE][+-]?\d+)?)"
    match = re.fullmatch(
        rf'\s*(?:[(\[](?P<before>[^)\]]*)[)\]])?[\s:=;,|"]*{number}[\s;,|"]*(?P<after>.*)', rest
    )
    if match is None:
        return None
    written = match["after"].strip(' \t;,|"()[]')
    unit = (
        known_unit(written or (match["before"] or "").strip())
        if written or match["before"]
        else None
    )
    if unit is None and (written or match["before"]):
        return None
    name, scale = unit or ("", 1.0)
    return float(match["number"].replace(",", ".")) * scale, name
