"""Fuel trims by speed and load, and those typed at the standard points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.trim_pattern import (
    EITHER,
    REFERENCE_DENSITY,
    OperatingPoints,
)
from backprobe.core.engine.trim_readings import TrimReadings
from backprobe.errors import UsageError

Array: TypeAlias = NDArray[np.float64]

LIMIT: Final = 25.0  # per cent at which most control units stop; common practice
NEAR_LIMIT: Final = 0.8  # one step of a trim as it is sent is 0.78 % [j1979]
TYPED_UNCERTAINTY: Final = 1.5  # per cent; read off a moving display
SPEEDS: Final = (0.0, 1100.0, 1900.0, 2900.0, 4000.0, np.inf)
LOADS: Final = (0.0, 0.30, 0.50, 0.75, np.inf)  # absolute load, a share


@dataclass(frozen=True, slots=True)
class Standard:
    """A point that the trade reads: what it is called, and what air flow belongs to it."""

    name: str
    label: str
    speed_rpm: float
    flow: float  # g/s per litre
    words: str


# Flows by the air equation: 32 kPa and 0.6 at idle, 0.75 at 2500, 75 kPa and 0.85 pulling.
STANDARD_POINTS: Final[tuple[Standard, ...]] = (
    Standard("idle", "idle", 750.0, 1.3, "at idle, warm, loads off"),
    Standard("2500", "2500 rpm", 2500.0, 5.0, "at 2500 rpm without load"),
    Standard("loaded", "pulling", 3000.0, 19.0, "pulling at 3000 rpm, throttle well open"),
)


@dataclass(frozen=True, slots=True)
class TrimCell:
    """Trims at one speed and load.

    Parameters
    ----------
    name : str
        How it is called.
    speed_rpm, flow : float
        1/min, g/s per litre.
    trims : tuple of float
        Short plus long, per cent, a bank each; NaN where not read.
    uncertainties : tuple of float
        Standard, per cent.
    limited : tuple of bool
        Stood at the control unit's limit.
    n_value, n_independent : float
        How many values it is the mean of, and how many independent ones they are worth.
    """

    name: str
    speed_rpm: float
    flow: float
    trims: tuple[float, ...]
    uncertainties: tuple[float, ...]
    limited: tuple[bool, ...]
    n_value: int = 1
    n_independent: float = 1.0

    @property
    def load(self) -> float:
        """Absolute load as a share [j1979]."""
        return self.flow * 120.0 / (REFERENCE_DENSITY * self.speed_rpm)


@dataclass(frozen=True, slots=True)
class TrimTable:
    """All cells that were read.

    Parameters
    ----------
    cells : tuple of TrimCell
        By speed, then load.
    metering : str
        "air mass", "manifold pressure", or "" where it isn't known.
    remarks : tuple of str
        What was left out or assumed.
    """

    cells: tuple[TrimCell, ...]
    metering: str = EITHER
    remarks: tuple[str, ...] = ()

    @property
    def n_bank(self) -> int:
        """One or two."""
        return len(self.cells[0].trims)

    def readings(self) -> TrimReadings:
        """The same as arrays, trims as shares."""
        points = OperatingPoints(
            np.array([cell.speed_rpm for cell in self.cells]),
            np.array([cell.flow for cell in self.cells]),
        )
        return TrimReadings(
            points,
            np.array([cell.trims for cell in self.cells]).T / 100.0,
            np.array([cell.uncertainties for cell in self.cells]).T / 100.0,
            np.array([cell.limited for cell in self.cells]).T,
            self.metering,
        )


def joined(cells: Sequence[TrimCell], metering: str = EITHER) -> TrimTable:
    """A table of any cells; those of one bank among two have the other one not read."""
    n_bank = max(len(cell.trims) for cell in cells)
    filled = []
    for cell in cells:
        missing = n_bank - len(cell.trims)
        filled.append(
            replace(
                cell,
                trims=(*cell.trims, *(float("nan"),) * missing),
                uncertainties=(*cell.uncertainties, *(TYPED_UNCERTAINTY,) * missing),
                limited=(*cell.limited, *(False,) * missing),
            )
        )
    return TrimTable(tuple(filled), metering)


def typed_table(
    trims: Mapping[str, Sequence[float]], metering: str = EITHER, limit: float = LIMIT
) -> TrimTable:
    """Trims as typed at the standard points.

    Parameters
    ----------
    trims : mapping of str to sequence of float
        By the name of a standard point: total trim of each bank, per cent; NaN where not read.
    metering : str
        How the control unit meters air, where it is known.
    limit : float
        Per cent at which the control unit stops.

    Raises
    ------
    UsageError
        Nothing was read, or a point is unknown.
    """
    names = tuple(point.name for point in STANDARD_POINTS)
    unknown = [name for name in trims if name not in names]
    if unknown:
        raise UsageError(f'"{unknown[0]}" is no point.', remedy=f"Known are {', '.join(names)}.")
    read = {name: tuple(map(float, each)) for name, each in trims.items()}
    read = {name: each for name, each in read.items() if np.isfinite(each).any()}
    if not read:
        raise UsageError("No trim is given.", remedy="Give at least the one at idle.")
    n_bank = max(len(each) for each in read.values())
    cells = []
    for point in STANDARD_POINTS:
        if point.name not in read:
            continue
        values = (*read[point.name], *(float("nan"),) * n_bank)[:n_bank]
        cells.append(
            TrimCell(
                point.label,
                point.speed_rpm,
                point.flow,
                values,
                (TYPED_UNCERTAINTY,) * n_bank,
                tuple(abs(value) >= limit - NEAR_LIMIT for value in values),
            )
        )
    is_read = np.array([np.isfinite(cell.trims) for cell in cells]).any(axis=0)
    if not is_read.all():  # a bank without a single value isn't there
        kept = np.flatnonzero(is_read)
        cells = [_of_banks(cell, kept) for cell in cells]
    return TrimTable(tuple(cells), metering)


def _of_banks(cell: TrimCell, kept: NDArray[np.intp]) -> TrimCell:
    return TrimCell(
        cell.name,
        cell.speed_rpm,
        cell.flow,
        tuple(cell.trims[bank] for bank in kept),
        tuple(cell.uncertainties[bank] for bank in kept),
        tuple(cell.limited[bank] for bank in kept),
    )
