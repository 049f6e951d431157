"""Fuel trims as read, and how far readings lie from what a cause would make of them.

What every engine has, fault or not - a common offset, a slope over load, a difference between
banks, a scatter from cell to cell - is Gaussian and integrated in closed form. A trim that stands
at the control unit's limit says only that at least so much was asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from backprobe.core.engine.trim_pattern import EITHER, FULL_FLOW, IDLE_FLOW, OperatingPoints
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]
Bools: TypeAlias = NDArray[np.bool_]

# What sound engines have; common practice calls totals within 10 % normal: 95 % of these are.
OFFSET, SLOPE, BANK_DIFFERENCE, SCATTER = 0.03, 0.03, 0.012, 0.013
# Real causes are shaped a little otherwise than their models: the scatter may be larger.
SCATTERS: Final = ((1.0, 0.60), (2.0, 0.30), (4.0, 0.10))


@dataclass(frozen=True, eq=False)
class TrimReadings:
    """Trims as read.

    Parameters
    ----------
    points : OperatingPoints
        Where, n_point.
    trim : ndarray, shape (n_bank, n_point)
        Short plus long trim as a share; NaN where it was not read. One or two banks.
    uncertainty : ndarray, shape (n_bank, n_point)
        Standard uncertainty of each, as a share.
    is_limited : ndarray of bool, shape (n_bank, n_point)
        The trim stood at the control unit's limit: more was asked for.
    metering : str
        ``AIR_MASS``, ``MANIFOLD_PRESSURE``, or ``EITHER`` where it isn't known.
    """

    points: OperatingPoints
    trim: Array
    uncertainty: Array
    is_limited: Bools
    metering: str = EITHER

    @property
    def n_bank(self) -> int:
        """One or two."""
        return len(self.trim)


@dataclass(frozen=True, eq=False)
class Solver:
    """For one size of the scatter: inverse, constant, and what it says of limited readings."""

    log_share: float
    inverse: Array  # (n_read, n_read)
    constant: float
    to_limited: Array  # (n_read, n_limited)
    deviation: Array  # (n_limited,)


@dataclass(frozen=True, eq=False)
class Known:
    """The readings laid out in one row, with the Gaussian part ready for use."""

    value: Array  # (n_read,) those below the limit
    limited: Array  # (n_limited,)
    sign: Array  # (n_limited,) which way the limit was reached
    used: NDArray[np.intp]  # into bank x point
    at_limit: NDArray[np.intp]
    solvers: tuple[Solver, ...]


def require_sound(readings: TrimReadings) -> None:
    """Refuse readings that can't be weighed.

    Raises
    ------
    ValueOutOfRange
        No trim, three banks, a point without flow, an uncertainty of zero.
    """
    is_read = np.isfinite(readings.trim)
    if not is_read.any():
        raise ValueOutOfRange("No fuel trim was read.", remedy="Read at least one, warm, at idle.")
    if readings.n_bank not in {1, 2}:
        raise ValueOutOfRange(
            f"{readings.n_bank} banks can't be weighed.", remedy="Give one or two banks."
        )
    flow, speed = readings.points.flow, readings.points.speed_rpm
    if not ((flow > 0.0).all() and (speed > 0.0).all()):
        raise ValueOutOfRange(
            "Speed and air flow have to be above zero at every point.",
            remedy="Leave out what was read with the engine standing.",
        )
    if not (readings.uncertainty[is_read] > 0.0).all():
        raise ValueOutOfRange(
            "An uncertainty has to be above zero.", remedy="Give each trim its uncertainty."
        )


def basis_of(points: OperatingPoints, n_bank: int) -> Array:
    """What the common part of every engine is made of, shape (n_basis, n_bank * n_point)."""
    flow = points.flow
    place = np.log(flow / IDLE_FLOW) / np.log(FULL_FLOW / IDLE_FLOW) - 0.5
    rows = [np.tile(np.full_like(flow, OFFSET), n_bank)]
    rows.append(np.tile(SLOPE * place, n_bank))
    if n_bank == 2:
        half = np.full_like(flow, BANK_DIFFERENCE)
        rows.append(np.concatenate([half, -half]))
    return np.array(rows)


def lay_out(readings: TrimReadings, extra: float = 0.0) -> Known:
    """Prepare the Gaussian part; ``extra`` is a deviation of its own at every place."""
    trim, limited = readings.trim.ravel(), readings.is_limited.ravel()
    is_read = np.isfinite(trim)
    used, at_limit = np.flatnonzero(is_read & ~limited), np.flatnonzero(is_read & limited)
    basis = basis_of(readings.points, readings.n_bank)
    common = basis.T @ basis  # (n_all, n_all)
    own = readings.uncertainty.ravel() ** 2 + extra**2
    solvers = tuple(
        _solver_of(np.log(share), common, own + (scale * SCATTER) ** 2, used, at_limit)
        for scale, share in SCATTERS
    )
    return Known(trim[used], trim[at_limit], np.sign(trim[at_limit]), used, at_limit, solvers)


def _solver_of(
    log_share: float,
    common: Array,
    own: Array,
    used: NDArray[np.intp],
    at_limit: NDArray[np.intp],
) -> Solver:
    covariance = common[np.ix_(used, used)] + np.diag(own[used])
    inverse: Array = np.asarray(np.linalg.inv(covariance))
    # Positive definite by its diagonal, so that the sign of the determinant is known.
    constant = -0.5 * (np.linalg.slogdet(covariance)[1] + len(used) * np.log(2.0 * np.pi))
    across = common[np.ix_(used, at_limit)]
    gain = inverse @ across
    spread = np.diag(common)[at_limit] + own[at_limit] - (across * gain).sum(axis=0)
    return Solver(float(log_share), inverse, float(constant), gain, np.sqrt(spread))


def log_likelihood(trims: Array, known: Known) -> tuple[Array, Array]:
    """Of every draw and size of the scatter, (n_draw, n_scale); residuals (n_draw, n_read)."""
    residual = known.value - trims[:, known.used]
    parts = []
    for solver in known.solvers:
        log = solver.constant - 0.5 * squared_distance(residual, solver.inverse)
        if known.at_limit.size:
            expected = trims[:, known.at_limit] + residual @ solver.to_limited
            beyond = known.sign * (expected - known.limited) / solver.deviation
            log = log + log_ndtr(beyond).sum(axis=1)
        parts.append(solver.log_share + log)
    return np.stack(parts, axis=1), residual


def squared_distance(residual: Array, inverse: Array) -> Array:
    """Squared distance of residuals (n_draw, n_read) in a covariance given by its inverse."""
    return np.asarray(((residual @ inverse) * residual).sum(axis=1))
