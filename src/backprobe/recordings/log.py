"""What a control unit reported over time: series of values, each with its own instants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class LogSeries:
    """One value over time.

    Parameters
    ----------
    name : str
        As the file has it.
    quantity : str
        A known quantity in the words of the job file ("air mass flow"), or "" where unknown.
    unit : str
        Unit of ``values`` ("g/s", "kPa", "degC", "%", "1/min", "V", ...), or "" where unknown.
    times : ndarray, shape (n,)
        Instants, s, rising.
    values : ndarray, shape (n,)
        No NaN: an instant without a value is not in the series.
    """

    name: str
    quantity: str
    unit: str
    times: NDArray[np.float64]
    values: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Log:
    """Series that one file holds, on one clock.

    Parameters
    ----------
    series : tuple of LogSeries
        In the file's order.
    source : str
        Name of the file.
    remarks : tuple of str
        What the reader had to leave out or assume, as whole sentences.
    """

    series: tuple[LogSeries, ...]
    source: str = ""
    remarks: tuple[str, ...] = ()
