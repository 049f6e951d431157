"""What readings show that belong to a round, or to what the control unit reports in it."""

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import KELVIN_AT_0_DEGC, KELVIN_AT_25_DEGC
from backprobe.core.inference.black_lead import wander_of
from backprobe.core.inference.sheet import Quantity
from backprobe.core.inference.view import Told, View

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CELSIUS_SPREAD = 4.0  # a control unit's own curve against the sensor's, degC (common practice)
CHECK_VOLT = 0.01  # what the battery moves by between it and the check of the black lead, V
COLDEST, HOTTEST = -40.0, 140.0  # degC, what a control unit reports at most (common practice)
# Shares of its supply beyond which an input counts as open, or as shorted, whatever it reckons.
OPEN_SHARE, SHORTED_SHARE = 0.97, 0.03
LEAST_SHARE = 1e-4  # of its supply, what is left of a range
NOMINAL_SUPPLY = 5.0  # V, what a control unit measures its inputs against: it reports no more


def of_round(view: View, q: Quantity, index: IntArray) -> Told:
    """Mean, extra standard deviation and slopes of readings that belong to no terminal."""
    p = view.prediction
    if q == Quantity.BATTERY:
        value, by = view.at(p.battery, index)
        return view.spread(value, 0.0), view.spread(np.zeros_like(value), 0.01), by
    if q == Quantity.LEAD_CHECK:
        value, by = view.at(p.battery, index)
        offset, offset_by = view.at(p.lead_offset, index)
        ohm, ohm_by = view.at(p.lead_ohm, index)
        wander, slope = wander_of(p.lead_kind[:, view.sheet.round[index], None], offset)
        share = view.sheet.input_ohm / (view.sheet.input_ohm + ohm)
        shown = share * (value - offset)
        if by is not None and offset_by is not None and ohm_by is not None:
            share_by = ohm_by * (-share / view.sheet.input_ohm)  # relative to the share
            by = share * (by - offset_by) + shown * share_by
            square_by = share**2 * (slope * offset_by + wander**2 * share_by)
            view.square_by.append((index, square_by))
        return view.spread(shown, 0.0), view.spread(np.hypot(share * wander, CHECK_VOLT), 0.0), by
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
    celsius, celsius_by = _reckoned(view, index, volts / NOMINAL_SUPPLY, by)
    none = np.zeros_like(celsius)
    return view.spread(celsius, 0.0), view.spread(none, CELSIUS_SPREAD), celsius_by


def _reckoned(
    view: View, index: IntArray, share: Array, by: Array | None
) -> tuple[Array, Array | None]:
    """The temperature that a control unit makes of what it sees, (M, n, 1), and its slopes.

    From the divider of pull-up and thermistor it takes the thermistor's resistance, from its curve
    the temperature: R = pull-up * share / (1 - share), and the one-beta law inverted. Whatever else
    is in the way it takes for the sensor. Where it isn't known what it reckons with, it is taken
    to be right.
    """
    p = view.prediction
    (true, true_by), (pull_up, pull_up_by), (ohm_25, ohm_25_by), (beta, beta_by) = (
        view.at(field, index) for field in (p.celsius, p.pull_up, p.ohm_25, p.beta)
    )
    share = np.clip(share, LEAST_SHARE, 1.0 - LEAST_SHARE)[:, :, None]
    log_ratio = np.log(share / (1.0 - share)) + np.log(pull_up / ohm_25)
    inverse = log_ratio / beta + 1.0 / KELVIN_AT_25_DEGC
    least, most = (1.0 / (c + KELVIN_AT_0_DEGC) for c in (HOTTEST, COLDEST))
    held = np.clip(inverse, least, most)
    limit = np.where(share > OPEN_SHARE, COLDEST, np.where(share < SHORTED_SHARE, HOTTEST, true))
    known = np.isfinite(inverse) & (share <= OPEN_SHARE)
    celsius = np.where(known, 1.0 / held - KELVIN_AT_0_DEGC, limit)
    parts = (by, true_by, pull_up_by, ohm_25_by, beta_by)
    if view.pick is None or any(part is None for part in parts):
        return celsius, None
    of_share, of_true, of_pull_up, of_ohm_25, of_beta = (
        np.nan_to_num(x) for x in parts if x is not None
    )
    slope = of_share / NOMINAL_SUPPLY / (share * (1.0 - share))
    slope = slope + of_pull_up / pull_up - of_ohm_25 / ohm_25 - of_beta * log_ratio / beta
    slope = -slope / beta / held**2
    inside = np.where(known, held == inverse, limit == true)
    return celsius, np.where(inside, np.where(known, slope, of_true), 0.0)
