"""What a meter shows of a true voltage or resistance.

A meter is not a window. In DC it averages: of a signal that switches between two levels it shows
the mean, not the height. In AC it shows what is left without the mean. Its min/max hold keeps the
highest of averages over about a tenth of a second, so that a fast signal's "highest value" is the
mean again. Its input resistance is part of the circuit and pulls a weak source down; a known
resistor does the same on purpose and so tells a stiff source from a weak one.

All functions take arrays of any one shape or shapes that broadcast.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backprobe.core.instrument.ranges import Measured, full_scale_limits
from backprobe.errors import NoUniqueAnswer, ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

HOLD_AVERAGING = 0.1
"""Time over which a meter averages before its min/max hold compares, s (common practice, no
source)."""

SINE_FORM_FACTOR = float(np.pi / (2.0 * np.sqrt(2.0)))
"""Rms over mean absolute value of a sine, 1.1107: what an average-responding meter multiplies
with."""


def mean_of_levels(low: ArrayLike, high: ArrayLike, share_high: ArrayLike) -> Array:
    """DC reading of a signal that switches between two levels.

    Parameters
    ----------
    low, high : array_like
        State levels, V.
    share_high : array_like
        Share of time at the high level, 0 to 1.

    Returns
    -------
    ndarray
        Mean, V.

    Raises
    ------
    ValueOutOfRange
        A share is not from 0 to 1.

    Notes
    -----
    The mean of two levels weighted with their time; transitions are taken as short.
    """
    below, above, share = _levels(low, high, share_high)
    return np.asarray(below + share * (above - below))


def alternating_of_levels(
    low: ArrayLike, high: ArrayLike, share_high: ArrayLike, *, true_rms: bool = True
) -> Array:
    """AC reading, without the mean, of a signal that switches between two levels.

    Parameters
    ----------
    low, high : array_like
        State levels, V.
    share_high : array_like
        Share of time at the high level, 0 to 1.
    true_rms : bool
        Whether the meter forms the root mean square. If not it averages the rectified voltage and
        multiplies for a sine: 11 % more on an even square wave, less and less the more uneven it
        is.

    Returns
    -------
    ndarray
        Indication, V, >= 0. Frequencies within the meter's bandwidth.

    Raises
    ------
    ValueOutOfRange
        A share is not from 0 to 1.

    Notes
    -----
    About its mean the signal is high - mean for the share D and mean - low for the rest: variance
    D (1 - D) (high - low)**2, mean absolute value 2 D (1 - D) (high - low).
    """
    below, above, share = _levels(low, high, share_high)
    swing = np.abs(above - below)
    both = share * (1.0 - share)
    if true_rms:
        return np.asarray(swing * np.sqrt(both))
    return np.asarray(SINE_FORM_FACTOR * 2.0 * both * swing)


def held_extremes(
    low: ArrayLike,
    high: ArrayLike,
    share_high: ArrayLike,
    hertz: ArrayLike,
    averaging: float = HOLD_AVERAGING,
) -> tuple[Array, Array]:
    """Lowest and highest value that a min/max hold keeps of a signal between two levels.

    Parameters
    ----------
    low, high : array_like
        State levels, V, ``low <= high``.
    share_high : array_like
        Share of time at the high level, 0 to 1.
    hertz : array_like
        Switching frequency, Hz, >= 0; 0 = so slow that either level lasts.
    averaging : float
        Time over which the meter averages, s, > 0.

    Returns
    -------
    lowest, highest : ndarray
        Held values, V: the levels themselves while each lasts longer than the averaging, both near
        the mean when many periods fall into it.

    Raises
    ------
    ValueOutOfRange
        A share is not from 0 to 1, a frequency is negative, or the averaging is not above zero.

    Notes
    -----
    Exact for a plain moving average over the averaging time w: of w, n whole periods T are the same
    everywhere; the rest r = w - n T holds at most min(r, D T) and at least max(0, r - (1 - D) T) of
    the high level. Filters of real meters are smoother; far from 1 / w the difference is small.
    """
    below, above, share = _levels(low, high, share_high)
    frequency: Array = np.asarray(hertz, dtype=np.float64)
    if np.any(frequency < 0.0) or not averaging > 0.0:
        raise ValueOutOfRange(
            "a frequency is negative or the averaging time is not above zero.",
            where="min/max hold",
            remedy="Give 0 Hz for a signal that rests, and the averaging time in seconds.",
        )
    periods = averaging * frequency  # averaging time in periods
    whole = np.floor(periods)
    rest = periods - whole
    most = whole * share + np.minimum(rest, share)
    least = whole * share + np.maximum(0.0, rest - (1.0 - share))
    still = periods == 0.0
    divisor = np.where(still, 1.0, periods)
    most = np.where(still, np.where(share > 0.0, 1.0, 0.0), most / divisor)
    least = np.where(still, np.where(share < 1.0, 0.0, 1.0), least / divisor)
    swing = above - below
    return np.asarray(below + least * swing), np.asarray(below + most * swing)


def loaded(
    open_circuit: ArrayLike, source_ohm: ArrayLike, load_ohm: ArrayLike, other_end: ArrayLike = 0.0
) -> Array:
    """Voltage of a source with a load on it: a meter's input resistance, or a known resistor.

    Parameters
    ----------
    open_circuit : array_like
        Voltage without the load, V.
    source_ohm : array_like
        Thevenin resistance of the source, ohm, >= 0; infinite for a wire that floats.
    load_ohm : array_like
        Load, ohm, > 0; infinite for none. Resistors side by side are to be combined before.
    other_end : array_like
        Voltage at the load's other end, V, against the same reference.

    Returns
    -------
    ndarray
        Voltage with the load, V. A floating wire goes to the load's other end; without a load it
        has no voltage of its own, and NaN is returned.

    Raises
    ------
    ValueOutOfRange
        A source resistance is negative or a load is not above zero.

    Notes
    -----
    Thevenin's theorem: other end + (v - other end) R_load / (R_load + R_source).
    """
    v, source, load, end = (
        np.asarray(a, dtype=np.float64) for a in (open_circuit, source_ohm, load_ohm, other_end)
    )
    if np.any(source < 0.0) or np.any(load <= 0.0):
        raise ValueOutOfRange(
            "a source resistance is below zero or a load is not above zero.",
            where="loaded reading",
            remedy="Give resistances in ohm; leave the load out by giving it as infinite.",
        )
    with np.errstate(invalid="ignore"):
        share = np.where(np.isinf(load) & np.isfinite(source), 1.0, 1.0 / (1.0 + source / load))
    # A floating wire has no voltage of its own; whatever stands for it must not reach the result.
    return np.asarray(end + np.where(share == 0.0, 0.0, (v - end) * share))


def ohmmeter_limit(counts: int) -> float:
    """Resistance above which an ohmmeter shows over range.

    Parameters
    ----------
    counts : int
        Counts of its display.

    Returns
    -------
    float
        Full scale of the largest range, ohm: 40 Mohm for 4000 counts.

    Raises
    ------
    ValueOutOfRange
        The counts are those of no display.
    """
    return full_scale_limits(counts, Measured.OHMS)[1]


def shown_ohms(ohm: ArrayLike, counts: int, lead_ohm: float = 0.0) -> Array:
    """Resistance that an ohmmeter shows, with its leads in series.

    Parameters
    ----------
    ohm : array_like
        True resistances, ohm, >= 0; infinite for an open circuit.
    counts : int
        Counts of the meter's display.
    lead_ohm : float
        Resistance of the leads, ohm; 0 if it was nulled.

    Returns
    -------
    ndarray
        Indication, ohm; infinite where the meter shows "OL".

    Raises
    ------
    ValueOutOfRange
        A resistance is negative, or the counts are those of no display.
    """
    r: Array = np.asarray(ohm, dtype=np.float64)
    if np.any(r < 0.0) or lead_ohm < 0.0:
        raise ValueOutOfRange(
            "a resistance is below zero.",
            where="ohmmeter",
            remedy="A meter shows less than zero where there is voltage: key off, and unplugged.",
        )
    total = r + lead_ohm
    return np.asarray(np.where(total >= ohmmeter_limit(counts), np.inf, total))


def thevenin_from_loaded_readings(
    first_volts: ArrayLike, first_ohm: ArrayLike, second_volts: ArrayLike, second_ohm: ArrayLike
) -> tuple[Array, Array]:
    """Source behind a wire, from its voltage under two different loads.

    Parameters
    ----------
    first_volts, second_volts : array_like
        Voltages at the wire with each load, V, against the loads' other end.
    first_ohm, second_ohm : array_like
        Loads, ohm, > 0, different from each other; infinite for none.

    Returns
    -------
    open_circuit : ndarray
        Voltage without any load, V.
    source_ohm : ndarray
        Thevenin resistance of the source, ohm. Below zero if the readings cannot belong to one
        unchanging source: the larger load gave the higher voltage.

    Raises
    ------
    ValueOutOfRange
        A load is not above zero or both are equal.
    NoUniqueAnswer
        Both loads draw the same current: a wire without any voltage, or a constant current.

    Notes
    -----
    Both points lie on v = v_oc - i R_th with i = v / R_load.
    """
    v1, r1, v2, r2 = (
        np.asarray(a, dtype=np.float64) for a in (first_volts, first_ohm, second_volts, second_ohm)
    )
    if np.any(r1 <= 0.0) or np.any(r2 <= 0.0) or np.any(r1 == r2):
        raise ValueOutOfRange(
            "the two loads are equal, or one is not above zero.",
            where="two loaded readings",
            remedy="Read once without a load and once with a resistor of about the source's own.",
        )
    i1, i2 = v1 / r1, v2 / r2
    if np.any(i1 == i2):
        raise NoUniqueAnswer(
            "both loads draw the same current, which any resistance of the source explains.",
            where="two loaded readings",
            remedy="Where both voltages are zero the wire is dead: measure it unplugged, key off.",
        )
    source = (v2 - v1) / (i1 - i2)
    return np.asarray(v1 + i1 * source), np.asarray(source)


def _levels(low: ArrayLike, high: ArrayLike, share_high: ArrayLike) -> tuple[Array, Array, Array]:
    share: Array = np.asarray(share_high, dtype=np.float64)
    if np.any((share < 0.0) | (share > 1.0)):
        raise ValueOutOfRange(
            "a share of time is not from 0 to 1.",
            where="two levels",
            remedy="Give a duty of 40 % as 0.4.",
        )
    return np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64), share
