"""What a sheet of readings would show under many hypotheses at once.

Coordinates ``z`` (standard normal) of one hypothesis are laid out as: static values; driven
quantities by state; their change from round to round; black-lead offset and gain by round; the
meter's own gain error.
"""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.evaluate import Evaluation, Extra, evaluate
from backprobe.core.circuit.plan import N_SWITCH, Mode
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prior import PriorTable, normal_shape, to_values, uniform_shape
from backprobe.core.inference.sheet import Sheet, SheetRound

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

SOUND_LEAD_VOLT = 0.012  # offset of a sound black lead, one standard deviation (common practice)
BAD_LEAD_VOLT = 1.0  # of a bad one (common practice)
BAD_LEAD_GAIN = (0.45, 1.0)  # its gain lies between these (common practice)
BATTERY_SLOT = 0  # place of the battery among the driven quantities
SMALLEST_SHARE = 1e-3  # a level held for less of the time does not show on a meter
SLOWEST_SHOWN_HERTZ = 0.5
SMALLEST_COUNTED_VOLT = 0.4  # swing below which a meter counts nothing (common practice)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each kind of coordinate lies in z. P, S, Q, R as in `HypothesisTable`."""

    n_free: int
    states: tuple[int, ...]
    n_driven: int
    n_round: int

    @property
    def size(self) -> int:
        """Number of coordinates."""
        per_round = self.n_round * (self.n_driven + 2)
        return self.n_free + len(self.states) * self.n_driven + per_round + 1

    def base(self, state: int) -> slice:
        """Coordinates of the driven quantities in a state."""
        start = self.n_free + self.states.index(state) * self.n_driven
        return slice(start, start + self.n_driven)

    def change(self, r: int) -> slice:
        """Coordinates of their change in a round."""
        start = self.n_free + len(self.states) * self.n_driven + r * self.n_driven
        return slice(start, start + self.n_driven)

    def lead(self, r: int) -> tuple[int, int]:
        """Coordinates of black-lead offset and gain in a round."""
        start = self.size - 1 - 2 * self.n_round + 2 * r
        return start, start + 1

    @property
    def meter(self) -> int:
        """Coordinate of the meter's own gain error, one for all readings of volts."""
        return self.size - 1


def layout_of(table: HypothesisTable, sheet: Sheet) -> Layout:
    """Layout of the coordinates for a sheet."""
    return Layout(
        table.static.centre.shape[1], sheet.states, table.driven_slot.shape[1], len(sheet.rounds)
    )


def base_index(table: HypothesisTable, layout: Layout, state: int) -> IntArray:
    """Coordinate of each driven quantity in a state, (M, Q)."""
    start = np.zeros(max(layout.states) + 1, dtype=np.int64)
    for known in layout.states:
        start[known] = layout.base(known).start
    return start[table.base_of(layout.states, state)] + np.arange(layout.n_driven)


def carry_bases(
    table: HypothesisTable, known: Array, old: Layout, new: Layout, z: Array
) -> Array:
    """Coordinates ``z`` of a new layout with those of the driven quantities that an old one knows.

    Parameters
    ----------
    table : HypothesisTable
        M hypotheses.
    known : ndarray, shape (M, n_z of old)
    old, new : Layout
    z : ndarray, shape (M, n_z of new)

    Returns
    -------
    ndarray, shape (M, n_z of new)
    """
    carried = z.copy()
    for state in new.states:
        own = table.driven_alias[:, state]
        for other in reversed(old.states):
            same = table.driven_alias[:, other] == own
            at = new.base(state)
            carried[:, at] = np.where(same, known[:, old.base(other)], carried[:, at])
    return carried


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
    meter : ndarray, shape (M,): coordinate of the meter's gain error.
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
    battery: Field
    celsius: Field
    lead_offset: Field
    lead_gain: Field
    values: Array  # (M, R, P): values at the round's state


@dataclass(frozen=True, slots=True)
class _Values:
    """Values of one round and their slopes by z, kept sparse until they are needed."""

    value: Array  # (M, P)
    static_slope: Array  # (M, P)
    base_slope: Array  # (M, Q)
    change_slope: Array  # (M, Q)
    state: int
    round: int


def predict(
    table: HypothesisTable,
    z: Array,
    sheet: Sheet,
    *,
    assigned: IntArray | None = None,
    sensitivities: bool = False,
    ohm_rounds: Collection[int] = (),
    lead_bad: Bools | None = None,
    walk: dict[tuple[int, str], IntArray] | None = None,
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
    parts: list[_Round] = []
    static, static_slope = to_values(table.static, z[:, : layout.n_free])
    for r, item in enumerate(sheet.rounds):
        sets = [
            _round_values(table, layout, z, static, static_slope, r, state)
            for state in ((item.state, item.state_high) if item.spans else (item.state,))
        ]
        parts.append(
            _solve_round(
                table,
                layout,
                item,
                sets,
                assigned,
                sensitivities,
                r in ohm_rounds,
                {} if walk is None else walk,
            )
        )
    if lead_bad is None:
        lead_bad = np.zeros((z.shape[0], len(sheet.rounds)), dtype=bool)
    return _join(table, layout, z, parts, lead_bad, sensitivities)


def _round_values(
    table: HypothesisTable,
    layout: Layout,
    z: Array,
    static: Array,
    static_slope: Array,
    r: int,
    state: int,
) -> _Values:
    """Values of every slot in one round: static ones and the driven ones of the state."""
    at = base_index(table, layout, state)
    base = np.take_along_axis(z, at, axis=1)
    prior = PriorTable(
        *(
            np.asarray(getattr(table.driven_prior, n))[:, state]
            for n in PriorTable.__dataclass_fields__
        )
    )
    level, slope = to_values(prior, base)
    change = z[:, layout.change(r)]
    step = np.where(prior.is_choice, 0.0, table.driven_step)
    moved = level + step * change
    limited = np.clip(moved, prior.lowest, prior.highest)
    free = limited == moved
    value = table.fixed.copy()
    m, f = np.nonzero(table.free_slot >= 0)
    value[m, table.free_slot[m, f]] = static[m, f]
    m, q = np.nonzero(table.driven_slot >= 0)
    value[m, table.driven_slot[m, q]] = limited[m, q]
    return _Values(
        value=value,
        static_slope=static_slope,
        base_slope=np.where(free, slope, 0.0),
        change_slope=np.where(free, step, 0.0),
        state=state,
        round=r,
    )


@dataclass(frozen=True, slots=True)
class _Round:
    """Solved round, levels already combined; (M, T) fields and (M, T, n_z) slopes."""

    mean: Array
    high: Array
    low: Array
    alternating: Array
    thevenin: Array
    unit: Array
    log_hertz: Array
    share_high: Array
    by: dict[str, Array]
    ohm: tuple[Array, Array | None] | None
    values: _Values


def _mode(item: SheetRound) -> Mode:
    if item.powered:
        return Mode.PLUGGED if item.plugged else Mode.UNPLUGGED
    return Mode.PLUGGED_OFF if item.plugged else Mode.UNPLUGGED_OFF


def _solve_round(
    table: HypothesisTable,
    layout: Layout,
    item: SheetRound,
    sets: list[_Values],
    assigned: IntArray | None,
    sensitivities: bool,
    want_ohm: bool,
    walk: dict[tuple[int, str], IntArray],
) -> _Round:
    n_switch = int((table.circuits.switch_share >= 0).sum(axis=1).max(initial=0))
    if not item.powered or (not item.plugged and not _switches_unplugged(table)):
        n_switch = 0
    levels = np.array(list(product((0, 1), repeat=n_switch)), dtype=np.int64).reshape(
        2**n_switch, n_switch
    )
    level = np.zeros((len(levels), 2), dtype=np.int64)
    level[:, :n_switch] = levels
    extra = _fitted(table, item, assigned, len(level) * len(sets))
    values = np.concatenate([np.repeat(s.value[:, None], len(level), axis=1) for s in sets], axis=1)
    key = (sets[0].round, "volts")
    found = _solve_shared(
        table,
        values,
        _mode(item),
        np.tile(level, (len(sets), 1)),
        extra,
        sensitivities,
        walk.get(key),
    )
    walk[key] = found.region
    ohm = _ohm(table, layout, sets[0], sensitivities) if want_ohm else None
    weights = [_weights(table, s, level, n_switch) for s in sets]
    return _combine(table, layout, sets, found, weights, ohm, sensitivities)


def _switches_unplugged(table: HypothesisTable) -> bool:
    """Whether any element on the control unit's side switches."""
    circuits = table.circuits
    return bool((circuits.active[:, :, int(Mode.UNPLUGGED)] & (circuits.switch >= 0)).any())


def _solve_shared(
    table: HypothesisTable,
    values: Array,
    mode: Mode,
    level: IntArray,
    extra: Extra | None,
    sensitivities: bool,
    region: IntArray | None = None,
    pairs: bool = False,
) -> Evaluation:
    """Solve rows that may share circuits: (M, I, P) values to (M, I, ...) results."""
    n_share, (n_m, n_i) = table.repeats, values.shape[:2]
    folded = values.reshape(n_m // n_share, n_share * n_i, values.shape[2])
    found = evaluate(
        table.circuits,
        folded,
        np.full(n_share * n_i, int(mode)),
        np.tile(level, (n_share, 1)),
        extra=extra,
        wanted=table.wanted if sensitivities else None,
        region=region if n_share == 1 else None,
        pairs=pairs,
    )
    if n_share == 1:
        return found
    names = Evaluation.__dataclass_fields__
    parts = {n: getattr(found, n) for n in names}
    return Evaluation(
        **{n: None if v is None else v.reshape(n_m, n_i, *v.shape[2:]) for n, v in parts.items()}
    )


def _fitted(
    table: HypothesisTable, item: SheetRound, assigned: IntArray | None, n_item: int
) -> Extra | None:
    if not item.fitted or assigned is None:
        return None
    n_m = table.n_wire.size
    nodes = np.zeros((n_m, n_item, len(item.fitted), 2), dtype=np.int64)
    siemens = np.zeros((n_m, n_item, len(item.fitted)))
    full = np.concatenate([table.circuits.probe, np.zeros((n_m, 1), dtype=np.int64)], axis=1)
    for f, (a, b, ohm) in enumerate(item.fitted):
        for side, terminal in enumerate((a, b)):
            if terminal < 0:
                continue
            wire = assigned[:, terminal]
            wire = np.where(wire < table.n_wire, wire, full.shape[1] - 1)
            nodes[:, :, f, side] = np.take_along_axis(full, wire[:, None], axis=1)
        siemens[:, :, f] = 1.0 / ohm
    return Extra(nodes, siemens)


def _ohm(
    table: HypothesisTable, layout: Layout, values: _Values, sensitivities: bool
) -> tuple[Array, Array | None]:
    """Log resistance between the lone sensor's terminals, (M, T, T), and its slopes by z."""
    level = np.zeros((1, N_SWITCH), dtype=np.int64)
    found = _solve_shared(
        table, values.value[:, None], Mode.SENSOR_ALONE, level, None, sensitivities, pairs=True
    )
    zbus = found.thevenin[:, 0]
    own = np.diagonal(zbus, axis1=1, axis2=2)
    ohm = own[:, :, None] + own[:, None, :] - zbus - np.swapaxes(zbus, 1, 2)
    same = table.component[:, :, None] == table.component[:, None, :]
    active = table.active_end[:, :, None] | table.active_end[:, None, :]
    both = table.active_end[:, :, None] & table.active_end[:, None, :]
    log_ohm = np.log(np.maximum(ohm, 1e-3))
    result = np.where(same, log_ohm, np.where(active, np.nan, np.inf))
    result = np.where(both & same & (ohm > 5e3), np.nan, result)
    if found.pair_by is None:
        return result, None
    n_m, n_t = ohm.shape[:2]
    by = found.pair_by[:, 0].reshape(n_m, n_t * n_t, -1)
    by = _by_z(table, layout, values, by).reshape(n_m, n_t, n_t, -1)
    return result, by / np.maximum(ohm, 1e-3)[..., None]


def _weights(
    table: HypothesisTable, values: _Values, level: IntArray, n_switch: int
) -> tuple[Array, Array]:
    """Share of time of each combination of levels, (M, C), and slopes by share (M, C, 2)."""
    n_m = values.value.shape[0]
    weight = np.ones((n_m, len(level)))
    by = np.zeros((n_m, len(level), 2))
    factors = []
    for s in range(n_switch):
        slot = np.repeat(table.circuits.switch_share[:, s], table.repeats)
        share = np.where(
            slot >= 0, np.take_along_axis(values.value, np.maximum(slot, 0)[:, None], 1)[:, 0], 0.0
        )
        on = level[None, :, s] == 1
        factors.append(np.where(on, share[:, None], 1.0 - share[:, None]))
        by[:, :, s] = np.where(on, 1.0, -1.0)
    for s, factor in enumerate(factors):
        weight = weight * factor
        for other in range(n_switch):
            if other != s:
                by[:, :, other] *= factor
    return weight, by


def _combine(
    table: HypothesisTable,
    layout: Layout,
    sets: list[_Values],
    found: Evaluation,
    weights: list[tuple[Array, Array]],
    ohm: tuple[Array, Array | None] | None,
    sensitivities: bool,
) -> _Round:
    """Means, levels, duty and frequency of the solved combinations of levels."""
    n_c = weights[0][0].shape[1]
    share = 1.0 / len(sets)
    weight = np.concatenate([w[0] for w in weights], axis=1) * share  # (M, C)
    v = found.voltage  # (M, C, T)
    shown = weight[:, :, None] > SMALLEST_SHARE * share
    mean = np.einsum("mc,mct->mt", weight, v)
    top = np.argmax(np.where(shown, v, -np.inf), axis=1)  # (M, T)
    bottom = np.argmin(np.where(shown, v, np.inf), axis=1)
    high = np.take_along_axis(v, top[:, None], 1)[:, 0]
    low = np.take_along_axis(v, bottom[:, None], 1)[:, 0]
    deviation = v - mean[:, None]
    spread = np.einsum("mc,mct->mt", weight, deviation**2) if n_c > 1 else np.zeros_like(mean)
    ac = np.einsum("mc,mct->mt", weight, found.alternating)
    rms = np.sqrt(spread + ac**2)
    middle = 0.5 * (high + low)
    share_high = np.einsum("mc,mct->mt", weight, (v > middle[:, None]).astype(float))
    thevenin = np.einsum("mc,mctt->mt", weight, found.thevenin)
    unit = np.einsum("mc,mct->mt", weight, found.unit_voltage)
    log_hertz, hertz_slot = _hertz(table, sets[0], v, high - low, ac, n_c)
    by: dict[str, Array] = {}
    if sensitivities:
        by = _slopes(
            table,
            layout,
            sets,
            found,
            weights,
            weight,
            top,
            bottom,
            (deviation, ac, rms, v, share_high),
            hertz_slot,
        )
    return _Round(mean, high, low, rms, thevenin, unit, log_hertz, share_high, by, ohm, sets[0])


def _hertz(
    table: HypothesisTable, values: _Values, voltage: Array, swing: Array, ac: Array, n_c: int
) -> tuple[Array, IntArray]:
    """Log frequency at each wire (NaN: nothing that a meter counts), and its value slot."""
    n_m, n_t = swing.shape
    slot = np.full((n_m, n_t), -1, dtype=np.int64)
    both = np.repeat(table.circuits.switch_hertz, table.repeats, axis=0)
    if n_c > 1:
        n_switch = n_c.bit_length() - 1
        largest = np.full((n_m, n_t), SMALLEST_COUNTED_VOLT)
        for s in range(n_switch):
            up = (np.arange(n_c) >> (n_switch - 1 - s)) & 1 == 1
            moved = np.abs(voltage[:, :n_c][:, up].mean(axis=1) - voltage[:, :n_c][:, ~up].mean(1))
            mine = (moved > largest) & (both[:, s, None] >= 0) & (swing > SMALLEST_COUNTED_VOLT)
            slot = np.where(mine, both[:, s, None], slot)
            largest = np.where(mine, moved, largest)
    has_ac = (ac > 0.05) & (table.alternating_hertz[:, None] >= 0)
    slot = np.where(has_ac, table.alternating_hertz[:, None], slot)
    hertz = np.take_along_axis(values.value, np.maximum(slot, 0), axis=1)
    shown = (slot >= 0) & (hertz > SLOWEST_SHOWN_HERTZ)
    log_hertz = np.where(shown, np.log(np.maximum(hertz, 1e-3)), np.nan)
    return log_hertz, np.where(shown, slot, -1)


def _slopes(
    table: HypothesisTable,
    layout: Layout,
    sets: list[_Values],
    found: Evaluation,
    weights: list[tuple[Array, Array]],
    weight: Array,
    top: IntArray,
    bottom: IntArray,
    extras: tuple[Array, Array, Array, Array, Array],
    hertz_slot: IntArray,
) -> dict[str, Array]:
    """Derivatives by z of the fields of one round."""
    deviation, ac, rms, v, share_high = extras
    n_c = weights[0][0].shape[1]
    n_set, n_m = len(sets), v.shape[0]
    volt_by, unit_by = found.voltage_by, found.unit_by
    ac_by, thevenin_by = found.alternating_by, found.thevenin_by
    if volt_by is None or unit_by is None or ac_by is None or thevenin_by is None:
        return {}
    parts: dict[str, Array] = {}
    high_part = np.zeros((n_m, v.shape[2], layout.size))
    low_part = np.zeros_like(high_part)
    for s, values in enumerate(sets):
        mine = slice(s * n_c, (s + 1) * n_c)
        w = weight[:, mine]

        def to_z(by_value: Array, values: _Values = values) -> Array:
            return _by_z(table, layout, values, by_value)

        slots, wanted = table.circuits.switch_share, table.wanted
        share_by = np.zeros((n_m, v.shape[2], wanted.shape[1]))
        square_by = np.zeros_like(share_by)
        duty_by = np.zeros_like(share_by)
        for k in range(slots.shape[1]):
            has = slots[:, k] >= 0
            if n_c == 1 or not has.any():
                continue
            dw = weights[s][1][:, :, k] / n_set  # (M, C)
            here = (wanted == slots[:, k, None]) & has[:, None]  # (M, W)
            is_up = (v[:, mine] > v.mean(axis=1, keepdims=True)).astype(float)
            share_by += here[:, None] * np.einsum("mc,mct->mt", dw, v[:, mine])[:, :, None]
            square_by += (
                here[:, None] * np.einsum("mc,mct->mt", dw, deviation[:, mine] ** 2)[:, :, None]
            )
            duty_by += here[:, None] * np.einsum("mc,mct->mt", dw, is_up)[:, :, None]
        mean_v = np.einsum("mc,mctp->mtp", w, volt_by[:, mine]) + share_by
        spread_v = square_by + 2.0 * np.einsum(
            "mc,mct,mctp->mtp", w, deviation[:, mine], volt_by[:, mine]
        )
        ac_v = np.einsum("mc,mctp->mtp", w, ac_by[:, mine])
        safe = np.maximum(rms, 1e-4)[:, :, None]
        fields = {
            "mean": mean_v,
            "unit": np.einsum("mc,mctp->mtp", w, unit_by[:, mine]),
            "alternating": (0.5 * spread_v + ac[:, :, None] * ac_v) / safe,
            "thevenin": np.einsum("mc,mctp->mtp", w, thevenin_by[:, mine]),
            "share_high": duty_by,
        }
        if s == 0:
            hertz_by = np.zeros_like(share_by)
            picked = np.maximum(hertz_slot, 0)
            hertz = np.take_along_axis(values.value, picked, axis=1)
            is_it = (wanted[:, None] == hertz_slot[:, :, None]) & (hertz_slot >= 0)[:, :, None]
            fields["log_hertz"] = hertz_by + is_it / np.maximum(hertz, 1e-3)[:, :, None]
        for name, by_value in fields.items():
            mapped = to_z(by_value)
            parts[name] = parts[name] + mapped if name in parts else mapped
        for place, part in ((top, high_part), (bottom, low_part)):
            here = (place >= s * n_c) & (place < (s + 1) * n_c)
            local = np.clip(place - s * n_c, 0, n_c - 1)
            picked_by = np.take_along_axis(volt_by[:, mine], local[:, None, :, None], 1)[:, 0]
            part += np.where(here[:, :, None], to_z(picked_by), 0.0)
    parts["high"], parts["low"] = high_part, low_part
    return parts


def _by_z(table: HypothesisTable, layout: Layout, values: _Values, by_value: Array) -> Array:
    """Chain rule from wanted values (M, T, F + Q) to coordinates (M, T, n_z)."""
    out = np.zeros((*by_value.shape[:2], layout.size))
    n_f = layout.n_free
    out[:, :, :n_f] = by_value[:, :, :n_f] * values.static_slope[:, None, :]
    driven = by_value[:, :, n_f:]
    at = base_index(table, layout, values.state)  # distinct within a row
    to_base = driven * values.base_slope[:, None]
    np.put_along_axis(out, np.broadcast_to(at[:, None], to_base.shape), to_base, axis=2)
    out[:, :, layout.change(values.round)] += driven * values.change_slope[:, None]
    return out


def _join(
    table: HypothesisTable,
    layout: Layout,
    z: Array,
    parts: list[_Round],
    lead_bad: Bools,
    sensitivities: bool,
) -> Prediction:
    def field(name: str) -> Field:
        value = np.stack([getattr(p, name) for p in parts], axis=1)
        by = np.stack([p.by[name] for p in parts], axis=1) if sensitivities else None
        return Field(value, by)

    n_m, n_r = z.shape[0], len(parts)
    n_t = parts[0].mean.shape[1]
    ohm = np.full((n_m, n_r, n_t, n_t), np.nan)
    some = [r for r, part in enumerate(parts) if part.ohm is not None]
    ohm_by = np.zeros((n_m, n_r, n_t, n_t, layout.size)) if some and sensitivities else None
    for r, part in enumerate(parts):
        if part.ohm is not None:
            ohm[:, r] = part.ohm[0]
            if ohm_by is not None and part.ohm[1] is not None:
                ohm_by[:, r] = part.ohm[1]
    values = np.stack([p.values.value for p in parts], axis=1)
    offset, gain = np.zeros((n_m, n_r, 1)), np.ones((n_m, n_r, 1))
    offset_by = np.zeros((n_m, n_r, 1, layout.size))
    gain_by = np.zeros_like(offset_by)
    battery_by = np.zeros_like(offset_by)
    rows = np.arange(n_m)
    slot = np.maximum(table.driven_slot[:, BATTERY_SLOT], 0)
    battery = np.take_along_axis(values, slot[:, None, None], axis=2)
    warm = table.driven_slot[rows, np.maximum(table.celsius, 0)]
    has_celsius = table.celsius >= 0
    celsius = np.where(has_celsius[:, None], values[rows, :, np.maximum(warm, 0)], np.nan)
    celsius_by = np.zeros_like(offset_by)
    for r in range(n_r):
        i_offset, i_gain = layout.lead(r)
        bad = lead_bad[:, r]
        shape, slope = normal_shape(z[:, i_offset])
        size = np.where(bad, BAD_LEAD_VOLT, SOUND_LEAD_VOLT)
        offset[:, r, 0], offset_by[:, r, 0, i_offset] = size * shape, size * slope
        low, high = BAD_LEAD_GAIN
        flat, flat_slope = uniform_shape(z[:, i_gain])
        bad_gain = 0.5 * (low + high) + 0.5 * (high - low) * flat
        gain[:, r, 0] = np.where(bad, bad_gain, 1.0)
        gain_by[:, r, 0, i_gain] = np.where(bad, 0.5 * (high - low) * flat_slope, 0.0)
        if sensitivities:
            one = (table.wanted == slot[:, None])[:, None].astype(float)
            battery_by[:, r] = _by_z(table, layout, parts[r].values, one)
            one = ((table.wanted == warm[:, None]) & has_celsius[:, None])[:, None].astype(float)
            celsius_by[:, r] = _by_z(table, layout, parts[r].values, one)
    return Prediction(
        mean=field("mean"),
        high=field("high"),
        low=field("low"),
        alternating=field("alternating"),
        thevenin=field("thevenin"),
        unit=field("unit"),
        log_hertz=field("log_hertz"),
        share_high=field("share_high"),
        ohm=ohm,
        ohm_by=ohm_by,
        lead_bad=lead_bad,
        meter=z[:, layout.meter],
        battery=Field(battery, battery_by),
        celsius=Field(celsius[:, :, None], celsius_by),
        lead_offset=Field(offset, offset_by),
        lead_gain=Field(gain, gain_by),
        values=values,
    )
