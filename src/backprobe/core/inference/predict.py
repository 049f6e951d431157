"""What a sheet of readings would show under many hypotheses at once.

All rounds of all hypotheses are solved in one batch; two levels of switching elements and the two
ends of a movement are combined into what a meter shows of them.
"""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, Extra, evaluate
from backprobe.core.circuit.plan import N_SWITCH, Mode
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.prior import normal_shape, uniform_shape
from backprobe.core.inference.round_values import RoundValues, round_values
from backprobe.core.inference.sheet import N_RANGE, Sheet, SheetRound

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]
Walk = dict[str, IntArray]

SOUND_POINT_VOLT = (
    0.01  # offset of a sound black-lead point, one standard deviation (common practice)
)
SOUND_LEAD_VOLT = 0.005  # how it changes from round to round (common practice)
BAD_LEAD_VOLT = 1.0  # of a bad one (common practice)
BAD_LEAD_GAIN = (0.45, 1.0)  # its gain lies between these (common practice)
BATTERY_SLOT = 0  # place of the battery among the driven quantities
SMALLEST_SHARE = 1e-3  # a level held for less of the time does not show on a meter
SLOWEST_SHOWN_HERTZ = 0.5
SMALLEST_COUNTED_VOLT = 0.4  # swing below which a meter counts nothing (common practice)
SMALLEST_COUNTED_AC = 0.05
_FIELDS = ("mean", "unit", "alternating", "thevenin", "share_high", "log_hertz", "high", "low")


@dataclass(frozen=True, slots=True)
class Field:
    """A predicted quantity and its sensitivities.

    value : ndarray, shape (M, R, T); by : ndarray, shape (M, R, T, n_z), or None.
    """

    value: Array
    by: Array | None = None


@dataclass(frozen=True, slots=True)
class Prediction:
    """Predicted quantities at every wire of M hypotheses in R rounds.

    mean, high, low, alternating, thevenin, unit, log_hertz, share_high : Field, (M, R, T)
        Direct mean, highest and lowest level, rms of what alternates, V; Thevenin resistance,
        ohm; voltage at the control unit's end, V; log of the frequency (NaN: none); share of
        time high.
    ohm : ndarray, shape (M, R, T, T)
        Log resistance between the lone sensor's terminals; inf: open; NaN: can't be told.
    ohm_by : ndarray, shape (M, R, T, T, n_z), or None
    lead_bad : ndarray of bool, shape (M, R): rounds explained with a bad black lead.
    meter : ndarray, shape (M, 1 + N_RANGE): coordinates of the meter's gain and offset errors.
    meter_at : where these coordinates begin.
    battery, lead_offset, lead_gain : Field, shapes (M, R, 1)
    celsius : Field, (M, R, 1): temperature of a thermistor or platinum sensor, NaN where none.
    """

    mean: Field
    high: Field
    low: Field
    alternating: Field
    thevenin: Field
    unit: Field
    log_hertz: Field
    share_high: Field
    ohm: Array
    ohm_by: Array | None
    lead_bad: Bools
    meter: Array
    meter_at: int
    battery: Field
    celsius: Field
    lead_offset: Field
    lead_gain: Field
    values: Array  # (M, R, P): values at the round's state


def predict(
    table: HypothesisTable,
    z: Array,
    sheet: Sheet,
    *,
    assigned: IntArray | None = None,
    sensitivities: bool = False,
    ohm_rounds: Collection[int] = (),
    lead_bad: Bools | None = None,
    walk: Walk | None = None,
) -> Prediction:
    """Predict everything that a meter could show of each hypothesis in each round.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    z : ndarray, shape (M, n_z)
        Coordinates, see `Layout`.
    sheet : Sheet
        Rounds (its readings are not looked at).
    assigned : ndarray of int, shape (M, n_terminal), optional
        Wire at each terminal; needed only where a round has fitted resistors.
    sensitivities : bool
        Whether to return derivatives by z.
    ohm_rounds : collection of int
        Rounds in which to solve the lone sensor for an ohmmeter.
    lead_bad : ndarray of bool, shape (M, R), optional
        Rounds that are explained with a bad black-lead point.
    walk : dict, optional
        Regions of piecewise-linear elements, kept between calls with like z, for speed.

    Returns
    -------
    Prediction
        See there.
    """
    layout = layout_of(table, sheet)
    values = round_values(table, layout, sheet, z)
    level, found = _solve(table, sheet, values, assigned, sensitivities, walk)
    fields = _combine(table, values, found, level, sensitivities)
    ohm, ohm_by = _ohm(table, values, sorted(ohm_rounds), sensitivities)
    if lead_bad is None:
        lead_bad = np.zeros((z.shape[0], len(sheet.rounds)), dtype=bool)
    offset, gain = _lead(layout, sheet, z, lead_bad)
    return Prediction(
        **fields,
        ohm=ohm,
        ohm_by=ohm_by,
        lead_bad=lead_bad,
        meter=z[:, layout.meter : layout.meter + 1 + N_RANGE],
        meter_at=layout.meter,
        battery=_of_round(table, values, np.zeros(z.shape[0], dtype=np.int64), sensitivities),
        celsius=_of_round(table, values, table.celsius, sensitivities),
        lead_offset=offset,
        lead_gain=gain,
        values=values.value[:, :, 0],
    )


def _mode(item: SheetRound) -> Mode:
    if item.powered:
        return Mode.PLUGGED if item.plugged else Mode.UNPLUGGED
    return Mode.PLUGGED_OFF if item.plugged else Mode.UNPLUGGED_OFF


def _solve(
    table: HypothesisTable,
    sheet: Sheet,
    values: RoundValues,
    assigned: IntArray | None,
    sensitivities: bool,
    walk: Walk | None,
) -> tuple[IntArray, Evaluation]:
    """Solve all rounds, sets and levels: levels (C, n_switch), results (M, R * S * C, ...)."""
    n_m, n_r, n_s, n_p = values.value.shape
    n_switch = _n_switch(table, sheet)
    level = np.array(list(product((0, 1), repeat=n_switch)), dtype=np.int64)
    level = level.reshape(2**n_switch, n_switch)
    n_c = len(level)
    both = np.zeros((n_c, N_SWITCH), dtype=np.int64)
    both[:, :n_switch] = level
    repeated = np.repeat(values.value.reshape(n_m, n_r * n_s, n_p), n_c, axis=1)
    mode = np.repeat([int(_mode(r)) for r in sheet.rounds], n_s * n_c)
    found = _solve_shared(
        table,
        repeated,
        mode,
        np.tile(both, (n_r * n_s, 1)),
        extra=_fitted(table, sheet, assigned, n_s * n_c),
        sensitivities=sensitivities,
        region=None if walk is None else walk.get("volts"),
    )
    if walk is not None:
        walk["volts"] = found.region
    return level, found


def _n_switch(table: HypothesisTable, sheet: Sheet) -> int:
    """Switching elements whose levels matter in some round of the sheet."""
    circuits = table.circuits
    plugged = any(r.plugged for r in sheet.rounds)
    powered = any(r.powered for r in sheet.rounds)
    own = circuits.active[:, :, int(Mode.UNPLUGGED)] & (circuits.switch >= 0)
    if not plugged and not (powered and own.any()):
        return 0
    return int((circuits.switch_share >= 0).sum(axis=1).max(initial=0))


def _solve_shared(
    table: HypothesisTable,
    values: Array,
    mode: IntArray,
    level: IntArray,
    *,
    sensitivities: bool,
    extra: Extra | None = None,
    region: IntArray | None = None,
    pairs: bool = False,
) -> Evaluation:
    """Solve rows that may share circuits: (M, I, P) values to (M, I, ...) results."""
    n_share, (n_m, n_i) = table.repeats, values.shape[:2]
    found = evaluate(
        table.circuits,
        values.reshape(n_m // n_share, n_share * n_i, values.shape[2]),
        np.tile(mode, n_share),
        np.tile(level, (n_share, 1)),
        extra=extra,
        wanted=table.wanted if sensitivities else None,
        region=region if n_share == 1 else None,
        pairs=pairs,
    )
    if n_share == 1:
        return found

    def unfolded(value: Array) -> Array:
        return value.reshape(n_m, n_i, *value.shape[2:])

    return Evaluation(
        voltage=unfolded(found.voltage),
        unit_voltage=unfolded(found.unit_voltage),
        alternating=unfolded(found.alternating),
        thevenin=unfolded(found.thevenin),
        settled=found.settled.reshape(n_m, n_i),
        region=found.region.reshape(n_m, n_i, -1),
    )


def _fitted(
    table: HypothesisTable, sheet: Sheet, assigned: IntArray | None, per_round: int
) -> Extra | None:
    """Resistors fitted in some rounds, for every solution."""
    most = max((len(r.fitted) for r in sheet.rounds), default=0)
    if most == 0 or assigned is None:
        return None
    n_m, n_r = table.n_wire.size, len(sheet.rounds)
    nodes = np.zeros((n_m, n_r, most, 2), dtype=np.int64)
    siemens = np.zeros((n_m, n_r, most))
    full = np.concatenate([table.circuits.probe, np.zeros((n_m, 1), dtype=np.int64)], axis=1)
    for r, item in enumerate(sheet.rounds):
        for f, (a, b, ohm) in enumerate(item.fitted):
            for side, terminal in enumerate((a, b)):
                if terminal >= 0:
                    wire = assigned[:, terminal]
                    wire = np.where(wire < table.n_wire, wire, full.shape[1] - 1)
                    nodes[:, r, f, side] = np.take_along_axis(full, wire[:, None], axis=1)[:, 0]
            siemens[:, r, f] = 1.0 / ohm
    return Extra(np.repeat(nodes, per_round, axis=1), np.repeat(siemens, per_round, axis=1))


def _ohm(
    table: HypothesisTable, values: RoundValues, rounds: list[int], sensitivities: bool
) -> tuple[Array, Array | None]:
    """Log resistance between the lone sensor's terminals, (M, R, T, T), and slopes by z."""
    n_m, n_r = values.value.shape[:2]
    n_t = table.role.shape[1]
    ohm = np.full((n_m, n_r, n_t, n_t), np.nan)
    if not rounds:
        return ohm, None
    some = values.rounds(rounds)
    stands = _contact_stands(table, some.value[:, :, 0])
    n_level = 1 if stands is None else 2
    levels = np.repeat(np.arange(2 - n_level, 2)[:, None], N_SWITCH, axis=1)
    found = _solve_shared(
        table,
        np.repeat(some.value[:, :, 0], n_level, axis=1),
        np.full(n_level * len(rounds), int(Mode.SENSOR_ALONE)),
        np.tile(levels, (len(rounds), 1)),
        sensitivities=sensitivities,
        pairs=True,
    )

    def standing(value: Array) -> Array:
        """Of both positions of a contact, the one it stands in."""
        both = value.reshape(n_m, len(rounds), n_level, *value.shape[2:])
        if stands is None:
            return both[:, :, 0]
        return both[np.arange(n_m)[:, None], np.arange(len(rounds)), stands]

    thevenin = standing(found.thevenin)
    own = np.diagonal(thevenin, axis1=2, axis2=3)
    across = own[..., :, None] + own[..., None, :]
    across = across - thevenin - np.swapaxes(thevenin, 2, 3)
    same = (table.component[:, :, None] == table.component[:, None, :])[:, None]
    active = (table.active_end[:, :, None] | table.active_end[:, None, :])[:, None]
    both = (table.active_end[:, :, None] & table.active_end[:, None, :])[:, None]
    safe = np.maximum(across, 1e-3)
    result = np.where(same, np.log(safe), np.where(active, np.nan, np.inf))
    ohm[:, rounds] = np.where(both & same & (across > 5e3), np.nan, result)
    if found.pair_by is None:
        return ohm, None
    by = standing(found.pair_by).reshape(n_m, len(rounds), 1, n_t * n_t, -1)
    chained = some.chain(by).reshape(n_m, len(rounds), n_t, n_t, -1) / safe[..., None]
    ohm_by = np.zeros((n_m, n_r, n_t, n_t, values.n_z))
    ohm_by[:, rounds] = chained
    return ohm, ohm_by


def _contact_stands(table: HypothesisTable, value: Array) -> IntArray | None:
    """Whether the lone sensor's contact is closed (1) or open (0), (M, R); None: has none."""
    circuits = table.circuits
    own = circuits.active[:, :, int(Mode.SENSOR_ALONE)] & (circuits.switch >= 0)
    if not own.any():
        return None
    number = np.where(own, circuits.switch, N_SWITCH).min(axis=1)
    slot = np.take_along_axis(
        circuits.switch_share, np.minimum(number, N_SWITCH - 1)[:, None], axis=1
    )[:, 0]
    slot = np.repeat(np.where(number < N_SWITCH, slot, -1), table.repeats)
    rows = np.arange(slot.size)[:, None]
    share = value[rows, np.arange(value.shape[1]), np.maximum(slot, 0)[:, None]]
    return np.where(slot[:, None] >= 0, share > 0.5, True).astype(np.int64)


def _shares(table: HypothesisTable, values: RoundValues, level: IntArray) -> tuple[Array, Array]:
    """Share of time of each level, (M, R, S, C), and its slopes by each switch's share."""
    n_m, n_r, n_s = values.value.shape[:3]
    n_switch = level.shape[1]
    weight = np.ones((n_m, n_r, n_s, len(level)))
    by = np.zeros((n_m, n_r, n_s, len(level), n_switch))
    slots = np.repeat(table.circuits.switch_share, table.repeats, axis=0)
    factors = []
    for s in range(n_switch):
        slot = np.broadcast_to(np.maximum(slots[:, s], 0)[:, None, None, None], (n_m, n_r, n_s, 1))
        share = np.take_along_axis(values.value, slot, axis=3)
        share = np.where((slots[:, s] >= 0)[:, None, None, None], share, 0.0)
        on = level[:, s] == 1
        factors.append(np.where(on, share, 1.0 - share))
        by[..., s] = np.where(on, 1.0, -1.0)
    for s, factor in enumerate(factors):
        weight = weight * factor
        for other in range(n_switch):
            if other != s:
                by[..., other] *= factor
    return weight / n_s, by / n_s


def _combine(
    table: HypothesisTable,
    values: RoundValues,
    found: Evaluation,
    level: IntArray,
    sensitivities: bool,
) -> dict[str, Field]:
    """Means, levels, duty and frequency of the solved combinations of levels."""
    n_m, n_r, n_s = values.value.shape[:3]
    n_c, n_t = len(level), table.role.shape[1]
    weight, weight_by = _shares(table, values, level)
    w = weight.reshape(n_m, n_r, n_s * n_c)

    def by_round(value: Array) -> Array:
        return value.reshape(n_m, n_r, n_s * n_c, *value.shape[2:])

    v = by_round(found.voltage)
    shown = w[..., None] > SMALLEST_SHARE / n_s
    top = np.argmax(np.where(shown, v, -np.inf), axis=2)
    bottom = np.argmin(np.where(shown, v, np.inf), axis=2)
    mean = np.einsum("mrc,mrct->mrt", w, v)
    deviation = v - mean[:, :, None]
    alternating, unit = by_round(found.alternating), by_round(found.unit_voltage)
    ac = np.einsum("mrc,mrct->mrt", w, alternating)
    spread = np.einsum("mrc,mrct->mrt", w, deviation**2) if n_s * n_c > 1 else 0.0 * mean
    high = np.take_along_axis(v, top[:, :, None], axis=2)[:, :, 0]
    low = np.take_along_axis(v, bottom[:, :, None], axis=2)[:, :, 0]
    is_up = (v > 0.5 * (high + low)[:, :, None]).astype(float)
    own = np.diagonal(by_round(found.thevenin), axis1=3, axis2=4)
    log_hertz, slot = _hertz(table, values, v[:, :, :n_c], high - low, ac)
    # A wire that alternates about its mean is above it for half of the time.
    swings = (slot >= 0) & (slot == table.alternating_hertz[:, None, None])
    is_up = np.where(swings[:, :, None], 0.5, is_up)
    value = {
        "mean": mean,
        "high": high,
        "low": low,
        "alternating": np.sqrt(spread + ac**2),
        "thevenin": np.einsum("mrc,mrct->mrt", w, own),
        "unit": np.einsum("mrc,mrct->mrt", w, unit),
        "log_hertz": log_hertz,
        "share_high": np.einsum("mrc,mrct->mrt", w, is_up),
    }
    if not sensitivities:
        return {name: Field(value[name]) for name in _FIELDS}
    each = _EachLevel(unit, own, alternating)
    rms = value["alternating"]
    parts = _Parts(weight, weight_by, v, deviation, is_up, each, ac, rms, top, bottom)
    by = _slopes(table, values, found, parts, slot)
    return {
        name: Field(value[name], by[:, :, k * n_t : (k + 1) * n_t])
        for k, name in enumerate(_FIELDS)
    }


def _hertz(
    table: HypothesisTable, values: RoundValues, voltage: Array, swing: Array, ac: Array
) -> tuple[Array, IntArray]:
    """Log frequency at each wire (NaN: nothing that a meter counts), and its value slot."""
    n_m, n_r, n_c, n_t = voltage.shape
    slot = np.full((n_m, n_r, n_t), -1, dtype=np.int64)
    both = np.repeat(table.circuits.switch_hertz, table.repeats, axis=0)
    n_switch = n_c.bit_length() - 1
    largest = np.full((n_m, n_r, n_t), SMALLEST_COUNTED_VOLT)
    for s in range(n_switch):
        up = (np.arange(n_c) >> (n_switch - 1 - s)) & 1 == 1
        moved = np.abs(voltage[:, :, up].mean(axis=2) - voltage[:, :, ~up].mean(axis=2))
        mine = both[:, s, None, None]
        better = (moved > largest) & (mine >= 0) & (swing > SMALLEST_COUNTED_VOLT)
        slot = np.where(better, mine, slot)
        largest = np.where(better, moved, largest)
    alternating = table.alternating_hertz[:, None, None]
    slot = np.where((ac > SMALLEST_COUNTED_AC) & (alternating >= 0), alternating, slot)
    hertz = np.take_along_axis(values.value[:, :, 0], np.maximum(slot, 0), axis=2)
    shown = (slot >= 0) & (hertz > SLOWEST_SHOWN_HERTZ)
    log_hertz = np.where(shown, np.log(np.maximum(hertz, 1e-3)), np.nan)
    return log_hertz, np.where(shown, slot, -1)


@dataclass(frozen=True, slots=True)
class _EachLevel:
    """What each level has of its own, beside its voltages, (M, R, SC, T)."""

    unit: Array
    thevenin: Array
    alternating: Array


@dataclass(frozen=True, slots=True)
class _Parts:
    """What the fields were combined from; C runs over sets and levels."""

    weight: Array  # (M, R, S, C)
    weight_by: Array  # (M, R, S, C, n_switch)
    voltage: Array  # (M, R, SC, T)
    deviation: Array  # (M, R, SC, T)
    is_up: Array  # (M, R, SC, T)
    each: _EachLevel
    ac: Array  # (M, R, T)
    rms: Array  # (M, R, T)
    top: IntArray  # (M, R, T)
    bottom: IntArray  # (M, R, T)


def _slopes(
    table: HypothesisTable,
    values: RoundValues,
    found: Evaluation,
    parts: _Parts,
    hertz_slot: IntArray,
) -> Array:
    """Derivatives by z of all fields in the order of `_FIELDS`, (M, R, 8 T, n_z)."""
    volt_by, unit_by = found.voltage_by, found.unit_by
    ac_by, thevenin_by = found.alternating_by, found.thevenin_by
    if volt_by is None or unit_by is None or ac_by is None or thevenin_by is None:
        raise AssertionError  # asked for by the caller; tells the type checker
    n_m, n_r, n_s, n_c = parts.weight.shape
    n_t, n_w = volt_by.shape[2:]
    shape = (n_m, n_r, n_s, n_c, n_t, n_w)
    weight = parts.weight[..., None, None]

    def summed(by: Array, factor: Array) -> Array:
        return np.asarray((by.reshape(shape) * factor).sum(axis=3))

    def leveled(per_level: Array) -> Array:
        """Slopes through the shares of time: sum of d weight times a quantity of each level."""
        out = np.zeros((n_m, n_r, n_s, n_t, n_w))
        given = per_level.reshape(n_m, n_r, n_s, n_c, n_t)
        slots = np.repeat(table.circuits.switch_share, table.repeats, axis=0)
        for k in range(parts.weight_by.shape[4]):
            here = (table.wanted == slots[:, k, None]) & (slots[:, k, None] >= 0)
            total = np.einsum("mrsc,mrsct->mrst", parts.weight_by[..., k], given)
            out += total[..., None] * here[:, None, None, None]
        return out

    def picked(place: IntArray) -> Array:
        """Slopes of the level that is the highest or lowest."""
        chosen = place[:, :, None] == np.arange(n_s * n_c)[:, None]
        return summed(volt_by, chosen.reshape(n_m, n_r, n_s, n_c, n_t)[..., None])

    deviation = parts.deviation.reshape(n_m, n_r, n_s, n_c, n_t)[..., None]
    spread = leveled(parts.deviation**2) + 2.0 * summed(volt_by, weight * deviation)
    ac = summed(ac_by, weight) + leveled(parts.each.alternating)
    safe = np.maximum(parts.rms, 1e-4)[:, :, None, :, None]
    is_slot = (table.wanted[:, None, None] == hertz_slot[..., None]) & (hertz_slot >= 0)[..., None]
    hertz = np.take_along_axis(values.value[:, :, 0], np.maximum(hertz_slot, 0), axis=2)
    by_hertz = np.zeros((n_m, n_r, n_s, n_t, n_w))
    by_hertz[:, :, 0] = is_slot / np.maximum(hertz, 1e-3)[..., None]
    stacked = [
        summed(volt_by, weight) + leveled(parts.voltage),
        summed(unit_by, weight) + leveled(parts.each.unit),
        (0.5 * spread + parts.ac[:, :, None, :, None] * ac) / safe,
        summed(thevenin_by, weight) + leveled(parts.each.thevenin),
        leveled(parts.is_up),
        by_hertz,
        picked(parts.top),
        picked(parts.bottom),
    ]
    return values.chain(np.concatenate(stacked, axis=3))


def _of_round(
    table: HypothesisTable, values: RoundValues, place: IntArray, sensitivities: bool
) -> Field:
    """A driven quantity itself, by its place among them (-1: NaN), in each round, (M, R, 1)."""
    n_m, n_r, n_s = values.value.shape[:3]
    there = place >= 0
    slot = np.take_along_axis(table.driven_slot, np.maximum(place, 0)[:, None], axis=1)[:, 0]
    index = np.broadcast_to(np.maximum(slot, 0)[:, None, None], (n_m, n_r, 1))
    value = np.take_along_axis(values.value[:, :, 0], index, axis=2)
    value = np.where(there[:, None, None], value, np.nan)
    if not sensitivities:
        return Field(value)
    by = np.zeros((n_m, n_r, n_s, 1, table.wanted.shape[1]))
    by[:, :, 0, 0] = ((table.wanted == slot[:, None]) & there[:, None])[:, None]
    return Field(value, values.chain(by))


def _lead(layout: Layout, sheet: Sheet, z: Array, lead_bad: Bools) -> tuple[Field, Field]:
    """Offset and gain of the black lead in each round, (M, R, 1)."""
    n_m, n_r = lead_bad.shape
    at = np.array([layout.lead(r) for r in range(n_r)], dtype=np.int64).reshape(n_r, 2)
    shape, slope = normal_shape(z[:, at[:, 0]])
    size = np.where(lead_bad, BAD_LEAD_VOLT, SOUND_LEAD_VOLT)
    offset_by, gain_by = np.zeros((n_m, n_r, 1, layout.size)), np.zeros((n_m, n_r, 1, layout.size))
    rounds = np.arange(n_r)
    offset_by[:, rounds, 0, at[:, 0]] = size * slope
    point_at = np.array([layout.point(r.point) for r in sheet.rounds], dtype=np.int64)
    point, point_slope = normal_shape(z[:, point_at])
    point_size = np.where(lead_bad, 0.0, SOUND_POINT_VOLT)
    offset_by[:, rounds, 0, point_at] = point_size * point_slope
    offset = size * shape + point_size * point
    low, high = BAD_LEAD_GAIN
    flat, flat_slope = uniform_shape(z[:, at[:, 1]])
    bad_gain = 0.5 * (low + high) + 0.5 * (high - low) * flat
    gain = np.where(lead_bad, bad_gain, 1.0)
    gain_by[:, rounds, 0, at[:, 1]] = np.where(lead_bad, 0.5 * (high - low) * flat_slope, 0.0)
    return Field(offset[..., None], offset_by), Field(gain[..., None], gain_by)
