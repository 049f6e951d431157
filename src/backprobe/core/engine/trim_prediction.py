"""What each cause would make of trims at other points, and what a reading there would tell."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from backprobe.core.engine.trim_inference import TrimAnswer, Weighed, trims_of, weigh_causes
from backprobe.core.engine.trim_pattern import UNMODELLED, OperatingPoints, draw_pattern
from backprobe.core.engine.trim_readings import (
    SCATTER,
    TrimReadings,
    basis_of,
    lay_out,
)
from backprobe.core.inference.information import expected_information
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

READING_UNCERTAINTY: Final = 0.015  # of a trim that is read off a display by eye
_N_KEPT: Final = 128  # draws that stand for a cause
_EDGES: Final = np.concatenate([[-np.inf], np.arange(-0.2625, 0.27, 0.025), [np.inf]])
_IGNORED: Final = 0.002  # hypotheses below this tell nothing about what to read next


def _kept(each: Weighed) -> NDArray[np.intp]:
    """Draws that stand for all, taken evenly along their weights (systematic resampling)."""
    edges = np.cumsum(np.exp(each.log_weight))
    places = (np.arange(_N_KEPT) + 0.5) / _N_KEPT * edges[-1]
    return np.asarray(np.minimum(np.searchsorted(edges, places), len(edges) - 1))


def predicted_trims(
    each: Weighed, readings: TrimReadings, points: OperatingPoints
) -> tuple[Array, Array]:
    """Trims that a cause leads to expect at points, given what was read.

    Parameters
    ----------
    each : Weighed
        The cause.
    readings : TrimReadings
        What it was weighed by.
    points : OperatingPoints
        Where; any, also those that were read.

    Returns
    -------
    mean : ndarray, shape (n_kept, n_bank, n_point)
        Expected trim of draws that stand for the cause, as a share, no limit applied.
    deviation : ndarray, shape (n_bank, n_point)
        Standard deviation around it, scatter from cell to cell included.

    Notes
    -----
    The common part given the readings is the conditional Gaussian [jcgm101].
    """
    known, n_bank = lay_out(readings), readings.n_bank
    kept = each.draws[_kept(each)]
    drawn = Weighed(each.cause, each.banks, each.metering, 0.0, kept, np.zeros(len(kept)))
    residual = known.value - trims_of(drawn, readings.points)[:, known.used]
    here = basis_of(readings.points, n_bank)[:, known.used]  # (n_basis, n_read)
    there = basis_of(points, n_bank)  # (n_basis, n_there)
    inverse = known.solvers[0].inverse
    gain = inverse @ here.T @ there  # (n_read, n_there)
    mean = trims_of(drawn, points) + residual @ gain
    variance = (there**2).sum(axis=0) - ((here.T @ there) * gain).sum(axis=0)
    deviation = np.sqrt(np.maximum(variance, 0.0) + (1.5 * SCATTER) ** 2)
    return mean.reshape(len(kept), n_bank, -1), deviation.reshape(n_bank, -1)


def expected_trims(answer: TrimAnswer, readings: TrimReadings, cause: str) -> Array:
    """Mean trim that the likeliest form of a cause leads to expect where trims were read.

    Returns
    -------
    ndarray, shape (n_bank, n_point)
        As a share, no limit applied.
    """
    rows = [row for row, each in enumerate(answer.hypotheses) if each.cause == cause]
    best = max(rows, key=lambda row: answer.probability[row])
    mean, _ = predicted_trims(answer.hypotheses[best], readings, readings.points)
    return np.asarray(mean.mean(axis=0))


def bits_of_trim(
    answer: TrimAnswer, readings: TrimReadings, points: OperatingPoints, names: tuple[str, ...]
) -> float:
    """Bits that reading the trims of all banks at one more point is expected to tell.

    Parameters
    ----------
    answer : TrimAnswer
        What is known so far.
    readings : TrimReadings
        What it came from.
    points : OperatingPoints
        One point.
    names : tuple of str
        The causes between which it is asked; hypotheses of one cause count together.

    Returns
    -------
    float
        Mutual information of cause and reading, the bank that tells most, bit.

    Notes
    -----
    [lindley1956]. The reading falls into steps of 2.5 %, all beyond the limit together.
    """
    if points.n_point != 1:
        raise ValueOutOfRange("A reading is taken at one point.", remedy="Ask for one at a time.")
    spread = np.zeros((readings.n_bank, len(names), len(_EDGES) - 1))
    for each, share in zip(answer.hypotheses, answer.probability, strict=True):
        if each.cause == UNMODELLED or share < _IGNORED or each.cause not in names:
            continue
        mean, deviation = predicted_trims(each, readings, points)
        total = np.sqrt(deviation[:, 0] ** 2 + READING_UNCERTAINTY**2)  # (n_bank,)
        below = ndtr((_EDGES - mean[:, :, 0, None]) / total[None, :, None])
        spread[:, names.index(each.cause)] += share * np.diff(below, axis=2).mean(axis=0)
    weights = spread[0].sum(axis=1)
    if weights.sum() <= 0.0:
        return 0.0
    return max(_bits(spread[bank]) for bank in range(readings.n_bank))


def _bits(joint: Array) -> float:
    rows = joint[joint.sum(axis=1) > 0.0]
    weights = rows.sum(axis=1)
    given = rows / weights[:, None]
    return float(expected_information(weights / weights.sum(), given))


def full_load_outcomes(
    answer: TrimAnswer, names: tuple[str, ...], edges: Array, deviation: float
) -> Array:
    """How likely each cause makes bands of reported over expected air flow at full load.

    Parameters
    ----------
    answer : TrimAnswer
        What is known.
    names : tuple of str
        Causes, n_cause.
    edges : ndarray, shape (n_band - 1,)
        Ends of the bands, as reported over expected flow.
    deviation : float
        Standard uncertainty of the expected flow, as a share.

    Returns
    -------
    ndarray, shape (n_cause, n_band)
        Each row sums to 1.
    """
    ends = np.concatenate([[-np.inf], edges, [np.inf]])
    nowhere = OperatingPoints(np.array([5000.0]), np.array([38.0]))
    found = np.zeros((len(names), len(ends) - 1))
    for each, share in zip(answer.hypotheses, answer.probability, strict=True):
        if each.cause not in names:
            continue
        if each.cause == UNMODELLED:
            reading = np.ones(1)
        else:
            kept = each.draws[_kept(each)]
            reading = draw_pattern(each.cause, each.metering, nowhere, kept).reading_full_load
        chance = np.diff(ndtr((ends - reading[:, None]) / deviation), axis=1).mean(axis=0)
        found[names.index(each.cause)] += max(share, 1e-12) * chance
    total = found.sum(axis=1, keepdims=True)
    return np.asarray(
        np.where(total > 0.0, found / np.maximum(total, 1e-300), 1.0 / found.shape[1])
    )


def weight_of_each_reading(readings: TrimReadings, claim: str, rival: str) -> Array:
    """How far each trim speaks for one cause against another, given all the others.

    Parameters
    ----------
    readings : TrimReadings
        At least two trims.
    claim, rival : str
        Causes.

    Returns
    -------
    ndarray, shape (n_bank, n_point)
        Weight of evidence, deciban [good1950]; NaN where nothing was read.
    """
    whole = _log_odds(weigh_causes(readings), claim, rival)
    found = np.full(readings.trim.shape, np.nan)
    is_read = np.isfinite(readings.trim)
    if is_read.sum() < 2:
        return found
    for bank, point in zip(*np.nonzero(is_read), strict=True):
        trim = readings.trim.copy()
        trim[bank, point] = np.nan
        without = TrimReadings(
            readings.points, trim, readings.uncertainty, readings.is_limited, readings.metering
        )
        found[bank, point] = whole - _log_odds(weigh_causes(without), claim, rival)
    return np.asarray(found * 10.0 / np.log(10.0))


def _log_odds(answer: TrimAnswer, claim: str, rival: str) -> float:
    shares = answer.by_cause()
    return float(np.log(max(shares.get(claim, 0.0), 1e-30) / max(shares.get(rival, 0.0), 1e-30)))
