"""Named columns of numbers: which is the time, which tell the interval, which are channels."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from backprobe.recordings.heading_units import Heading, parse_heading

_TIME: Final = re.compile(r"(?:time|t|times|seconds?|timestamps?)", re.IGNORECASE)
INTERVALS: Final = ("interval", "dt", "sample_interval")
RATES: Final = ("sample_rate", "fs", "rate", "sampling_rate")
STARTS: Final = ("start", "t0")


@dataclass(frozen=True, slots=True)
class NamedColumns:
    """Roles of columns.

    Parameters
    ----------
    time : str or None
        Name of the column that holds the time.
    time_scale : float
        Its unit in s.
    channels : dict of str to Heading
        What each other one is called and measured in.
    """

    time: str | None
    time_scale: float
    channels: dict[str, Heading]


def assign_columns(names: Sequence[str], *, may_have_time: bool) -> NamedColumns:
    """Tell by their names what columns are; without ``may_have_time`` all are channels."""
    headings = {name: parse_heading(name) for name in names}
    time = None
    if may_have_time:
        time = next(
            (
                name
                for name, heading in headings.items()
                if _TIME.fullmatch(heading.name) and heading.unit in ("", "s")
            ),
            None,
        )
    scale = headings[time].scale if time is not None else 1.0
    return NamedColumns(time, scale, {n: h for n, h in headings.items() if n != time})


def needs_double(dtype: np.dtype[Any]) -> bool:
    """Whether float32 can't hold all numbers of a type exactly."""
    if dtype.kind == "f":
        return dtype.itemsize > 4
    return not (dtype.kind == "b" or (dtype.kind in "iu" and dtype.itemsize <= 2))
