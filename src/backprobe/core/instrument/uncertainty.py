"""Standard uncertainty of a meter reading, and how uncertainties are put together.

The limits of a data sheet bound the error; nothing is said of where within them it lies, so it is
taken as evenly spread between them and its standard deviation is half-width over the square root
of three ([jcgm100, 4.3.7]). Rounding to a last digit d adds d over the square root of twelve
(F.2.2.1): once, that is where the digits of the statement do not include it already.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from backprobe.errors import ValueOutOfRange
from backprobe.quantities.accuracy import AccuracyStatement

Array: TypeAlias = NDArray[np.float64]

_SQRT_3 = float(np.sqrt(3.0))
_SQRT_12 = float(np.sqrt(12.0))


def half_width(
    statement: AccuracyStatement,
    value: ArrayLike,
    digit: ArrayLike = 0.0,
    full_scale: ArrayLike = 0.0,
) -> Array:
    """Limit of error that a data sheet allows a reading.

    Parameters
    ----------
    statement : AccuracyStatement
        The data sheet's limits.
    value : array_like, any shape
        Readings, in the plain unit; the sign does not matter.
    digit : array_like, shape to broadcast
        Size of the last digit of the display, same unit.
    full_scale : array_like, shape to broadcast
        Full scale of the range, same unit; needed only for a share of the range.

    Returns
    -------
    ndarray, broadcast shape
        Half-width of the interval about the reading, same unit.

    Raises
    ------
    ValueOutOfRange
        A digit or full scale that the statement needs is missing (not above zero), or is negative.

    Notes
    -----
    [jcgm100, 4.3.7 example 2]: the limits of a specification are added, not squared.
    """
    x, d, full = (np.asarray(a, dtype=np.float64) for a in (value, digit, full_scale))
    if np.any(d < 0.0) or np.any(full < 0.0):
        raise ValueOutOfRange(
            "the size of a digit or a full scale is negative.",
            where="reading",
            remedy="Give sizes; the sign belongs to the reading.",
        )
    if (statement.digits and np.any(d == 0.0)) or (statement.share_of_range and np.any(full == 0)):
        raise ValueOutOfRange(
            "the statement is in digits or in a share of the range, and its size is not given.",
            where="reading",
            remedy="Give the size of the last digit and the full scale of the range that was used.",
        )
    limit = statement.share * np.abs(x) + statement.digits * d
    return np.asarray(limit + statement.absolute + statement.share_of_range * full)


def standard_uncertainty(
    statement: AccuracyStatement,
    value: ArrayLike,
    digit: ArrayLike = 0.0,
    *,
    written_digit: ArrayLike = np.nan,
    full_scale: ArrayLike = 0.0,
    wander: ArrayLike = 0.0,
) -> Array:
    """Standard uncertainty of a meter reading.

    Parameters
    ----------
    statement : AccuracyStatement
        The data sheet's limits.
    value : array_like, any shape
        Readings, in the plain unit.
    digit : array_like, shape to broadcast
        Size of the last digit of the display, same unit; 0 where the display resolves more than
        matters.
    written_digit : array_like, shape to broadcast
        Size of the last digit that was written down, same unit; NaN if not known.
    full_scale : array_like, shape to broadcast
        Full scale of the range, same unit.
    wander : array_like, shape to broadcast
        How far the reading itself moved while it was taken, as a standard deviation, same unit.

    Returns
    -------
    ndarray, broadcast shape
        Standard uncertainty, same unit.

    Raises
    ------
    ValueOutOfRange
        As for `half_width`.

    Notes
    -----
    [jcgm100]: 4.3.7 (limits, a / sqrt 3), F.2.2.1 (rounding, d / sqrt 12), 5.1.2 (combination). The
    digits of a statement cover the rounding of the display. Rounding is added where there are none,
    and where the reading was written down more coarsely than it was shown.
    """
    limit = half_width(statement, value, digit, full_scale)
    shown: Array = np.asarray(digit, dtype=np.float64)
    written: Array = np.asarray(written_digit, dtype=np.float64)
    covered = shown if statement.digits else np.zeros_like(shown)
    coarser = np.fmax(shown, written)
    rounding = np.where(coarser > covered, coarser, 0.0)
    squares = (limit / _SQRT_3) ** 2 + (rounding / _SQRT_12) ** 2
    return np.asarray(np.sqrt(squares + np.asarray(wander, dtype=np.float64) ** 2))


def combined(components: ArrayLike) -> Array:
    """Combine uncertainty components that are independent of each other.

    Parameters
    ----------
    components : array_like, shape (n_component, ...)
        Standard uncertainties, each already multiplied with its sensitivity coefficient, one unit.

    Returns
    -------
    ndarray, shape (...)
        Combined standard uncertainty, same unit.

    Raises
    ------
    Nothing
        NaN and infinity pass through.

    Notes
    -----
    [jcgm100, eq. (10)]: the positive root of the sum of squares.
    """
    u: Array = np.asarray(components, dtype=np.float64)
    return np.asarray(np.sqrt((u**2).sum(axis=0)))


def effective_degrees_of_freedom(components: ArrayLike, degrees: ArrayLike) -> float:
    """Degrees of freedom of a combined uncertainty.

    Parameters
    ----------
    components : array_like, shape (n_component,)
        Standard uncertainties, each multiplied with its sensitivity coefficient, one unit.
    degrees : array_like, shape (n_component,)
        Degrees of freedom of each; infinite for limits that are certain.

    Returns
    -------
    float
        Effective degrees of freedom, not rounded; infinite where all are.

    Raises
    ------
    ValueOutOfRange
        Different numbers of each, no uncertainty above zero, or degrees of freedom below 1.

    Notes
    -----
    Welch-Satterthwaite, [jcgm100, eq. (G.2b)].
    """
    u: Array = np.asarray(components, dtype=np.float64)
    nu: Array = np.asarray(degrees, dtype=np.float64)
    if u.shape != nu.shape or not np.any(u > 0.0) or not np.all(nu >= 1.0):
        raise ValueOutOfRange(
            "components and degrees of freedom do not fit together.",
            where="combined uncertainty",
            remedy="Give each component its degrees of freedom (1 or more, or infinity).",
        )
    with np.errstate(divide="ignore"):
        return float(combined(u) ** 4 / (u**4 / nu).sum())


def coverage_factor(coverage: float, degrees: float = np.inf) -> float:
    """Multiple of the standard uncertainty that covers a given share of a t-distribution.

    Parameters
    ----------
    coverage : float
        Coverage probability, above 0 and below 1.
    degrees : float
        Degrees of freedom, 1 or more; infinite for a normal distribution.

    Returns
    -------
    float
        Coverage factor k.

    Raises
    ------
    ValueOutOfRange
        The probability or the degrees of freedom are impossible.

    Notes
    -----
    [jcgm100, G.3 and table G.2].
    """
    if not 0.0 < coverage < 1.0 or not degrees >= 1.0:
        raise ValueOutOfRange(
            f"a coverage of {coverage} with {degrees} degrees of freedom does not exist.",
            where="coverage factor",
            remedy="Give the coverage as 0.95, not as 95, and 1 or more degrees of freedom.",
        )
    upper = 0.5 + coverage / 2.0
    return float(ndtri(upper) if np.isinf(degrees) else stdtrit(degrees, upper))


def rectangular_coverage_factor(coverage: float) -> float:
    """Multiple of the standard uncertainty that covers a share of an even distribution.

    Parameters
    ----------
    coverage : float
        Coverage probability, above 0, up to 1.

    Returns
    -------
    float
        Coverage factor: 1.65 for 0.95, where a normal distribution would ask for 1.96.

    Raises
    ------
    ValueOutOfRange
        The probability is impossible.

    Notes
    -----
    [jcgm100, 4.3.7 and G.1.3]: the share p of a rectangle of half-width a lies within p a, and its
    standard deviation is a / sqrt 3. To be used where one set of limits dominates.
    """
    if not 0.0 < coverage <= 1.0:
        raise ValueOutOfRange(
            f"a coverage of {coverage} does not exist.",
            where="coverage factor",
            remedy="Give the coverage as 0.95, not as 95.",
        )
    return coverage * _SQRT_3
