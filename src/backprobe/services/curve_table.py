"""A curve as a table to read off."""

from __future__ import annotations

from typing import Final

import numpy as np

from backprobe.core.engine.pull_up import volts_of
from backprobe.curves.curve_file import AnyCurve, OutputCurve
from backprobe.services.sensor_curves import Feed, resistance_words
from backprobe.services.words import measured

_STEPS: Final = (10.0, 20.0, 50.0, 100.0)
_MOST_ROWS: Final = 20


def curve_rows(
    curve: AnyCurve, feed: Feed | None = None
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and rows: degC, ohm and (with a pull-up) volts; or the rows of an output's table."""
    if isinstance(curve, OutputCurve):
        heads = (curve.output_unit, curve.quantity_unit)
        return heads, [
            (measured(float(o), curve.output_unit), measured(float(q), curve.quantity_unit))
            for o, q in zip(curve.table.output, curve.table.quantity, strict=True)
        ]
    low, high = curve.valid_degc
    step = next(each for each in _STEPS if (high - low) / each < _MOST_ROWS)
    celsius = np.arange(np.ceil(low / step) * step, high + 1e-9, step)
    ohm = curve.law.ohm(celsius)
    rows = [(f"{t:g}", resistance_words(float(r))) for t, r in zip(celsius, ohm, strict=True)]
    if feed is None:
        return ("°C", "ohm"), list(rows)
    volts = volts_of(ohm, feed.pull_up())
    full = [(*row, f"{v:.2f} V") for row, v in zip(rows, volts, strict=True)]
    return ("°C", "ohm", f"volts, {measured(feed.pull_up_ohm, 'ohm')}"), list(full)
