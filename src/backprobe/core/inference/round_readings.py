"""What readings show that belong to a round, or to what the control unit reports in it."""

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LEAD_WANDER
from backprobe.core.inference.sheet import Quantity
from backprobe.core.inference.view import Told, View

IntArray = NDArray[np.int64]

CELSIUS_SPREAD = 6.0  # a control unit's own curve against the sensor's, degC (common practice)
CHECK_VOLT = 0.01  # what the battery moves by between it and the check of the black lead, V
NOMINAL_SUPPLY = 5.0  # V, what a control unit measures its inputs against: it reports no more


def of_round(view: View, q: Quantity, index: IntArray) -> Told:
    """Mean, extra standard deviation and slopes of readings that belong to no terminal."""
    p = view.prediction
    if q == Quantity.BATTERY:
        value, by = view.at(p.battery, index)
        return view.spread(value, 0.0), view.spread(np.zeros_like(value), 0.01), by
    if q == Quantity.LEAD_CHECK:
        value, by = view.at(p.battery, index)
        gain, gain_by = view.at(p.lead_gain, index)
        offset, offset_by = view.at(p.lead_offset, index)
        wander = LEAD_WANDER[p.lead_kind[:, view.sheet.round[index]]][:, :, None]
        shown = gain * (value - offset)
        if by is not None and offset_by is not None and gain_by is not None:
            across = (value - offset)[:, :, 0, None]
            by = gain[:, :, 0, None] * (by - offset_by) + gain_by * across
        return view.spread(shown, 0.0), view.spread(np.maximum(wander, CHECK_VOLT), 0.0), by
    if q == Quantity.AMBIENT:
        value, by = view.at(p.celsius, index)
        return view.spread(value, 0.0), view.spread(np.zeros_like(value), 0.0), by
    return _input(view, q, index)


def _input(view: View, q: Quantity, index: IntArray) -> Told:
    """What the control unit sees at its own end of the wire that it speaks of."""
    p = view.prediction
    wire = view.table.reported[:, view.sheet.reported[index]]  # (M, n)
    if q == Quantity.REPORTED:
        nothing = np.where(wire == -1, np.nan, 0.0)[:, :, None]
        return view.spread(nothing, 0.0), view.spread(np.zeros_like(nothing), 0.0), None
    there = wire >= 0
    rows, rounds = np.arange(wire.shape[0])[:, None], view.sheet.round[index][None, :]
    volts = p.unit.value[rows, rounds, wire]
    volts = np.where(there, volts, np.nan)
    by = None
    if view.pick is not None and p.unit.by is not None:
        by = np.where(there[:, :, None], p.unit.by[rows, rounds, wire], 0.0)
    if q == Quantity.INPUT_VOLTS:
        seen = np.clip(volts, 0.0, NOMINAL_SUPPLY)  # a converter ends at its reference
        if by is not None:
            by = np.where((seen == volts)[:, :, None], by, 0.0)
        return (
            view.spread(seen[:, :, None], 0.0),
            view.spread(np.zeros_like(volts[:, :, None]), 0.03),
            by,
        )
    share = volts / NOMINAL_SUPPLY
    celsius, celsius_by = view.at(p.celsius, index)
    celsius = celsius[:, :, 0]
    limit = np.where(share > 0.95, -40.0, np.where(share < 0.05, 140.0, celsius))
    inside = (share <= 0.95) & (share >= 0.05)
    slope = None
    if celsius_by is not None and view.pick is not None:
        slope = np.where(inside[:, :, None], celsius_by, 0.0)
    return (
        view.spread(limit[:, :, None], 0.0),
        view.spread(np.zeros_like(limit[:, :, None]), CELSIUS_SPREAD),
        slope,
    )
