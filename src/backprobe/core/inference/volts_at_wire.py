"""What a meter shows of DC volts at a wire, against the black lead's point."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LEAD_WANDER
from backprobe.core.inference.prediction import Field
from backprobe.core.inference.sheet import HIGHEST, STATE_LEVELS
from backprobe.core.inference.view import Told, View

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
IntArray = NDArray[np.int64]

GHOST_VOLT = 0.1  # what damp and stray fields put on a floating wire, V (common practice)
QUIET_VOLT = 0.006  # the same of a wire that hardly picks up anything, V (common practice)
GHOST_OHM = 3e5  # source resistance at which half of that shows, ohm (common practice)
UNUSED_VOLT = 0.008  # what an unused cavity shows, V (common practice)
MODEL_VOLT = 0.004  # what splices and shared wires add that no model holds, V (common practice)
SWING_SHARE = 0.03  # error of a meter's mean of a switching signal, share of its swing
HELD_SHARE = 0.05  # error of a highest or lowest value that a meter kept, share of the swing
LEVEL_SHARE = 0.02  # the same of a state level on an oscilloscope (common practice)
MOVING_SHARE = 0.35  # the same while the quantity itself moves between two extremes
FAST_HERTZ = 6.0  # above it a min/max hold that averages 0.1 s no longer sees the levels
LOAD_TOLERANCE = 0.01  # of the loading resistor (a 1 % resistor)


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


def volts_at_wire(view: View, index: IntArray) -> Told:
    """DC volts at a wire: mean, highest or lowest, or with a resistor to battery negative."""
    p = view.prediction
    value, by = view.at(p.mean, index)
    source, source_by = view.at(p.thevenin, index)
    swing = view.at(p.high, index)[0] - view.at(p.low, index)[0]
    share = np.where(view.readings.spans[index], MOVING_SHARE, SWING_SHARE)
    extra = share[:, None] * swing
    load = view.sheet.input_ohm / (view.sheet.input_ohm + source)
    shrink = load / view.sheet.input_ohm  # of the slope by the source's resistance, 1/ohm
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
        ohm = view.sheet.load_ohm[index[loaded]][:, None]
        load[:, loaded] = part = ohm / (ohm + source[:, loaded])
        shrink[:, loaded] = part / ohm
        extra[:, loaded] = LOAD_TOLERANCE * np.abs(value[:, loaded] * part) * (1.0 - part)
    return _against_lead(view, value, by, extra, index, _Load(load, shrink, source, source_by))


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
    view: View, value: Array, by: Array | None, extra: Array, index: IntArray, load: "_Load"
) -> Told:
    """Indication against the black lead's point, with the load on the wire."""
    p, gone = view.prediction, view.unused(index)
    gain, gain_by = view.at(p.lead_gain, index)
    offset, offset_by = view.at(p.lead_offset, index)
    value = np.where(gone, 0.0, value * load.share)
    difference = value - offset
    idle = _idle(view, index, difference)
    as_before = gone & (idle != 0.0)
    difference = np.where(as_before, idle, difference)
    wander = LEAD_WANDER[p.lead_kind[:, view.sheet.round[index]]][:, :, None]
    weak = load.source / (load.source + GHOST_OHM)
    ghost = np.where(gone, UNUSED_VOLT, GHOST_VOLT * weak)
    known = extra**2 + wander**2 + MODEL_VOLT**2
    spread = np.sqrt(known + ghost**2)
    view.quiet = index, np.sqrt(known + np.where(gone, ghost, QUIET_VOLT * weak) ** 2)
    if by is None or offset_by is None or gain_by is None:
        return np.where(as_before, difference, gain * difference), spread, None
    share = np.where(gone, 0.0, load.share)
    slope = by * share
    if load.source_by is not None:
        slope -= load.source_by * (value * load.shrink)
        steep = np.where(gone, 0.0, ghost * GHOST_VOLT * GHOST_OHM)
        view.ghost = index, load.source_by * (steep / (load.source + GHOST_OHM) ** 2)
    slope -= offset_by
    slope *= gain
    slope += gain_by * difference
    slope[as_before[:, :, 0]] = 0.0
    return np.where(as_before, difference, gain * difference), spread, slope


def _idle(view: View, index: IntArray, difference: Array) -> Array:
    """What an idle terminal showed before where it shows that again, 0 elsewhere, (M, n, C)."""
    before = view.readings.idle[index][None, :, None]
    read = view.sheet.value[index][None, :, None]
    nearer = np.abs(read - before) < np.abs(read - difference)
    return np.where(nearer, before, 0.0)
