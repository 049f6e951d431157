"""What a meter shows of DC volts at a wire, against the black lead's point."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LeadKind, wander_of
from backprobe.core.inference.prediction import Field
from backprobe.core.inference.sheet import HIGHEST, STATE_LEVELS
from backprobe.core.inference.view import Told, View

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

GHOST_VOLT = 0.1  # what damp and stray fields put on a floating wire, V (common practice)
QUIET_VOLT = 0.006  # the same of a wire that hardly picks up anything, V (common practice)
GHOST_OHM = 3e5  # source resistance at which half of that shows, ohm (common practice)
UNUSED_VOLT = 0.008  # what an unused cavity mostly shows, V (common practice)
UNUSED_GHOST_VOLT = 0.04  # ... and one that picks something up, V (common practice)
# Between a floating wire and one that damp holds to ground, a reading is as likely anywhere: 1 /
# sqrt(2 pi) of what lies between.
DAMP_SHARE = 0.4
DAMP_VOLT = 0.1  # below it that can't be told from what a dry one picks up, V
MODEL_VOLT = 0.004  # what splices and shared wires add that no model holds, V (common practice)
SWING_SHARE = 0.03  # error of a meter's mean of a switching signal, share of its swing
HELD_SHARE = 0.05  # error of a highest or lowest value that a meter kept, share of the swing
LEVEL_SHARE = 0.02  # the same of a state level on an oscilloscope (common practice)
MOVING_SHARE = 0.35  # the same while the quantity itself moves between two extremes
FAST_HERTZ = 6.0  # above it a min/max hold that averages 0.1 s no longer sees the levels
LOAD_TOLERANCE = 0.01  # of the loading resistor (a 1 % resistor)


@dataclass(frozen=True, slots=True)
class _Load:
    """What loads a wire: the meter, or a resistor, with the black lead's point behind it.

    ohm : ndarray, shape (1 or M, n, 1 or C): its resistance, ohm.
    source : ndarray, shape (M, n, C): the wire's own resistance, ohm.
    point : ndarray, shape (M, n, C): that of the black lead's point, ohm.
    source_by, by : slopes by z of the wire's, and of both together, (M, n, n_z), or None.
    """

    ohm: Array
    source: Array
    point: Array
    source_by: Array | None
    by: Array | None

    def share(self) -> Array:
        """Share of the open voltage between wire and point that is left, (M, n, C)."""
        return np.asarray(self.ohm / (self.ohm + self.source + self.point))


def volts_at_wire(view: View, index: IntArray) -> Told:
    """DC volts at a wire: mean, highest or lowest, or with a resistor to the black lead's point."""
    p = view.prediction
    value, by = view.at(p.mean, index)
    swing = view.at(p.high, index)[0] - view.at(p.low, index)[0]
    share = np.where(view.readings.spans[index], MOVING_SHARE, SWING_SHARE)
    extra = share[:, None] * swing
    load = _load(view, index)
    held = np.flatnonzero(view.readings.held[index])
    if held.size:
        value[:, held], slope = _held(view, value[:, held], by, index, held)
        is_level = np.isin(view.sheet.quantity[index[held]], [int(q) for q in STATE_LEVELS])
        part = np.where(is_level, LEVEL_SHARE, HELD_SHARE)
        extra[:, held] = part[:, None] * swing[:, held]
        if by is not None and slope is not None:
            by[:, held] = slope
    loaded = np.flatnonzero(view.readings.loaded[index])
    if loaded.size:
        part = load.share()[:, loaded]
        extra[:, loaded] = LOAD_TOLERANCE * np.abs(value[:, loaded] * part) * (1.0 - part)
        if (p.lead_kind[:, view.sheet.round[index[loaded]]] != LeadKind.SOUND).any():
            value, by, load = _beside_point(view, value, by, index, load)
    return _against_lead(view, value, by, extra, index, load)


def _load(view: View, index: IntArray) -> _Load:
    """What loads the wire at each reading; the resistor in series with the black lead's point."""
    p = view.prediction
    source, source_by = view.at(p.thevenin, index)
    point, point_by = view.at(p.lead_ohm, index)
    resistors = view.sheet.load_ohm[index]
    ohm = np.where(view.readings.loaded[index], resistors, view.sheet.input_ohm)[None, :, None]
    if point_by is None or source_by is None:
        return _Load(ohm, source, point, None, point_by)
    return _Load(ohm, source, point, source_by, source_by + point_by)


def _beside_point(
    view: View, value: Array, by: Array | None, index: IntArray, load: _Load
) -> tuple[Array, Array | None, _Load]:
    """Circuits with the loading resistor beside a bad black lead where that is what was read.

    It hangs on the same point as the black lead: bad is either that point, and the resistor's
    current goes through it too, or the lead and its clip only, and the resistor is not behind them
    but part of the circuit that they measure: V R / (R + R_wire) behind R and R_wire in parallel.
    """
    p, sheet = view.prediction, view.sheet
    read, rounds = sheet.value[index][None, :, None], sheet.round[index]
    offset = view.at(p.lead_offset, index)[0]
    part = load.ohm / (load.ohm + load.source)
    behind = (value - offset) * load.share()
    meter = np.full_like(load.ohm, sheet.input_ohm)
    alone = _Load(meter, load.source * part, load.point, None, None)
    beside = (value * part - offset) * alone.share()
    is_bad = (p.lead_kind[:, rounds] != LeadKind.SOUND) & view.readings.loaded[index]
    use = is_bad[:, :, None] & (np.abs(read - beside) < np.abs(read - behind))
    ohm = np.where(use, meter, load.ohm)
    source = np.where(use, alone.source, load.source)
    if by is None or load.by is None or load.source_by is None:
        return np.where(use, value * part, value), by, replace(load, ohm=ohm, source=source)
    loss = (value * part**2 / load.ohm) * load.source_by
    source_by = np.where(use, part**2, 1.0) * load.source_by
    return (
        np.where(use, value * part, value),
        np.where(use, part * by - loss, by),
        _Load(ohm, source, load.point, source_by, load.by - load.source_by + source_by),
    )


def _held(
    view: View, value: Array, by: Array | None, index: IntArray, held: IntArray
) -> tuple[Array, Array | None]:
    """Highest and lowest levels and their slopes, of readings ``index[held]``."""
    p, mine = view.prediction, index[held]
    quantity = view.sheet.quantity[mine]
    highest = np.isin(quantity, [int(q) for q in HIGHEST])
    level, level_by = _either(view, p.high, p.low, highest, mine)
    log_hertz, _ = view.at(p.log_hertz, mine)
    averages = ~np.isin(quantity, [int(q) for q in STATE_LEVELS])
    fast = (np.nan_to_num(log_hertz, nan=-9.0) > np.log(FAST_HERTZ)) & averages[:, None]
    read = view.sheet.value[mine][None, :, None]
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
    view: View, first: Field, second: Field, is_first: Bools, index: IntArray
) -> tuple[Array, Array | None]:
    """One field at some readings, another one at the rest."""
    value = np.where(is_first[:, None], view.at(first, index)[0], view.at(second, index)[0])
    slopes = [
        (of, view.at(field, index[of])[1])
        for field, of in ((first, is_first), (second, ~is_first))
        if of.any()
    ]
    if view.pick is None or any(by is None for _, by in slopes):
        return value, None
    n_z = max(by.shape[2] for _, by in slopes if by is not None)
    joined = np.zeros((value.shape[0], index.size, n_z))
    for of, by in slopes:
        joined[:, of] = by
    return value, joined


def _against_lead(
    view: View, value: Array, by: Array | None, extra: Array, index: IntArray, load: _Load
) -> Told:
    """Indication against the black lead's point, with the load on the wire.

    ``(V - V_point) R / (R + R_wire + R_point)``, R the meter's input or the loading resistor.
    """
    p, gone, share = view.prediction, view.unused(index), load.share()
    kind = p.lead_kind[:, view.sheet.round[index], None]
    offset, offset_by = view.at(p.lead_offset, index)
    plain = np.where(gone, 0.0, (value - offset) * share)
    shown, before = plain, np.zeros_like(gone)
    weak = load.source / (load.source + GHOST_OHM)
    loud = np.where(gone, UNUSED_GHOST_VOLT, GHOST_VOLT * weak)
    quiet = np.where(gone, UNUSED_VOLT, QUIET_VOLT * weak)
    wander, wander_slope = wander_of(kind, offset)
    wander = np.where(gone, 0.0, share * wander)
    if gone.any():
        shown, before = _as_before(view, index, gone, plain)
    if (kind != LeadKind.SOUND).any():
        held = offset * load.ohm / (load.ohm + load.point)  # at a wire that damp holds to ground
        grounded = np.where(gone, 0.0, value * share) - held
        damp, damp_volt = _damp(view, index, plain, grounded)
        damp &= ~before
        shown = np.where(damp, damp_volt, shown)
        anywhere = DAMP_SHARE * (grounded - plain)
        loud, quiet = (np.where(damp, anywhere, each) for each in (loud, quiet))
    known = extra**2 + wander**2 + MODEL_VOLT**2
    spread = np.sqrt(known + loud**2)
    view.quiet = index, np.sqrt(known + quiet**2)
    if by is None or offset_by is None or load.by is None:
        return shown, spread, None
    share_by = load.by * (-share / load.ohm)  # relative to the share
    slope = share * (by - offset_by) + plain * share_by
    slope[(gone | (shown != plain))[:, :, 0]] = 0.0
    square_by = share**2 * wander_slope * offset_by + wander**2 * share_by
    if load.source_by is not None:
        steep = loud * GHOST_VOLT * GHOST_OHM / (load.source + GHOST_OHM) ** 2
        square_by += load.source_by * steep
    square_by[(gone | (shown != plain))[:, :, 0]] = 0.0
    view.square_by.append((index, square_by))
    return shown, spread, slope


def _as_before(view: View, index: IntArray, gone: Bools, plain: Array) -> tuple[Array, Bools]:
    """Volts (M, n, C) with those of unused cavities that again show what they showed, and which."""
    read = view.sheet.value[index][None, :, None]
    before = np.broadcast_to(view.readings.idle[index][None, :, None], plain.shape)
    again = gone & (np.abs(read - before) < np.abs(read))
    return np.where(again, before, plain), again


def _damp(view: View, index: IntArray, plain: Array, grounded: Array) -> tuple[Bools, Array]:
    """Where damp holds what floats to ground, so that a lifted black lead shows there, and volts.

    Anything between what a wire shows that nothing holds and one that is held to ground, (M, n, C).
    """
    read = view.sheet.value[index][None, :, None]
    between = np.clip(read, np.minimum(plain, grounded), np.maximum(plain, grounded))
    is_damp = np.abs(grounded - plain) > DAMP_VOLT
    return is_damp & (np.abs(read - plain) > 3.0 * UNUSED_VOLT), between
