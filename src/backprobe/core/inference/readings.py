"""A sheet's readings in the domain of the likelihood, and in groups that come about alike."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.sheet import (
    HIGHEST,
    LOWEST,
    STATE_LEVELS,
    VOLTAGES,
    Quantity,
    Sheet,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Density of a slip of the pen, per volt, per unit of log hertz or log ohm, per share, per degree.
BROAD_DENSITY = {
    Quantity.VOLTS: 1 / 25.0,
    Quantity.VOLTS_HIGH: 1 / 25.0,
    Quantity.VOLTS_LOW: 1 / 25.0,
    Quantity.LEVEL_HIGH: 1 / 25.0,
    Quantity.LEVEL_LOW: 1 / 25.0,
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
    Quantity.AMBIENT: 1 / 100.0,
    Quantity.REPORTED: 1.0,
}
# Probability that a value which the control unit reports, noted at a connector, is of another one;
# whoever notes it there has a reason (common practice).
REPORTED_ELSEWHERE = 0.05
LATER_CELSIUS = 12.0  # by which a temperature differs from that of the round before it, degC
IDLE_VOLT = (
    0.03,
    0.2,
)  # what an idle wire may keep showing, more than a ground, V (common practice)
# Readings of DC volts, which share the meter's gain error.
BY_METER = (VOLTAGES - STATE_LEVELS) | {
    Quantity.VOLTS_LOADED,
    Quantity.BATTERY,
    Quantity.LEAD_CHECK,
}
LOGARITHMIC = frozenset((Quantity.HERTZ, Quantity.HARNESS_OHM, Quantity.SENSOR_OHM))
LEVELS = HIGHEST | LOWEST
COUNTED = frozenset((Quantity.HERTZ, Quantity.DUTY))
OHMS = frozenset((Quantity.HARNESS_OHM, Quantity.SENSOR_OHM))
LEAD_OHM = 0.3  # resistance of the meter's leads, ohm (meter vendors: 0.2 to 0.5)


@dataclass(frozen=True, slots=True)
class Readings:
    """What the likelihood of a sheet's n_read readings needs of the sheet alone.

    value, deviation : ndarray, shape (n_read,)
        As from `noted`.
    log_broad : ndarray, shape (n_read,): log density of each where it is a slip of the pen.
    log_untold : ndarray, shape (n_read,): the same where the circuit has nothing to do with it.
    groups : quantities, each with its readings; all voltages at a wire count as `VOLTS`.
    by_meter : ndarray of int, shape (n,): readings of DC volts.
    at_wire : ndarray of int, shape (n,): readings of DC volts at a wire.
    counted, ohms, plain : ndarray of int, shape (n,): frequency and duty; resistances; the others.
    spans, held, loaded : ndarray of bool, shape (n_read,): readings while a quantity moves; of
        the highest or lowest level; with a resistor to battery negative.
    idle : ndarray, shape (n_read,): what a cavity without a wire showed when read before, V; 0
        where it wasn't, or where no such cavity shows as much.
    """

    value: Array
    deviation: Array
    log_broad: Array
    log_untold: Array
    groups: tuple[tuple[Quantity, IntArray], ...]
    by_meter: IntArray
    at_wire: IntArray
    counted: IntArray
    ohms: IntArray
    plain: IntArray
    spans: Bools
    held: Bools
    loaded: Bools
    idle: Array


def readings_of(sheet: Sheet) -> Readings:
    """Sort the readings of a sheet."""
    value, deviation = noted(sheet)
    quantity = [Quantity(code) for code in sheet.quantity.tolist()]
    at_wire = VOLTAGES | {Quantity.VOLTS_LOADED}
    alike = [Quantity.VOLTS if q in at_wire else q for q in quantity]

    def chosen(wanted: frozenset[Quantity]) -> IntArray:
        return np.array([i for i, q in enumerate(quantity) if q in wanted], dtype=np.int64)

    spans = [r.has_two_ends for r in sheet.rounds]
    log_broad = _log_broad(quantity, value)
    return Readings(
        value=value,
        deviation=deviation,
        log_broad=log_broad,
        log_untold=log_broad + _log_elsewhere(sheet),
        groups=tuple(
            (kind, np.array([i for i, q in enumerate(alike) if q == kind], dtype=np.int64))
            for kind in dict.fromkeys(alike)
        ),
        by_meter=chosen(BY_METER),
        at_wire=chosen(frozenset(at_wire)),
        counted=chosen(COUNTED),
        ohms=chosen(OHMS),
        plain=chosen(frozenset(Quantity) - COUNTED - OHMS),
        spans=np.array([spans[r] for r in sheet.round.tolist()], dtype=bool),
        held=np.array([q in LEVELS for q in quantity], dtype=bool),
        loaded=np.array([q == Quantity.VOLTS_LOADED for q in quantity], dtype=bool),
        idle=_idle(sheet, quantity),
    )


def _log_broad(quantity: list[Quantity], value: Array) -> Array:
    """Log density of each reading by itself, (n_read,).

    A temperature is not much different from round to round, whatever the connector is.
    """
    log_broad = np.log([BROAD_DENSITY[q] for q in quantity])
    celsius = [i for i, q in enumerate(quantity) if q == Quantity.AMBIENT]
    for before, now in pairwise(celsius):
        change = (value[now] - value[before]) / LATER_CELSIUS
        log_broad[now] = max(
            log_broad[now], -0.5 * change**2 - np.log(LATER_CELSIUS * np.sqrt(2.0 * np.pi))
        )
    return log_broad


def _log_elsewhere(sheet: Sheet) -> Array:
    """Log probability that what a control unit reports is of another connector, (n_read,).

    Once for each value that was noted, however often.
    """
    log_elsewhere = np.zeros(sheet.n_read)
    first = np.unique(sheet.reported, return_index=True)[1]
    log_elsewhere[first[sheet.reported[first] >= 0]] = np.log(REPORTED_ELSEWHERE)
    return log_elsewhere


def _idle(sheet: Sheet, quantity: list[Quantity]) -> Array:
    """What each reading of DC volts would be if an idle terminal showed the same again."""
    idle = np.zeros(sheet.n_read)
    before: dict[int, float] = {}
    for i, q in enumerate(quantity):
        if q not in VOLTAGES:
            continue
        terminal, value = int(sheet.terminal[i]), float(sheet.value[i])
        idle[i] = before.get(terminal, 0.0)
        if q == Quantity.VOLTS and IDLE_VOLT[0] < abs(value) < IDLE_VOLT[1]:
            before[terminal] = value
    return idle


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


def with_leads(log_ohm: Array) -> Array:
    """Log resistance with the meter's leads in series; inf stays open."""
    finite = np.isfinite(log_ohm)
    ohm = np.exp(np.where(finite, log_ohm, 0.0)) + LEAD_OHM
    return np.where(finite, np.log(ohm), log_ohm)
