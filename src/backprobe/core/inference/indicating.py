"""From predicted circuits to predicted indications.

A reading is ``share (V - V_point) + error``, V_point that of the black lead's point, the share what
the meter's input resistance or a loading resistor leaves behind the wire's resistance and the
point's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prediction import Prediction
from backprobe.core.inference.readings import LEAD_OHM, Readings, readings_of, with_leads
from backprobe.core.inference.round_readings import of_round
from backprobe.core.inference.sheet import Quantity, Sheet
from backprobe.core.inference.view import Told, View
from backprobe.core.inference.volts_at_wire import volts_at_wire

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

# What joints, filters and rails inside a control unit add, and how much more or less, ohm (common
# practice).
HARNESS_ADDED_OHM, HARNESS_SPREAD_OHM = 1.0, 1.2
HARNESS_INSIDE_OHM = 50.0  # above it the reading runs through unpowered electronics
BAD_POINT_SPREAD = 1.0  # of log ohm to a bad point, which volts across it falsify (common practice)
# Predicted quantities whose slopes a reading takes its own from.
SLOPES_READ = {
    Quantity.VOLTS: ("mean", "thevenin"),
    Quantity.VOLTS_HIGH: ("mean", "high", "thevenin"),
    Quantity.VOLTS_LOW: ("mean", "low", "thevenin"),
    Quantity.LEVEL_HIGH: ("mean", "high", "thevenin"),
    Quantity.LEVEL_LOW: ("mean", "low", "thevenin"),
    Quantity.VOLTS_AC: ("alternating",),
    Quantity.HERTZ: ("log_hertz",),
    Quantity.DUTY: ("share_high",),
    Quantity.VOLTS_LOADED: ("mean", "thevenin"),
    Quantity.HARNESS_OHM: ("thevenin",),
    Quantity.BATTERY: ("battery",),
    Quantity.LEAD_CHECK: ("battery",),
    Quantity.INPUT_VOLTS: ("unit",),
    Quantity.INPUT_CELSIUS: ("celsius", "unit", "pull_up", "ohm_25", "beta"),
    Quantity.AMBIENT: ("celsius",),
}


@dataclass(frozen=True, slots=True)
class Indicated:
    """What the meter would show, for each reading of a sheet.

    mean, deviation : ndarray, shape (M, n_read, C)
        Predicted indication (log for hertz and ohm) and its standard deviation; C candidate
        wires, or one where the wire is given. NaN mean: not a number but "none" or "OL".
    by : ndarray, shape (M, n_read, n_z), or None
        Sensitivity of the mean by the coordinates (one candidate only).
    quiet : ndarray, shape (M, n_read, C)
        Standard deviation where a floating wire picks up hardly anything; ``deviation`` elsewhere.
    deviation_by : ndarray, shape (M, n_read, n_z), or None
        The same of the standard deviation, for what a floating wire picks up and a bad black lead
        wanders by.
    """

    mean: Array
    deviation: Array
    quiet: Array
    by: Array | None = None
    deviation_by: Array | None = None


def slopes_read(sheet: Sheet) -> frozenset[str]:
    """Predicted quantities whose slopes the readings of a sheet take theirs from."""
    codes = np.unique(sheet.quantity).tolist()
    return frozenset(name for q in codes for name in SLOPES_READ.get(Quantity(q), ()))


def indicate(
    table: HypothesisTable,
    sheet: Sheet,
    prediction: Prediction,
    pick: IntArray | None = None,
    readings: Readings | None = None,
) -> Indicated:
    """Predicted indications at every wire, or at the wire that is assigned.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    sheet : Sheet
        n_read readings.
    prediction : Prediction
        Of the same hypotheses in the sheet's rounds.
    pick : ndarray of int, shape (M, n_terminal), optional
        Wire at each terminal; wires from ``n_wire`` on are "not used".
    readings : Readings, optional
        Of the sheet, where they are sorted already.

    Returns
    -------
    Indicated
        All candidates (C = T) without ``pick``, the assigned one (C = 1) with it.
    """
    sorted_ = readings_of(sheet) if readings is None else readings
    view = View(table, sheet, prediction, pick, sorted_)
    shape = (table.n_wire.size, sheet.n_read, view.n_candidate)
    mean, spread = np.full(shape, np.nan), np.zeros(shape)
    slopes = prediction.lead_offset.by
    by = None
    if pick is not None and slopes is not None:
        by = np.zeros((*shape[:2], slopes.shape[-1]))
    for quantity, index in sorted_.groups:
        mean[:, index], spread[:, index], b = _indication(view, quantity, index)
        if by is not None and b is not None:
            by[:, index] = b
    if sorted_.by_meter.size:
        _through_meter(sheet, sorted_.by_meter, prediction, mean, by)
    deviation = np.sqrt(sorted_.deviation[:, None] ** 2 + spread**2)
    quiet = deviation
    if view.quiet is not None:
        index, quiet_spread = view.quiet
        quiet = deviation.copy()
        quiet[:, index] = np.sqrt(sorted_.deviation[index, None] ** 2 + quiet_spread**2)
    if by is None:
        return Indicated(mean, deviation, quiet)
    deviation_by = np.zeros_like(by)
    for index, square_by in view.square_by:
        deviation_by[:, index] = square_by / deviation[:, index]
    return Indicated(mean, deviation, quiet, by, deviation_by)


def _through_meter(
    sheet: Sheet, index: IntArray, prediction: Prediction, mean: Array, by: Array | None
) -> None:
    """Put the meter's gain error and the offset of the range it is in onto indications, in place.

    ``mean`` and ``by`` are those of all readings, ``index`` those that are put through it.
    """
    at, share = prediction.meter_at, sheet.meter_share
    gain = (1.0 + share * prediction.meter[:, :1])[:, :, None]  # (M, 1, 1)
    before = mean[:, index]
    mean[:, index] = before * gain
    if by is not None:
        by[:, index] *= gain
        by[:, index, at] += share * before[:, :, 0]
    if sheet.range_number is None or sheet.range_volt is None:
        return
    number, volt = sheet.range_number[index], sheet.range_volt[index]
    mean[:, index] += (prediction.meter[:, 1 + number] * volt)[:, :, None]
    if by is not None:
        by[:, index, at + 1 + number] += volt


def _indication(view: View, q: Quantity, index: IntArray) -> Told:
    """Mean, extra standard deviation and slopes of readings of one group."""
    if q == Quantity.VOLTS:
        return volts_at_wire(view, index)
    if q in (Quantity.HERTZ, Quantity.DUTY):
        return _counted(view, q, index)
    if q == Quantity.SENSOR_OHM:
        return _sensor_ohm(view, index)
    if q in (Quantity.VOLTS_AC, Quantity.HARNESS_OHM):
        return _at_wire(view, q, index)
    return of_round(view, q, index)


def _at_wire(view: View, q: Quantity, index: IntArray) -> Told:
    """Alternating volts, and ohms from a harness terminal to the black lead's point."""
    p = view.prediction
    if q == Quantity.VOLTS_AC:
        value, by = view.at(p.alternating, index)
        gone = view.unused(index)
        return np.where(gone, 0.0, value), 0.02 + 0.08 * value, _masked(by, gone)
    value, by = view.at(p.thevenin, index)
    gone = view.unused(index)
    point, point_by = view.at(p.lead_ohm, index)
    total = np.where(gone, 1e9, value) + LEAD_OHM + HARNESS_ADDED_OHM + point
    slope = None if by is None or point_by is None else (by + point_by) / total[:, :, 0, None]
    inside = np.where(total > HARNESS_INSIDE_OHM, 0.4, 0.05)
    spread = inside + np.minimum(HARNESS_SPREAD_OHM / total, 2.0)
    is_bad = p.lead_kind[:, view.sheet.round[index]] != LeadKind.SOUND
    spread = spread + np.where(is_bad, BAD_POINT_SPREAD, 0.0)[:, :, None]
    return np.log(total), spread, _masked(slope, gone)


def _counted(view: View, q: Quantity, index: IntArray) -> Told:
    """Frequency and duty; NaN where there is nothing that a meter counts."""
    p = view.prediction
    hertz, hertz_by = view.at(p.log_hertz, index)
    gone = view.unused(index) | np.isnan(hertz)
    if q == Quantity.HERTZ:
        spread = np.full(hertz.shape, 0.01)
        return np.where(gone, np.nan, hertz), spread, _masked(hertz_by, gone)
    share, by = view.at(p.share_high, index)
    return np.where(gone, np.nan, share), np.full(share.shape, 0.02), _masked(by, gone)


def _sensor_ohm(view: View, index: IntArray) -> Told:
    """Only the assigned pair; all pairs are made by `pair_tables`."""
    ohm = view.prediction.ohm
    n_m = view.table.n_wire.size
    shape = (n_m, index.size, view.n_candidate)
    if view.pick is None:
        return np.full(shape, np.nan), np.full(shape, 0.1), None
    n_t = ohm.shape[2]
    a, b = view.pick[:, view.sheet.terminal[index]], view.pick[:, view.sheet.other[index]]
    rows = np.arange(n_m)[:, None]
    rounds = view.sheet.round[index][None, :]
    picked = ohm[rows, rounds, np.minimum(a, n_t - 1), np.minimum(b, n_t - 1)]
    n_wire = view.table.n_wire[:, None]
    picked = np.where((a >= n_wire) | (b >= n_wire), np.inf, picked)
    by = None
    if view.prediction.ohm_by is not None:
        by = view.prediction.ohm_by[rows, rounds, np.minimum(a, n_t - 1), np.minimum(b, n_t - 1)]
        finite = np.isfinite(picked)
        share = 1.0 - LEAD_OHM / np.exp(with_leads(np.where(finite, picked, 0.0)))
        by = np.where(finite[:, :, None], by * share[:, :, None], 0.0)
    return with_leads(picked)[:, :, None], np.full(shape, 0.04), by


def _masked(by: Array | None, gone: Bools) -> Array | None:
    return None if by is None else np.where(gone[:, :, :1], 0.0, by)
