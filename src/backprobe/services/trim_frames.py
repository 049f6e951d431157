"""Freeze frames of trouble codes as trims at the instant when the code was set."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, Protocol

from backprobe.core.engine.trim_pattern import REFERENCE_DENSITY
from backprobe.errors import BackprobeError
from backprobe.quantities import parse_quantity
from backprobe.services.trim_table import LIMIT, NEAR_LIMIT, TYPED_UNCERTAINTY, TrimCell

# One instant, not a mean: the short trim swings by some per cent (common practice).
FRAME_UNCERTAINTY: Final = 2.0 * TYPED_UNCERTAINTY
_MOST_SHARE: Final = 0.85  # of the reference at the fullest filling; as for a log


class FramedCode(Protocol):
    """A trouble code with what the control unit kept of that instant."""

    @property
    def code(self) -> str:
        """Its letters and digits."""

    @property
    def freeze_frame(self) -> Mapping[str, str]:
        """Value by name, as written."""


def frame_cells(codes: Sequence[FramedCode]) -> tuple[TrimCell, ...]:
    """Trims of every freeze frame that tells speed, load and a trim.

    Names are those of the job file ("engine speed", "short fuel trim bank 1", "calculated load",
    "absolute load"); others, and what can't be read, are passed over: frames are written down as
    the control unit names them.
    """
    found = (_cell(code) for code in codes)
    return tuple(cell for cell in found if cell is not None)


def _cell(code: FramedCode) -> TrimCell | None:
    frame = {name.strip().lower(): text for name, text in code.freeze_frame.items()}
    speed = _value(frame, "engine speed", "rpm")
    load = _value(frame, "absolute load", "percent") / 100.0
    if math.isnan(load):
        load = _MOST_SHARE * _value(frame, "calculated load", "percent") / 100.0
    trims = [_total(frame, bank) for bank in (1, 2)]
    if not (speed > 0.0 and load > 0.0) or all(map(math.isnan, trims)):
        return None
    banks = trims if not math.isnan(trims[1]) else trims[:1]
    return TrimCell(
        f"freeze frame of {code.code}",
        speed,
        load * REFERENCE_DENSITY * speed / 120.0,
        tuple(banks),
        (FRAME_UNCERTAINTY,) * len(banks),
        tuple(abs(trim) >= LIMIT - NEAR_LIMIT for trim in banks),
    )


def _total(frame: Mapping[str, str], bank: int) -> float:
    short = _value(frame, f"short fuel trim bank {bank}", "trim")
    long = _value(frame, f"long fuel trim bank {bank}", "trim")
    return short + long  # NaN where either is missing


def _value(frame: Mapping[str, str], name: str, unit: str) -> float:
    try:
        return parse_quantity(frame[name], unit).value
    except (KeyError, BackprobeError):
        return math.nan
