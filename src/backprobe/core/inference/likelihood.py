"""How likely the noted readings are, given predicted indications.

Errors follow Student's t (tails wider than normal), and with a small probability the reading was
written down wrong: then it may be anything (`SLIP_SHARE`, `BROAD_DENSITY`).
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.indicating import Indicated, indicate, slopes_read
from backprobe.core.inference.prediction import Prediction
from backprobe.core.inference.readings import (
    BROAD_DENSITY,
    COUNTED,
    LEAD_OHM,
    LOGARITHMIC,
    OHMS,
    Readings,
    noted,
    readings_of,
    with_leads,
)
from backprobe.core.inference.sheet import Quantity, Sheet

__all__ = [
    "BROAD_DENSITY",
    "FREEDOM",
    "HIDDEN",
    "LEAD_OHM",
    "LOGARITHMIC",
    "NOTHING_COUNTED",
    "OPEN_OHM",
    "OPEN_WIDTH",
    "QUIET_SHARE",
    "SLIP_SHARE",
    "Indicated",
    "assignment_tables",
    "indicate",
    "log_likelihood",
    "noted",
    "pair_tables",
    "quantity_log_likelihood",
    "readings_of",
    "slopes_read",
    "student_log_density",
    "volts_log_density",
]

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

FREEDOM = 4.0  # degrees of freedom of Student's t
SLIP_SHARE = 0.004  # share of readings that are written down wrong (common practice)
QUIET_SHARE = 0.55  # of floating wires, which pick up hardly anything (common practice)
OPEN_OHM = 3e7  # above it an ohmmeter shows OL
OPEN_WIDTH = 0.3  # log ohm within which meters differ in that (common practice)
NOTHING_COUNTED = 0.9  # probability that a meter shows no frequency where there is none
COUNTED_ANYWAY = 0.05
HIDDEN = 0.03  # probability that it shows none where there is one
LOG_NO_NUMBER = float(np.log(1e-4))  # nothing shown where a meter shows a number
OPEN_ANYWAY = 50.0  # log ohm of what is not joined at all
CANNOT_TELL_OPEN = 0.3  # probability of OL across electronics


@lru_cache
def _student_constant(freedom: float) -> float:
    """Logarithm of the constant of Student's t."""
    half = 0.5 * freedom
    return math.lgamma(half + 0.5) - math.lgamma(half) - 0.5 * math.log(freedom * math.pi)


def student_log_density(residual: Array, deviation: Array) -> Array:
    """Log density of Student's t with `FREEDOM` degrees of freedom, scaled."""
    square = (residual / deviation) ** 2
    return np.asarray(
        _student_constant(FREEDOM)
        - np.log(deviation)
        - 0.5 * (FREEDOM + 1) * np.log1p(square / FREEDOM)
    )


def volts_log_density(difference: Array, shown: tuple[Array, Array]) -> tuple[Array, Array]:
    """Log density of errors of DC volts at a wire, and the share of it that a quiet wire has.

    ``shown`` are the standard deviations of a wire that picks something up and of a quiet one;
    of a wire that doesn't float they are the same.
    """
    loud, quiet = (student_log_density(difference, deviation) for deviation in shown)
    loud, quiet = loud + np.log1p(-QUIET_SHARE), quiet + np.log(QUIET_SHARE)
    whole = np.logaddexp(loud, quiet)
    return whole, np.exp(quiet - whole)


def log_likelihood(sheet: Sheet, indicated: Indicated, readings: Readings | None = None) -> Array:
    """Log likelihood of each reading for each candidate wire.

    Parameters
    ----------
    sheet : Sheet
        n_read readings.
    indicated : Indicated
        Predictions, shapes (M, n_read, C).
    readings : Readings, optional
        Of the sheet, where they are sorted already.

    Returns
    -------
    ndarray, shape (M, n_read, C)
        Log likelihood; a slip of the pen bounds it below.
    """
    sorted_ = readings_of(sheet) if readings is None else readings
    broad, value = sorted_.log_broad[:, None], sorted_.value[:, None]
    untold = sorted_.log_untold[:, None]
    density, told, number, log_ohm = _compared(value, indicated.mean, indicated.deviation)
    at = sorted_.at_wire
    if at.size:
        shown = indicated.deviation[:, at], indicated.quiet[:, at]
        difference = np.where(number[at], value[at], 0.0) - np.nan_to_num(indicated.mean[:, at])
        density[:, at], _ = volts_log_density(difference, shown)
    good = np.empty_like(density)
    for at, log in ((sorted_.plain, _plain_log), (sorted_.counted, _counted_log)):
        if at.size:
            good[:, at] = log(density[:, at], told[:, at], number[at], untold[at])
    if sorted_.ohms.size:
        at = sorted_.ohms
        good[:, at] = _ohm_log(density[:, at], told[:, at], number[at], broad[at], log_ohm[:, at])
    return _with_slips(good, broad)


def quantity_log_likelihood(
    quantity: Quantity, value: Array, mean: Array, deviation: Array
) -> Array:
    """Log likelihood of readings of one quantity; value broadcasts against mean."""
    broad = np.asarray(np.log(BROAD_DENSITY[quantity]))
    density, told, number, log_ohm = _compared(value, mean, deviation)
    if quantity in OHMS:
        return _with_slips(_ohm_log(density, told, number, broad, log_ohm), broad)
    log = _counted_log if quantity in COUNTED else _plain_log
    return _with_slips(log(density, told, number, broad), broad)


def _compared(value: Array, mean: Array, deviation: Array) -> tuple[Array, Bools, Bools, Array]:
    """Density of the error; what is predicted and what is noted as a number; predicted log ohm."""
    told, number = ~np.isnan(mean), np.isfinite(value)
    safe = np.where(np.isfinite(mean), mean, 0.0)
    density = student_log_density(np.where(number, value, 0.0) - safe, deviation)
    return density, told, number, np.where(np.isposinf(mean), OPEN_ANYWAY, safe)


def _plain_log(density: Array, told: Bools, number: Bools, broad: Array) -> Array:
    """Log likelihood of what a meter always shows a number for, slips left out."""
    return np.where(number, np.where(told, density, broad), LOG_NO_NUMBER)


def _counted_log(density: Array, told: Bools, number: Bools, broad: Array) -> Array:
    """Log likelihood of frequency and duty, slips left out."""
    as_number = np.where(told, np.log1p(-HIDDEN) + density, np.log(COUNTED_ANYWAY) + broad)
    as_none = np.where(told, np.log(HIDDEN), np.log(NOTHING_COUNTED))
    return np.asarray(np.where(number, as_number, as_none))


def _ohm_log(density: Array, told: Bools, number: Bools, broad: Array, log_ohm: Array) -> Array:
    """Log likelihood of resistances, slips left out."""
    p_open = np.asarray(expit((log_ohm - np.log(OPEN_OHM)) / OPEN_WIDTH))
    closed = np.log1p(-np.minimum(p_open, 1 - 1e-9)) + density
    as_number = np.where(told, closed, np.log(1 - CANNOT_TELL_OPEN) + broad)
    as_open = np.where(told, np.log(np.maximum(p_open, 1e-9)), np.log(CANNOT_TELL_OPEN))
    return np.asarray(np.where(number, as_number, as_open))


def _with_slips(good: Array, broad: Array) -> Array:
    """Log likelihood with the share of readings that may be anything."""
    return np.asarray(np.logaddexp(np.log1p(-SLIP_SHARE) + good, np.log(SLIP_SHARE) + broad))


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
