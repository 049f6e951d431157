"""Pull-up and curve of a resistive sensor from a few known temperatures or resistances.

Volts tell only the sensor's resistance over the pull-up: with an unknown curve and an unknown
pull-up, no number of volts parts the two. A published curve, one resistance measured on the
unplugged sensor, or one known resistor in its place does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from backprobe.core.circuit.elements import KELVIN_AT_0_DEGC, KELVIN_AT_25_DEGC
from backprobe.core.engine.pull_up import COVERAGE_FACTOR, Estimate
from backprobe.core.engine.thermistor_curve import ResistanceCurve, relative_slope
from backprobe.core.inference.log_sum import log_sum_exp
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

LEAST_PULL_UP, MOST_PULL_UP = 200.0, 50e3  # ohm; 1 to 4.7 kohm usual, 220 ohm to 47 kohm seen
# What a sound sensor may be off its curve from one temperature to another; all that is common to
# the whole curve goes into the pull-up's interval instead.
ROW_TOLERANCE: Final = 0.01
_N_GRID: Final = 240
SECOND_PRIOR: Final = 0.12  # control units that switch a second pull-up in; common practice
_SWITCH_DEGC: Final = (35.0, 65.0)  # "near 50 degC"; common practice
_SECOND_RATIO: Final = (0.04, 0.6)  # both together over the first alone


@dataclass(frozen=True, eq=False)
class VoltPoints:
    """Volts across the sensor at known temperatures, or across known resistors.

    Parameters
    ----------
    celsius, celsius_uncertainty : ndarray, shape (n,)
        degC and standard uncertainty; NaN where a resistor was fitted.
    ohm : ndarray, shape (n,)
        Of the resistor fitted instead, ohm; NaN where the sensor was read.
    volts, volts_uncertainty : ndarray, shape (n,)
        V and standard uncertainty.
    supply : float
        V.
    """

    celsius: Array
    celsius_uncertainty: Array
    ohm: Array
    volts: Array
    volts_uncertainty: Array
    supply: float = 5.0


@dataclass(frozen=True, slots=True)
class PullUpFit:
    """A pull-up found under one curve.

    Parameters
    ----------
    pull_up : Estimate
        Ohm; the one for a cold sensor where there are two.
    second : Estimate or None
        Ohm of both together, where a second one is likelier than not.
    second_probability : float
        That a second pull-up is switched in among these points.
    log_evidence : float
        Mean likelihood over what the pull-up may be.
    misfit : float
        Probability of points at least this far off, at the best pull-up.
    """

    pull_up: Estimate
    second: Estimate | None
    second_probability: float
    log_evidence: float
    misfit: float


def _grid() -> Array:
    return np.linspace(np.log(LEAST_PULL_UP), np.log(MOST_PULL_UP), _N_GRID)


def _relative_need(points: VoltPoints, curve: ResistanceCurve | None) -> tuple[Array, Array]:
    """Logarithm of the resistance expected at each point, and its standard uncertainty."""
    log_ohm, spread = np.log(points.ohm), np.full(len(points.ohm), 0.002)
    is_sensor = np.isnan(points.ohm)
    if curve is not None and is_sensor.any():
        celsius = points.celsius[is_sensor]
        log_ohm = log_ohm.copy()
        log_ohm[is_sensor] = np.log(curve.ohm(celsius))
        slope = relative_slope(curve, celsius) * points.celsius_uncertainty[is_sensor]
        spread[is_sensor] = np.hypot(slope, ROW_TOLERANCE)
    return log_ohm, spread


def _log_likelihood(points: VoltPoints, need: tuple[Array, Array], log_pull_up: Array) -> Array:
    """Logarithm of the likelihood of each point, shape (n_grid, n_point)."""
    share = 1.0 / (1.0 + np.exp(log_pull_up[:, None] - need[0]))
    steep = points.supply * share * (1.0 - share)  # dV / d ln R
    deviation = np.hypot(points.volts_uncertainty, steep * need[1])
    residual = (points.volts - points.supply * share) / deviation
    return np.asarray(-0.5 * residual**2 - np.log(deviation * np.sqrt(2.0 * np.pi)))


def _require_volts(points: VoltPoints) -> None:
    if not ((points.volts > 0.0) & (points.volts < points.supply)).all():
        raise ValueOutOfRange(
            f"Volts to fit have to lie between 0 and the supply of {points.supply:g} V.",
            remedy="Leave out readings of an open or a shorted circuit.",
        )


def fit_pull_up(points: VoltPoints, curve: ResistanceCurve, tolerance: float) -> PullUpFit:
    """Find the pull-up that makes a curve give the volts that were read.

    Parameters
    ----------
    points : VoltPoints
        At least one.
    curve : ResistanceCurve
        Of the sensor.
    tolerance : float
        Relative standard uncertainty common to the whole curve.

    Returns
    -------
    PullUpFit
        Posterior mean and 95 % interval, with and without a second pull-up.

    Raises
    ------
    ValueOutOfRange
        Volts at or beyond an end.

    Notes
    -----
    Posterior on a grid of the logarithm of the pull-up, every doubling as likely beforehand; the
    second pull-up likewise, switched in at 35 to 65 degC.
    """
    _require_volts(points)
    grid, need = _grid(), _relative_need(points, curve)
    by_point = _log_likelihood(points, need, grid)  # (n_grid, n_point)
    single = by_point.sum(axis=1)
    evidence = float(log_sum_exp(single)) - np.log(_N_GRID)
    weights = np.exp(single - log_sum_exp(single))
    misfit = _misfit(points, need, np.full(len(points.volts), grid[single.argmax()]), 1)
    double = _second(points, need, grid, by_point)
    second, share = None, 0.0
    if double is not None:
        first_weights, second_weights, other, fed_by = double
        log_odds = other + np.log(SECOND_PRIOR) - evidence - np.log1p(-SECOND_PRIOR)
        share = float(1.0 / (1.0 + np.exp(-np.clip(log_odds, -500.0, 500.0))))
        evidence = float(
            np.logaddexp(evidence + np.log1p(-SECOND_PRIOR), other + np.log(SECOND_PRIOR))
        )
        if share > 0.5:
            weights, misfit = first_weights, _misfit(points, need, fed_by, 2)
            second = _estimate(grid, second_weights, tolerance)
    return PullUpFit(_estimate(grid, weights, tolerance), second, share, evidence, misfit)


def _misfit(
    points: VoltPoints, need: tuple[Array, Array], log_pull_up: Array, n_fitted: int
) -> float:
    """Probability of points at least this far off, each fed by its own pull-up, (n_point,)."""
    if len(points.volts) <= n_fitted:
        return 1.0
    share = 1.0 / (1.0 + np.exp(log_pull_up - need[0]))
    steep = points.supply * share * (1.0 - share)
    deviation = np.hypot(points.volts_uncertainty, steep * need[1])
    distance = (((points.volts - points.supply * share) / deviation) ** 2).sum()
    return float(chdtrc(len(points.volts) - n_fitted, distance))


def _second(
    points: VoltPoints, need: tuple[Array, Array], grid: Array, by_point: Array
) -> tuple[Array, Array, float, Array] | None:
    """Weights of the first pull-up and of both together, their evidence, what feeds each point.

    None where no switch between 35 and 65 degC has points on either side.
    """
    celsius = points.celsius
    cuts = np.linspace(*_SWITCH_DEGC, 7)
    hot = np.array([celsius > cut for cut in cuts])  # (n_cut, n_point); NaN is cold
    if not (hot.any(axis=1) & (~hot & np.isfinite(celsius)).any(axis=1)).any():
        return None
    ratio = np.linspace(np.log(_SECOND_RATIO[0]), np.log(_SECOND_RATIO[1]), 40)
    together = grid[:, None] + ratio  # (n_grid, n_ratio)
    after = _log_likelihood(points, need, together.ravel()).reshape(*together.shape, -1)
    total = np.stack(
        [(by_point * ~is_hot).sum(axis=1)[:, None] + (after * is_hot).sum(axis=2) for is_hot in hot]
    )  # (n_cut, n_grid, n_ratio)
    flat = total.reshape(-1)
    log_total = float(log_sum_exp(flat))
    weights = np.exp(total - log_total)
    first = weights.sum(axis=(0, 2))
    edges = np.concatenate([[-np.inf], (grid[1:] + grid[:-1]) / 2.0, [np.inf]])
    both = np.histogram(together, bins=edges, weights=weights.sum(axis=0))[0]
    cut, row, column = np.unravel_index(int(flat.argmax()), total.shape)
    fed_by = np.where(hot[cut], together[row, column], grid[row])
    return first, both, log_total - float(np.log(flat.size)), fed_by


def _estimate(grid: Array, weights: Array, tolerance: float) -> Estimate:
    mean = float(weights @ grid / weights.sum())
    variance = float(weights @ (grid - mean) ** 2 / weights.sum())
    step = grid[1] - grid[0]
    spread = COVERAGE_FACTOR * np.sqrt(variance + step**2 / 12.0 + tolerance**2)
    return Estimate(float(np.exp(mean)), float(np.exp(mean - spread)), float(np.exp(mean + spread)))


@dataclass(frozen=True, slots=True)
class BetaFit:
    """One beta through points.

    Parameters
    ----------
    log_ratio_25, log_ratio_uncertainty : float
        Logarithm of the resistance at 25 degC (ohm, or over the pull-up), standard uncertainty.
    beta, beta_uncertainty : float
        K.
    misfit : float
        Probability of points at least this far off; 1 with two points, which always fit.
    """

    log_ratio_25: float
    log_ratio_uncertainty: float
    beta: float
    beta_uncertainty: float
    misfit: float

    @property
    def ratio_25(self) -> Estimate:
        """Resistance at 25 degC, in the unit of what was fitted."""
        spread = COVERAGE_FACTOR * self.log_ratio_uncertainty
        low, value, high = np.exp(self.log_ratio_25 + np.array([-spread, 0.0, spread]))
        return Estimate(float(value), float(low), float(high))

    @property
    def beta_kelvin(self) -> Estimate:
        """The constant, K."""
        spread = COVERAGE_FACTOR * self.beta_uncertainty
        return Estimate(self.beta, self.beta - spread, self.beta + spread)


def fit_beta(
    celsius: Array, celsius_uncertainty: Array, log_value: Array, log_uncertainty: Array
) -> BetaFit:
    """Fit ln R = ln R25 + beta (1/T - 1/298.15) by weighted least squares.

    Parameters
    ----------
    celsius, celsius_uncertainty : ndarray, shape (n,)
        Known temperatures, degC; at least two that differ.
    log_value, log_uncertainty : ndarray, shape (n,)
        Logarithm of resistance (or of resistance over pull-up), standard uncertainty.

    Raises
    ------
    ValueOutOfRange
        Fewer than two temperatures that differ.

    Notes
    -----
    Uncertainty of the temperature enters by the slope of a usual thermistor, 3500 K.
    """
    if len(celsius) < 2 or np.ptp(celsius) < 1.0:
        raise ValueOutOfRange(
            "A curve needs two temperatures at least, a few degrees apart.",
            remedy="Read it cold and warm: 50 degrees apart tell a good deal.",
        )
    kelvin = celsius + KELVIN_AT_0_DEGC
    x = 1.0 / kelvin - 1.0 / KELVIN_AT_25_DEGC
    deviation = np.hypot(log_uncertainty, 3500.0 / kelvin**2 * celsius_uncertainty)
    design = np.stack([np.ones_like(x), x], axis=1) / deviation[:, None]
    covariance = np.linalg.inv(design.T @ design)
    found = covariance @ design.T @ (log_value / deviation)
    distance = float((((design @ found) - log_value / deviation) ** 2).sum())
    misfit = float(chdtrc(len(x) - 2, distance)) if len(x) > 2 else 1.0
    errors = np.sqrt(np.diag(covariance))
    return BetaFit(float(found[0]), float(errors[0]), float(found[1]), float(errors[1]), misfit)


def fit_steinhart_hart(celsius: Array, ohm: Array) -> tuple[float, float, float]:
    """Coefficients of Steinhart and Hart through three or more points (least squares in 1/T).

    Raises
    ------
    ValueOutOfRange
        Fewer than three temperatures that differ.
    """
    if len(np.unique(celsius)) < 3:
        raise ValueOutOfRange(
            "Three coefficients need three temperatures.", remedy="Read one more, or take one beta."
        )
    log = np.log(ohm)
    design = np.stack([np.ones_like(log), log, log**3], axis=1)
    found = np.linalg.lstsq(design, 1.0 / (celsius + KELVIN_AT_0_DEGC), rcond=None)[0]
    return float(found[0]), float(found[1]), float(found[2])


def log_evidence_of_ohms(
    celsius: Array,
    celsius_uncertainty: Array,
    ohm: Array,
    ohm_uncertainty: Array,
    curve: ResistanceCurve,
    tolerance: float,
) -> tuple[float, float]:
    """How well a curve explains resistances: log evidence and misfit.

    Parameters
    ----------
    celsius, celsius_uncertainty, ohm, ohm_uncertainty : ndarray, shape (n,)
        Points; the uncertainty of the resistance is relative.
    curve : ResistanceCurve
        The curve.
    tolerance : float
        Relative standard uncertainty common to the whole curve.

    Returns
    -------
    log_evidence, misfit : float
        Gaussian in ln R with a common part; probability of points at least this far off.
    """
    slope = relative_slope(curve, celsius) * celsius_uncertainty
    own = ohm_uncertainty**2 + slope**2 + ROW_TOLERANCE**2
    covariance = np.diag(own) + tolerance**2
    residual = np.log(ohm) - np.log(curve.ohm(celsius))
    distance = float(residual @ np.linalg.solve(covariance, residual))
    log_det = float(np.linalg.slogdet(covariance)[1])
    n = len(ohm)
    return -0.5 * (distance + log_det + n * np.log(2 * np.pi)), float(chdtrc(n, distance))
