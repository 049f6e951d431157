"""From predicted circuits to predicted indications.

A reading is ``gain (V - V_black_lead) + error``, V with the meter's input resistance in the
circuit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prediction import Field, Prediction
from backprobe.core.inference.readings import LEAD_OHM, Readings, readings_of, with_leads
from backprobe.core.inference.sheet import HIGHEST, STATE_LEVELS, Quantity, Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]
Told = tuple[Array, Array, Array | None]

GHOST_VOLT = 0.1  # what damp and stray fields put on a floating wire, V (common practice)
QUIET_VOLT = 0.006  # the same of a wire that hardly picks up anything, V (common practice)
GHOST_OHM = 3e5  # source resistance at which half of that shows, ohm (common practice)
UNUSED_VOLT = 0.008  # what an unused cavity shows, V (common practice)
MODEL_VOLT = 0.004  # what splices and shared wires add that no model holds, V (common practice)
BAD_LEAD_WANDER = 0.3  # change from reading to reading behind a bad black lead, V
SWING_SHARE = 0.03  # error of a meter's mean of a switching signal, share of its swing
HELD_SHARE = 0.05  # error of a highest or lowest value that a meter kept, share of the swing
LEVEL_SHARE = 0.02  # the same of a state level on an oscilloscope (common practice)
MOVING_SHARE = 0.35  # the same while the quantity itself moves between two extremes
FAST_HERTZ = 6.0  # above it a min/max hold that averages 0.1 s no longer sees the levels
LOAD_TOLERANCE = 0.01  # of the loading resistor (a 1 % resistor)
HARNESS_SPREAD_OHM = 3.0  # what filters and rails inside a control unit add, ohm (common practice)
HARNESS_INSIDE_OHM = 50.0  # above it the reading runs through unpowered electronics
CELSIUS_SPREAD = 6.0  # a control unit's own curve against the sensor's, degC (common practice)
COLD_LIMIT, HOT_LIMIT = -35.0, 125.0  # reported temperatures beyond these mean a circuit limit
NOMINAL_SUPPLY = 5.0  # V, what a control unit measures its inputs against: it reports no more
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
    Quantity.INPUT_CELSIUS: ("celsius",),
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
        The same of the standard deviation, for what a floating wire picks up.
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
    view = _View(table, sheet, prediction, pick, sorted_)
    shape = (table.n_wire.size, sheet.n_read, view.n_candidate)
    mean, spread = np.full(shape, np.nan), np.zeros(shape)
    slopes = prediction.lead_offset.by
    by = None
    if pick is not None and slopes is not None:
        by = np.zeros((*shape[:2], slopes.shape[-1]))
    for quantity, index in sorted_.groups:
        mean[:, index], spread[:, index], b = view.indication(quantity, index)
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
    if view.ghost is not None:
        index, square_by = view.ghost
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


class _View:
    """Access to predicted fields by reading, at all wires or at the assigned one."""

    def __init__(
        self,
        table: HypothesisTable,
        sheet: Sheet,
        prediction: Prediction,
        pick: IntArray | None,
        readings: Readings,
    ) -> None:
        self.table, self.sheet, self.prediction, self.pick = table, sheet, prediction, pick
        self.readings = readings
        self.n_wire_most = prediction.mean.value.shape[2]
        self.n_candidate = self.n_wire_most if pick is None else 1
        self.rows = np.arange(table.n_wire.size)[:, None]
        # Readings of volts at a wire, and half the slope of the square of what they pick up.
        self.ghost: tuple[IntArray, Array] | None = None
        # The same readings' extra standard deviation where they pick up hardly anything.
        self.quiet: tuple[IntArray, Array] | None = None

    def wire(self, index: IntArray) -> IntArray:
        """Assigned wire of each reading, (M, n)."""
        if self.pick is None:
            raise AssertionError  # asked for where wires are assigned; tells the type checker
        return self.pick[:, np.maximum(self.sheet.terminal[index], 0)]

    def at(self, field: Field, index: IntArray) -> tuple[Array, Array | None]:
        """Field in the readings' rounds: (M, n, C) and slopes (M, n, n_z)."""
        rounds = self.sheet.round[index]
        if self.pick is None:
            return field.value[:, rounds], None
        if field.value.shape[2] == 1:
            by = None if field.by is None else field.by[:, rounds, 0]
            return field.value[:, rounds], by
        wire = np.minimum(self.wire(index), self.n_wire_most - 1)
        place = (self.rows * field.value.shape[1] + rounds) * self.n_wire_most + wire
        by = None
        if field.by is not None:
            by = field.by.reshape(-1, field.by.shape[3]).take(place, axis=0)
        return field.value.ravel().take(place)[:, :, None], by

    def unused(self, index: IntArray) -> Bools:
        """Where the candidate wire is not there at all, (M, n, C)."""
        n_wire = self.table.n_wire[:, None, None]
        if self.pick is None:
            wire = np.arange(self.n_wire_most)[None, None, :]
            return np.broadcast_to(wire >= n_wire, (n_wire.shape[0], index.size, wire.size))
        return np.asarray(self.wire(index)[:, :, None] >= n_wire)

    def indication(self, q: Quantity, index: IntArray) -> Told:
        """Mean, extra standard deviation and slopes of readings of one group."""
        if q == Quantity.VOLTS:
            return self._volts(index)
        if q in (Quantity.HERTZ, Quantity.DUTY):
            return self._counted(q, index)
        if q == Quantity.SENSOR_OHM:
            return self._sensor_ohm(index)
        if q in (Quantity.VOLTS_AC, Quantity.HARNESS_OHM):
            return self._at_wire(q, index)
        return self._of_round(q, index)

    def _at_wire(self, q: Quantity, index: IntArray) -> Told:
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

    def _counted(self, q: Quantity, index: IntArray) -> Told:
        """Frequency and duty; NaN where there is nothing that a meter counts."""
        p = self.prediction
        hertz, hertz_by = self.at(p.log_hertz, index)
        gone = self.unused(index) | np.isnan(hertz)
        if q == Quantity.HERTZ:
            spread = np.full(hertz.shape, 0.01)
            return np.where(gone, np.nan, hertz), spread, _masked(hertz_by, gone)
        share, by = self.at(p.share_high, index)
        return np.where(gone, np.nan, share), np.full(share.shape, 0.02), _masked(by, gone)

    def _volts(self, index: IntArray) -> Told:
        """DC volts at a wire: mean, highest or lowest, or with a resistor to battery negative."""
        p = self.prediction
        value, by = self.at(p.mean, index)
        source, source_by = self.at(p.thevenin, index)
        swing = self.at(p.high, index)[0] - self.at(p.low, index)[0]
        share = np.where(self.readings.spans[index], MOVING_SHARE, SWING_SHARE)
        extra = share[:, None] * swing
        load = self.sheet.input_ohm / (self.sheet.input_ohm + source)
        shrink = load / self.sheet.input_ohm  # of the slope by the source's resistance, 1/ohm
        held = np.flatnonzero(self.readings.held[index])
        if held.size:
            value[:, held], slope = self._held(value[:, held], by, index, held)
            is_level = np.isin(self.sheet.quantity[index[held]], [int(q) for q in STATE_LEVELS])
            part = np.where(is_level, LEVEL_SHARE, HELD_SHARE)
            extra[:, held] = part[:, None] * swing[:, held]
            if by is not None and slope is not None:
                by[:, held] = slope
        loaded = np.flatnonzero(self.readings.loaded[index])
        if loaded.size:
            ohm = self.sheet.load_ohm[index[loaded]][:, None]
            load[:, loaded] = part = ohm / (ohm + source[:, loaded])
            shrink[:, loaded] = part / ohm
            extra[:, loaded] = LOAD_TOLERANCE * np.abs(value[:, loaded] * part) * (1.0 - part)
        return self._against_lead(value, by, extra, index, _Load(load, shrink, source, source_by))

    def _held(
        self, value: Array, by: Array | None, index: IntArray, held: IntArray
    ) -> tuple[Array, Array | None]:
        """Highest and lowest levels and their slopes, of readings ``index[held]``."""
        p, mine = self.prediction, index[held]
        quantity = self.sheet.quantity[mine]
        highest = np.isin(quantity, [int(q) for q in HIGHEST])
        level, level_by = self._either(p.high, p.low, highest, mine)
        log_hertz, _ = self.at(p.log_hertz, mine)
        averages = ~np.isin(quantity, [int(q) for q in STATE_LEVELS])
        fast = (np.nan_to_num(log_hertz, nan=-9.0) > np.log(FAST_HERTZ)) & averages[:, None]
        read = self.sheet.value[mine][None, :, None]
        # A hold that averages shows anything from the mean to the level of a fast signal.
        inner, outer = np.minimum(value, level), np.maximum(value, level)
        between = fast & (read > inner) & (read < outer)
        nearer = np.abs(value - read) < np.abs(level - read)
        as_mean = fast & nearer
        shown = np.where(between, read, np.where(as_mean, value, level))
        if by is None or level_by is None:
            return shown, None
        slope = np.where(as_mean[:, :, 0, None], by[:, held], level_by)
        return shown, np.where(between[:, :, 0, None], 0.0, slope)

    def _either(
        self, first: Field, second: Field, is_first: Bools, index: IntArray
    ) -> tuple[Array, Array | None]:
        """One field at some readings, another one at the rest."""
        value = np.where(is_first[:, None], self.at(first, index)[0], self.at(second, index)[0])
        slopes = [
            (of, self.at(field, index[of])[1])
            for field, of in ((first, is_first), (second, ~is_first))
            if of.any()
        ]
        if self.pick is None or any(by is None for _, by in slopes):
            return value, None
        n_z = max(by.shape[2] for _, by in slopes if by is not None)
        joined = np.zeros((value.shape[0], index.size, n_z))
        for of, by in slopes:
            joined[:, of] = by
        return value, joined

    def _against_lead(
        self, value: Array, by: Array | None, extra: Array, index: IntArray, load: "_Load"
    ) -> Told:
        """Indication against the black lead's point, with the load on the wire."""
        p, gone = self.prediction, self.unused(index)
        gain, gain_by = self.at(p.lead_gain, index)
        offset, offset_by = self.at(p.lead_offset, index)
        value = np.where(gone, 0.0, value * load.share)
        difference = value - offset
        idle = self._idle(index, difference)
        as_before = gone & (idle != 0.0)
        difference = np.where(as_before, idle, difference)
        bad = p.lead_bad[:, self.sheet.round[index]]
        wander = np.where(bad, BAD_LEAD_WANDER, 0.0)[:, :, None]
        weak = load.source / (load.source + GHOST_OHM)
        ghost = np.where(gone, UNUSED_VOLT, GHOST_VOLT * weak)
        known = extra**2 + wander**2 + MODEL_VOLT**2
        spread = np.sqrt(known + ghost**2)
        self.quiet = index, np.sqrt(known + np.where(gone, ghost, QUIET_VOLT * weak) ** 2)
        if by is None or offset_by is None or gain_by is None:
            return np.where(as_before, difference, gain * difference), spread, None
        share = np.where(gone, 0.0, load.share)
        slope = by * share
        if load.source_by is not None:
            slope -= load.source_by * (value * load.shrink)
            steep = np.where(gone, 0.0, ghost * GHOST_VOLT * GHOST_OHM)
            self.ghost = index, load.source_by * (steep / (load.source + GHOST_OHM) ** 2)
        slope -= offset_by
        slope *= gain
        slope += gain_by * difference
        slope[as_before[:, :, 0]] = 0.0
        return np.where(as_before, difference, gain * difference), spread, slope

    def _idle(self, index: IntArray, difference: Array) -> Array:
        """What an idle terminal showed before where it shows that again, 0 elsewhere, (M, n, C)."""
        before = self.readings.idle[index][None, :, None]
        read = self.sheet.value[index][None, :, None]
        nearer = np.abs(read - before) < np.abs(read - difference)
        return np.where(nearer, before, 0.0)

    def _sensor_ohm(self, index: IntArray) -> Told:
        """Only the assigned pair; all pairs are made by `pair_tables`."""
        ohm = self.prediction.ohm
        n_m = self.table.n_wire.size
        shape = (n_m, index.size, self.n_candidate)
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

    def _of_round(self, q: Quantity, index: IntArray) -> Told:
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

    def _input(self, q: Quantity, index: IntArray) -> Told:
        """What the control unit sees at its own end of the wire that it speaks of."""
        p = self.prediction
        wire = self.table.reported[:, self.sheet.reported[index]]  # (M, n)
        there = wire >= 0
        rows, rounds = np.arange(wire.shape[0])[:, None], self.sheet.round[index][None, :]
        volts = p.unit.value[rows, rounds, wire]
        volts = np.where(there, volts, np.nan)
        by = None
        if q == Quantity.REPORTED:
            nothing = np.where(there, 0.0, np.nan)[:, :, None]
            return self._spread(nothing, 0.0), self._spread(np.zeros_like(nothing), 0.0), None
        if self.pick is not None and p.unit.by is not None:
            by = np.where(there[:, :, None], p.unit.by[rows, rounds, wire], 0.0)
        if q == Quantity.INPUT_VOLTS:
            seen = np.clip(volts, 0.0, NOMINAL_SUPPLY)  # a converter ends at its reference
            if by is not None:
                by = np.where((seen == volts)[:, :, None], by, 0.0)
            return (
                self._spread(seen[:, :, None], 0.0),
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
        shape = (value.shape[0], value.shape[1], self.n_candidate)
        return np.asarray(
            np.broadcast_to(np.maximum(np.abs(value), floor) if floor else value, shape)
        )


@dataclass(frozen=True, slots=True)
class _Load:
    """What loads a wire: the meter, or a resistor.

    share : ndarray, shape (M, n, C): share of the open voltage that is left.
    shrink : ndarray, shape (M, n, C): relative change of what is left by the source's resistance,
        1/ohm, taken as positive.
    source : ndarray, shape (M, n, C): the source's resistance, ohm.
    source_by : its slopes by z, (M, n, n_z), or None.
    """

    share: Array
    shrink: Array
    source: Array
    source_by: Array | None


def _masked(by: Array | None, gone: Bools) -> Array | None:
    return None if by is None else np.where(gone[:, :, :1], 0.0, by)
