"""From predicted circuits to predicted indications, and how likely the noted ones are.

A reading is ``gain (V - V_black_lead) + error``, V with the meter's input resistance in the
circuit. Errors follow Student's t (tails wider than normal), and with a small probability the
reading was written down wrong: then it may be anything (`SLIP_SHARE`, `BROAD_DENSITY`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, gammaln

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prediction import Field, Prediction
from backprobe.core.inference.sheet import VOLTAGES, Quantity, Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

FREEDOM = 4.0  # degrees of freedom of Student's t
SLIP_SHARE = 0.004  # share of readings that are written down wrong (common practice)
# Density of a slip of the pen, per volt, per unit of log hertz or log ohm, per share, per degree.
BROAD_DENSITY = {
    Quantity.VOLTS: 1 / 25.0,
    Quantity.VOLTS_HIGH: 1 / 25.0,
    Quantity.VOLTS_LOW: 1 / 25.0,
    Quantity.VOLTS_AC: 1 / 15.0,
    Quantity.HERTZ: 1 / 12.0,
    Quantity.DUTY: 1.0,
    Quantity.VOLTS_LOADED: 1 / 25.0,
    Quantity.HARNESS_OHM: 1 / 20.0,
    Quantity.SENSOR_OHM: 1 / 20.0,
    Quantity.BATTERY: 1 / 25.0,
    Quantity.LEAD_CHECK: 1 / 25.0,
    Quantity.INPUT_VOLTS: 1 / 25.0,
    Quantity.INPUT_CELSIUS: 1 / 300.0,
    Quantity.AMBIENT: 1 / 200.0,
}
# Readings of DC volts, which share the meter's gain error.
BY_METER = VOLTAGES | {Quantity.VOLTS_LOADED, Quantity.BATTERY, Quantity.LEAD_CHECK}
LOGARITHMIC = frozenset((Quantity.HERTZ, Quantity.HARNESS_OHM, Quantity.SENSOR_OHM))

# Predicted quantities whose slopes a reading takes its own from.
SLOPES_READ = {
    Quantity.VOLTS: ("mean", "thevenin"),
    Quantity.VOLTS_HIGH: ("mean", "high", "thevenin"),
    Quantity.VOLTS_LOW: ("mean", "low", "thevenin"),
    Quantity.VOLTS_AC: ("alternating",),
    Quantity.HERTZ: ("log_hertz",),
    Quantity.DUTY: ("share_high",),
    Quantity.VOLTS_LOADED: ("mean", "thevenin"),
    Quantity.HARNESS_OHM: ("thevenin",),
    Quantity.BATTERY: ("battery",),
    Quantity.LEAD_CHECK: ("battery",),
    Quantity.INPUT_VOLTS: ("unit",),
    Quantity.INPUT_CELSIUS: ("celsius",),
    Quantity.AMBIENT: ("celsius",),
}

GHOST_VOLT = 0.1  # what damp and stray fields put on a floating wire, V (common practice)
GHOST_OHM = 3e5  # source resistance at which half of that shows, ohm (common practice)
UNUSED_VOLT = 0.02  # what an unused cavity shows, V (common practice)
MODEL_VOLT = 0.004  # what splices and shared wires add that no model holds, V (common practice)
BAD_LEAD_WANDER = 0.3  # change from reading to reading behind a bad black lead, V
SWING_SHARE = 0.03  # error of a meter's mean of a switching signal, share of its swing
MOVING_SHARE = 0.35  # the same while the quantity itself moves between two extremes
FAST_HERTZ = 6.0  # above it a min/max hold that averages 0.1 s no longer sees the levels
LOAD_TOLERANCE = 0.01  # of the loading resistor (a 1 % resistor)
LEAD_OHM = 0.3  # resistance of the meter's leads, ohm (meter vendors: 0.2 to 0.5)
HARNESS_SPREAD_OHM = 3.0  # what filters and rails inside a control unit add, ohm (common practice)
HARNESS_INSIDE_OHM = 50.0  # above it the reading runs through unpowered electronics
OPEN_OHM = 3e7  # above it an ohmmeter shows OL
CELSIUS_SPREAD = 6.0  # a control unit's own curve against the sensor's, degC (common practice)
COLD_LIMIT, HOT_LIMIT = -35.0, 125.0  # reported temperatures beyond these mean a circuit limit
NOMINAL_SUPPLY = 5.0  # V, what a control unit measures its thermistor inputs against
NOTHING_COUNTED = 0.9  # probability that a meter shows no frequency where there is none
COUNTED_ANYWAY = 0.05
HIDDEN = 0.03  # probability that it shows none where there is one
CANNOT_TELL_OPEN = 0.3  # probability of OL across electronics


@dataclass(frozen=True, slots=True)
class Indicated:
    """What the meter would show, for each reading of a sheet.

    mean, deviation : ndarray, shape (M, n_read, C)
        Predicted indication (log for hertz and ohm) and its standard deviation; C candidate
        wires, or one where the wire is given. NaN mean: not a number but "none" or "OL".
    by : ndarray, shape (M, n_read, n_z), or None
        Sensitivity of the mean by the coordinates (one candidate only).
    """

    mean: Array
    deviation: Array
    by: Array | None = None


def noted(sheet: Sheet) -> tuple[Array, Array]:
    """Readings and their standard uncertainties in the domain of the likelihood, (n_read,)."""
    value, deviation = sheet.value.copy(), sheet.deviation.copy()
    for quantity in LOGARITHMIC:
        mask = sheet.quantity == quantity
        if not mask.any():
            continue
        offset = 0.0 if quantity == Quantity.HERTZ else LEAD_OHM
        base = np.maximum(value[mask], 0.0) + offset
        finite = np.isfinite(base) & (base > 0)
        deviation[mask] = np.where(
            finite, (deviation[mask] + offset) / np.where(finite, base, 1.0), 1.0
        )
        value[mask] = np.where(finite, np.log(np.where(finite, base, 1.0)), np.inf)
    return value, deviation


def slopes_read(sheet: Sheet) -> frozenset[str]:
    """Predicted quantities whose slopes the readings of a sheet take theirs from."""
    codes = np.unique(sheet.quantity).tolist()
    return frozenset(name for q in codes for name in SLOPES_READ.get(Quantity(q), ()))


def indicate(
    table: HypothesisTable,
    sheet: Sheet,
    prediction: Prediction,
    pick: IntArray | None = None,
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

    Returns
    -------
    Indicated
        All candidates (C = T) without ``pick``, the assigned one (C = 1) with it.
    """
    n_m = table.n_wire.size
    n_candidate = prediction.mean.value.shape[2] if pick is None else 1
    n_z = prediction.lead_offset.by.shape[-1] if prediction.lead_offset.by is not None else 0
    mean = np.full((n_m, sheet.n_read, n_candidate), np.nan)
    deviation = np.ones_like(mean)
    by = np.zeros((n_m, sheet.n_read, n_z)) if pick is not None and n_z else None
    _, own = noted(sheet)
    view = _View(table, sheet, prediction, pick)
    for code in np.unique(sheet.quantity):
        quantity = Quantity(int(code))
        index = np.flatnonzero(sheet.quantity == code)
        m, s, b = view.indication(quantity, index)
        if quantity in BY_METER:
            m, b = _through_meter(sheet, index, prediction, m, b)
        mean[:, index] = m
        deviation[:, index] = np.sqrt(own[index][None, :, None] ** 2 + s**2)
        if by is not None and b is not None:
            by[:, index] = b
    return Indicated(mean, deviation, by)


def _through_meter(
    sheet: Sheet, index: IntArray, prediction: Prediction, mean: Array, by: Array | None
) -> tuple[Array, Array | None]:
    """Indications with the meter's own gain error and the offset of the range it is in."""
    at = prediction.meter_at
    gain = 1.0 + sheet.meter_share * prediction.meter[:, :1]  # (M, 1)
    shown = mean * gain[:, :, None]
    if by is not None:
        by = by * gain[:, :, None]
        by[:, :, at] += sheet.meter_share * mean[:, :, 0]
    if sheet.range_number is None or sheet.range_volt is None:
        return shown, by
    number, volt = sheet.range_number[index], sheet.range_volt[index]
    shown = shown + (prediction.meter[:, 1 + number] * volt)[:, :, None]
    if by is not None:
        by[:, np.arange(index.size), at + 1 + number] += volt
    return shown, by


class _View:
    """Access to predicted fields by reading, at all wires or at the assigned one."""

    def __init__(
        self, table: HypothesisTable, sheet: Sheet, prediction: Prediction, pick: IntArray | None
    ) -> None:
        self.table, self.sheet, self.prediction, self.pick = table, sheet, prediction, pick

    def at(self, field: Field, index: IntArray) -> tuple[Array, Array | None]:
        """Field in the readings' rounds: (M, n, C) and slopes (M, n, n_z)."""
        rounds = self.sheet.round[index]
        value = field.value[:, rounds]
        if self.pick is None or value.shape[2] == 1:
            by = None if self.pick is None or field.by is None else field.by[:, rounds, 0]
            return value, by
        n_t = value.shape[2]
        wire = self.pick[:, np.maximum(self.sheet.terminal[index], 0)]  # (M, n)
        safe = np.minimum(wire, n_t - 1)
        picked = np.take_along_axis(value, safe[:, :, None], axis=2)
        by = None
        if field.by is not None:
            rows = np.arange(value.shape[0])[:, None]
            by = field.by[rows, rounds[None, :], safe]
        return picked, by

    def unused(self, index: IntArray) -> Bools:
        """Where the candidate wire is not there at all, (M, n, C)."""
        n_wire = self.table.n_wire[:, None, None]
        if self.pick is None:
            n_t = self.prediction.mean.value.shape[2]
            wire = np.arange(n_t)[None, None, :]
            return np.broadcast_to(wire >= n_wire, (n_wire.shape[0], index.size, n_t))
        wire = self.pick[:, np.maximum(self.sheet.terminal[index], 0)][:, :, None]
        return np.asarray(wire >= n_wire)

    def indication(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        """Mean, extra standard deviation and slopes of readings of one quantity."""
        if q in VOLTAGES:
            return self._volts(q, index)
        if q == Quantity.VOLTS_LOADED:
            return self._loaded(index)
        if q in (Quantity.HERTZ, Quantity.DUTY):
            return self._counted(q, index)
        if q == Quantity.SENSOR_OHM:
            return self._sensor_ohm(index)
        if q in (Quantity.VOLTS_AC, Quantity.HARNESS_OHM):
            return self._at_wire(q, index)
        return self._of_round(q, index)

    def _at_wire(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        """Alternating volts, and ohms from a harness terminal to the black lead's point."""
        p = self.prediction
        if q == Quantity.VOLTS_AC:
            value, by = self.at(p.alternating, index)
            gone = self.unused(index)
            return np.where(gone, 0.0, value), 0.02 + 0.08 * value, _masked(by, gone)
        value, by = self.at(p.thevenin, index)
        gone = self.unused(index)
        total = np.where(gone, 1e9, value) + LEAD_OHM
        slope = None if by is None else by / total[:, :, 0, None]
        inside = np.where(total > HARNESS_INSIDE_OHM, 0.4, 0.05)
        spread = inside + np.minimum(HARNESS_SPREAD_OHM / total, 2.0)
        return np.log(total), spread, _masked(slope, gone)

    def _counted(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        """Frequency and duty; NaN where there is nothing that a meter counts."""
        p = self.prediction
        hertz, hertz_by = self.at(p.log_hertz, index)
        gone = self.unused(index) | np.isnan(hertz)
        if q == Quantity.HERTZ:
            spread = np.full(hertz.shape, 0.01)
            return np.where(gone, np.nan, hertz), spread, _masked(hertz_by, gone)
        share, by = self.at(p.share_high, index)
        return np.where(gone, np.nan, share), np.full(share.shape, 0.02), _masked(by, gone)

    def _volts(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        p = self.prediction
        value, by = self.at(p.mean, index)
        high, high_by = self.at(p.high, index)
        low, low_by = self.at(p.low, index)
        swing = high - low
        spans = np.array([r.spans for r in self.sheet.rounds])[self.sheet.round[index]]
        extra = np.where(spans[None, :, None], MOVING_SHARE, SWING_SHARE) * swing
        if q != Quantity.VOLTS:
            level, level_by = (high, high_by) if q == Quantity.VOLTS_HIGH else (low, low_by)
            log_hertz, _ = self.at(p.log_hertz, index)
            fast = np.nan_to_num(log_hertz, nan=-9.0) > np.log(FAST_HERTZ)
            read = self.sheet.value[index][None, :, None]
            # A hold that averages shows anything from the mean to the level of a fast signal.
            inner, outer = np.minimum(value, level), np.maximum(value, level)
            between = fast & (read > inner) & (read < outer)
            nearer = np.abs(value - read) < np.abs(level - read)
            as_mean = fast & nearer
            value = np.where(between, read, np.where(as_mean, value, level))
            extra = 0.05 * swing
            if by is not None and level_by is not None:
                slope = np.where(as_mean[:, :, 0, None], by, level_by)
                by = np.where(between[:, :, 0, None], 0.0, slope)
        return self._against_lead(value, by, extra, index)

    def _loaded(self, index: IntArray) -> tuple[Array, Array, Array | None]:
        p = self.prediction
        value, by = self.at(p.mean, index)
        source, source_by = self.at(p.thevenin, index)
        load = self.sheet.load_ohm[index][None, :, None]
        share = load / (load + source)
        loaded = value * share
        if by is not None and source_by is not None:
            slope = -value * share**2 / load
            by = by * share[:, :, 0, None] + source_by * slope[:, :, 0, None]
        tolerance = LOAD_TOLERANCE * np.abs(loaded) * (1.0 - share)
        return self._against_lead(loaded, by, tolerance, index, metered=False)

    def _against_lead(
        self,
        value: Array,
        by: Array | None,
        extra: Array,
        index: IntArray,
        metered: bool = True,
    ) -> tuple[Array, Array, Array | None]:
        """Indication against the black lead's point, with the meter's own load."""
        p, gone = self.prediction, self.unused(index)
        gain, gain_by = self.at(p.lead_gain, index)
        offset, offset_by = self.at(p.lead_offset, index)
        source, source_by = self.at(p.thevenin, index)
        load = self.sheet.input_ohm / (self.sheet.input_ohm + source)
        if not metered:
            load = np.ones_like(load)
        value = np.where(gone, 0.0, value)
        shown = gain * (value * load - offset)
        bad = p.lead_bad[:, self.sheet.round[index]]
        wander = np.where(bad, BAD_LEAD_WANDER, 0.0)[:, :, None]
        weak = source / (source + GHOST_OHM)
        ghost = np.where(gone, UNUSED_VOLT, GHOST_VOLT * weak)
        spread = np.sqrt(extra**2 + wander**2 + ghost**2 + MODEL_VOLT**2)
        if by is None or offset_by is None or gain_by is None:
            return shown, spread, None
        slope = np.where(gone, 0.0, by * load[:, :, 0, None])
        if metered and source_by is not None:
            shrink = -value * load**2 / self.sheet.input_ohm
            slope = slope + np.where(gone, 0.0, source_by * shrink[:, :, 0, None])
        difference = (value * load - offset)[:, :, 0, None]
        total = gain[:, :, 0, None] * (slope - offset_by) + gain_by * difference
        return shown, spread, total

    def _sensor_ohm(self, index: IntArray) -> tuple[Array, Array, Array | None]:
        """Only the assigned pair; all pairs are made by `pair_tables`."""
        ohm = self.prediction.ohm
        n_m = self.table.n_wire.size
        n_c = self.prediction.mean.value.shape[2] if self.pick is None else 1
        shape = (n_m, index.size, n_c)
        if self.pick is None:
            return np.full(shape, np.nan), np.full(shape, 0.1), None
        n_t = ohm.shape[2]
        a, b = self.pick[:, self.sheet.terminal[index]], self.pick[:, self.sheet.other[index]]
        rows = np.arange(n_m)[:, None]
        rounds = self.sheet.round[index][None, :]
        picked = ohm[rows, rounds, np.minimum(a, n_t - 1), np.minimum(b, n_t - 1)]
        n_wire = self.table.n_wire[:, None]
        picked = np.where((a >= n_wire) | (b >= n_wire), np.inf, picked)
        by = None
        if self.prediction.ohm_by is not None:
            by = self.prediction.ohm_by[
                rows, rounds, np.minimum(a, n_t - 1), np.minimum(b, n_t - 1)
            ]
            finite = np.isfinite(picked)
            share = 1.0 - LEAD_OHM / np.exp(with_leads(np.where(finite, picked, 0.0)))
            by = np.where(finite[:, :, None], by * share[:, :, None], 0.0)
        return with_leads(picked)[:, :, None], np.full(shape, 0.04), by

    def _of_round(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        p = self.prediction
        if q == Quantity.BATTERY:
            value, by = self.at(p.battery, index)
            return self._spread(value, 0.0), self._spread(np.zeros_like(value), 0.01), by
        if q == Quantity.LEAD_CHECK:
            value, by = self.at(p.battery, index)
            gain, gain_by = self.at(p.lead_gain, index)
            offset, offset_by = self.at(p.lead_offset, index)
            bad = p.lead_bad[:, self.sheet.round[index]]
            wander = np.where(bad, BAD_LEAD_WANDER, 0.01)[:, :, None]
            shown = gain * (value - offset)
            if by is not None and offset_by is not None and gain_by is not None:
                across = (value - offset)[:, :, 0, None]
                by = gain[:, :, 0, None] * (by - offset_by) + gain_by * across
            return self._spread(shown, 0.0), self._spread(wander, 0.0), by
        if q == Quantity.AMBIENT:
            value, by = self.at(p.celsius, index)
            return self._spread(value, 0.0), self._spread(np.zeros_like(value), 0.0), by
        return self._input(q, index)

    def _input(self, q: Quantity, index: IntArray) -> tuple[Array, Array, Array | None]:
        """What the control unit sees at its own end of the wire with the role it speaks of."""
        p = self.prediction
        role = self.sheet.wire_role[index]
        is_it = self.table.role[:, None, :] == role[None, :, None]  # (M, n, T)
        there = is_it.any(axis=2)
        wire = np.argmax(is_it, axis=2)
        rows, rounds = np.arange(wire.shape[0])[:, None], self.sheet.round[index][None, :]
        volts = p.unit.value[rows, rounds, wire]
        volts = np.where(there, volts, np.nan)
        by = None
        if self.pick is not None and p.unit.by is not None:
            by = np.where(there[:, :, None], p.unit.by[rows, rounds, wire], 0.0)
        if q == Quantity.INPUT_VOLTS:
            return (
                self._spread(volts[:, :, None], 0.0),
                self._spread(np.zeros_like(volts[:, :, None]), 0.03),
                by,
            )
        share = volts / NOMINAL_SUPPLY
        celsius, celsius_by = self.at(p.celsius, index)
        celsius = celsius[:, :, 0]
        limit = np.where(share > 0.95, -40.0, np.where(share < 0.05, 140.0, celsius))
        inside = (share <= 0.95) & (share >= 0.05)
        slope = None
        if celsius_by is not None and self.pick is not None:
            slope = np.where(inside[:, :, None], celsius_by, 0.0)
        return (
            self._spread(limit[:, :, None], 0.0),
            self._spread(np.zeros_like(limit[:, :, None]), CELSIUS_SPREAD),
            slope,
        )

    def _spread(self, value: Array, floor: float) -> Array:
        """One column repeated over all candidate wires, not smaller than a floor."""
        n_c = self.prediction.mean.value.shape[2] if self.pick is None else 1
        return np.asarray(
            np.broadcast_to(
                np.maximum(np.abs(value), floor) if floor else value,
                (value.shape[0], value.shape[1], n_c),
            )
        )


def with_leads(log_ohm: Array) -> Array:
    """Log resistance with the meter's leads in series; inf stays open."""
    finite = np.isfinite(log_ohm)
    ohm = np.exp(np.where(finite, log_ohm, 0.0)) + LEAD_OHM
    return np.where(finite, np.log(ohm), log_ohm)


def _masked(by: Array | None, gone: Bools) -> Array | None:
    return None if by is None else np.where(gone[:, :, :1], 0.0, by)


def student_log_density(residual: Array, deviation: Array) -> Array:
    """Log density of Student's t with `FREEDOM` degrees of freedom, scaled."""
    constant = float(
        gammaln(0.5 * (FREEDOM + 1)) - gammaln(0.5 * FREEDOM) - 0.5 * np.log(FREEDOM * np.pi)
    )
    square = (residual / deviation) ** 2
    return np.asarray(
        constant - np.log(deviation) - 0.5 * (FREEDOM + 1) * np.log1p(square / FREEDOM)
    )


def log_likelihood(sheet: Sheet, indicated: Indicated) -> Array:
    """Log likelihood of each reading for each candidate wire.

    Parameters
    ----------
    sheet : Sheet
        n_read readings.
    indicated : Indicated
        Predictions, shapes (M, n_read, C).

    Returns
    -------
    ndarray, shape (M, n_read, C)
        Log likelihood; a slip of the pen bounds it below.
    """
    value, _ = noted(sheet)
    result = np.empty(indicated.mean.shape)
    for q in np.unique(sheet.quantity):
        quantity = Quantity(int(q))
        index = np.flatnonzero(sheet.quantity == q)
        mean, deviation = indicated.mean[:, index], indicated.deviation[:, index]
        result[:, index] = quantity_log_likelihood(
            quantity, value[index][None, :, None], mean, deviation
        )
    return result


def quantity_log_likelihood(
    quantity: Quantity, value: Array, mean: Array, deviation: Array
) -> Array:
    """Log likelihood of readings of one quantity; value broadcasts against mean."""
    broad = BROAD_DENSITY[quantity]
    shape = np.broadcast_shapes(value.shape, mean.shape)
    noted_value = np.broadcast_to(value, shape)
    number, told = np.isfinite(noted_value), ~np.isnan(mean)
    safe_mean = np.where(np.isfinite(mean), mean, 0.0)
    residual = np.where(number, noted_value, 0.0) - safe_mean
    density = student_log_density(residual, deviation)
    slip = np.log(SLIP_SHARE * broad)
    if quantity in (Quantity.HARNESS_OHM, Quantity.SENSOR_OHM):
        p_open = expit((np.where(np.isposinf(mean), 50.0, safe_mean) - np.log(OPEN_OHM)) / 0.3)
        closed = np.log1p(-np.minimum(p_open, 1 - 1e-9)) + density
        as_number = np.where(told, closed, np.log((1 - CANNOT_TELL_OPEN) * broad))
        as_open = np.where(told, np.log(np.maximum(p_open, 1e-9)), np.log(CANNOT_TELL_OPEN))
    elif quantity in (Quantity.HERTZ, Quantity.DUTY):
        as_number = np.where(told, np.log1p(-HIDDEN) + density, np.log(COUNTED_ANYWAY * broad))
        as_open = np.where(told, np.log(HIDDEN), np.log(NOTHING_COUNTED))
    else:
        as_number = np.where(told, density, np.log(broad))
        as_open = np.full(shape, np.log(1e-4))
    good = np.where(number, as_number, as_open)
    return np.asarray(np.logaddexp(np.log1p(-SLIP_SHARE) + good, slip))


def pair_tables(
    table: HypothesisTable, sheet: Sheet, prediction: Prediction
) -> list[tuple[int, int, Array]]:
    """Log factors of resistances between two terminals by the wires of both.

    Returns
    -------
    list of (terminal, terminal, ndarray of shape (M, n, n))
        One entry a pair of terminals, readings of the same pair multiplied.
    """
    found: dict[tuple[int, int], Array] = {}
    ohm = prediction.ohm
    value, deviation = noted(sheet)
    n_t = ohm.shape[2]
    gone = np.arange(n_t)[None] >= table.n_wire[:, None]  # (M, T)
    nothing = gone[:, :, None] | gone[:, None, :]
    for i in np.flatnonzero(sheet.is_pair):
        mean = with_leads(np.where(nothing, np.inf, ohm[:, sheet.round[i]]))
        spread = np.sqrt(deviation[i] ** 2 + 0.04**2)
        factor = quantity_log_likelihood(
            Quantity.SENSOR_OHM, value[i : i + 1], mean, np.full(mean.shape, spread)
        )
        key = (int(sheet.terminal[i]), int(sheet.other[i]))
        found[key] = found[key] + factor if key in found else factor
    return [(a, b, f) for (a, b), f in found.items()]


def assignment_tables(table: HypothesisTable, sheet: Sheet, log_like: Array) -> tuple[Array, Array]:
    """Unary log factors by terminal and wire, and the factor that no assignment changes.

    Parameters
    ----------
    log_like : ndarray, shape (M, n_read, T)
        From `log_likelihood` over all candidates.

    Returns
    -------
    unary : ndarray, shape (M, n_terminal, n_terminal)
        Sum over a terminal's readings, with the witnesses that are no measurement.
    common : ndarray, shape (M,)
        Readings of the round as a whole.
    """
    n_m, n = log_like.shape[0], sheet.n_terminal
    unary = np.zeros((n_m, n, n))
    single = sheet.is_unary
    for t in range(n):
        mask = single & (sheet.terminal == t)
        unary[:, t] = log_like[:, mask].sum(axis=1)
    role = np.where(table.role >= 0, table.role, sheet.role_log.shape[1] - 1)
    unary += np.moveaxis(sheet.role_log[:, role], 1, 0)
    rest = ~single & ~sheet.is_pair
    return unary, log_like[:, rest, 0].sum(axis=1)
