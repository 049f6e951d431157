"""Which published curve and which pull-up explain known points of a sensor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from backprobe.core.engine.curve_fit import (
    BetaFit,
    PullUpFit,
    VoltPoints,
    fit_beta,
    fit_pull_up,
    log_evidence_of_ohms,
)
from backprobe.core.engine.pull_up import Estimate
from backprobe.curves.curve_file import TemperatureCurve
from backprobe.curves.loader import temperature_curves
from backprobe.errors import UsageError
from backprobe.services.curve_points import KnownPoint
from backprobe.services.sensor_curves import OHM_SHARE, volts_uncertainty
from backprobe.services.words import interval_words, measured, percent

FITS, EXCLUDED = 0.05, 0.001
LEAST_SHARE: Final = 0.005  # of the curves kept; less is as good as excluded


@dataclass(frozen=True, slots=True)
class CurveCandidate:
    """One published curve held against known points."""

    curve: str
    title: str
    probability: float
    misfit: float
    pull_up: Estimate | None
    second: Estimate | None
    said: str

    @property
    def is_excluded(self) -> bool:
        """Whether the points rule it out."""
        return self.misfit < EXCLUDED or self.probability < LEAST_SHARE


@dataclass(frozen=True, slots=True)
class FitAnswer:
    """What known points tell of curve and pull-up."""

    verdict: str
    candidates: tuple[CurveCandidate, ...]
    own: str  # a curve through the points themselves
    cannot_tell: tuple[str, ...]
    pull_up: Estimate | None = None  # known without any curve
    beta: Estimate | None = None
    ohm_25: Estimate | None = None

    @property
    def nothing_fits(self) -> bool:
        """Whether every curve kept here is excluded."""
        return bool(self.candidates) and all(line.is_excluded for line in self.candidates)

    @property
    def pull_up_said(self) -> str:
        """The pull-up that known resistors tell, in words."""
        return f"The pull-up is {_ohm_words(self.pull_up)}." if self.pull_up else ""

    def as_json(self) -> dict[str, Any]:
        """For programs."""
        return {"format": 1, **asdict(self)}


def fit_points(points: Sequence[KnownPoint], supply: float = 5.0) -> FitAnswer:
    """Find which published curves explain known points, and the pull-up with each.

    Parameters
    ----------
    points : sequence of KnownPoint
        Volts or ohms at a temperature, volts across a known resistor.
    supply : float
        V that the pull-up hangs on.

    Raises
    ------
    UsageError
        Fewer than two points.
    """
    if len(points) < 2 and not any(point.is_resistor for point in points):
        raise UsageError(
            "One point tells neither curve nor pull-up.", remedy="Give two known points at least."
        )
    pull_up = _from_resistors(points, supply)
    has_sensor = any(not point.is_resistor for point in points)
    candidates = _candidates(points, supply) if has_sensor else ()
    own, beta, ohm_25 = _own_curve(points, supply, pull_up)
    return FitAnswer(
        _fit_verdict(candidates, pull_up),
        candidates,
        own,
        tuple(_cannot_tell(points, candidates, pull_up)),
        pull_up,
        beta,
        ohm_25,
    )


def _volt_points(points: Sequence[KnownPoint], supply: float) -> VoltPoints:
    read = [point for point in points if point.volts is not None]
    volts = np.array([point.volts for point in read], dtype=np.float64)
    return VoltPoints(
        np.array([math.nan if p.celsius is None else p.celsius for p in read]),
        np.array([p.celsius_uncertainty for p in read]),
        np.array([p.ohm if p.is_resistor and p.ohm is not None else math.nan for p in read]),
        volts,
        np.array([volts_uncertainty(each) for each in volts]),
        supply,
    )


def _from_resistors(points: Sequence[KnownPoint], supply: float) -> Estimate | None:
    """The pull-up by known resistors alone: no curve is needed."""
    known = [point for point in points if point.is_resistor]
    if not known:
        return None
    return fit_pull_up(_volt_points(known, supply), temperature_curves()[0].law, 0.0).pull_up


def _candidates(points: Sequence[KnownPoint], supply: float) -> tuple[CurveCandidate, ...]:
    """Every published curve, the likeliest first."""
    found: list[tuple[TemperatureCurve, float, float, PullUpFit | None]] = []
    for curve in temperature_curves():
        evidence, misfit, fit = 0.0, 1.0, None
        ohms = [point for point in points if point.ohm is not None and not point.is_resistor]
        if ohms:
            of_ohms, misfit = log_evidence_of_ohms(
                np.array([p.celsius for p in ohms], dtype=np.float64),
                np.array([p.celsius_uncertainty for p in ohms]),
                np.array([p.ohm for p in ohms], dtype=np.float64),
                np.full(len(ohms), OHM_SHARE),
                curve.law,
                curve.standard_tolerance,
            )
            evidence += of_ohms
        if any(point.volts is not None for point in points):
            fit = fit_pull_up(_volt_points(points, supply), curve.law, curve.standard_tolerance)
            evidence, misfit = evidence + fit.log_evidence, min(misfit, fit.misfit)
        found.append((curve, evidence, misfit, fit))
    logs = np.array([evidence for _, evidence, _, _ in found])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    lines = [
        _candidate(curve, float(share), misfit, fit)
        for (curve, _, misfit, fit), share in zip(found, shares, strict=True)
    ]
    return tuple(sorted(lines, key=lambda line: (line.is_excluded, -line.probability)))


def _candidate(
    curve: TemperatureCurve, share: float, misfit: float, fit: PullUpFit | None
) -> CurveCandidate:
    is_out = misfit < EXCLUDED or share < LEAST_SHARE
    if is_out:
        said = "excluded: no usual pull-up makes it give these points"
        if fit is None:
            said = "excluded: its resistances are others"
    elif misfit < FITS:
        said = "fits poorly"
    else:
        said = "fits"
    if fit is not None and not is_out:
        said += f"; pull-up {_ohm_words(fit.pull_up)}"
        if fit.second is not None:
            said += f", and {_ohm_words(fit.second)} when hot (a second one is switched in)"
    return CurveCandidate(
        curve.id,
        curve.title,
        share,
        misfit,
        fit.pull_up if fit is not None else None,
        fit.second if fit is not None else None,
        said,
    )


def _ohm_words(found: Estimate) -> str:
    return f"{measured(found.value, 'ohm')} ({interval_words(found.low, found.high, 'ohm')})"


def _own_curve(
    points: Sequence[KnownPoint], supply: float, pull_up: Estimate | None
) -> tuple[str, Estimate | None, Estimate | None]:
    """One beta through the points: of resistance, or of resistance over the pull-up."""
    sensor = [point for point in points if not point.is_resistor]
    ohms = [point for point in sensor if point.ohm is not None]
    is_in_ohms = len({point.celsius for point in ohms}) >= 2
    chosen = ohms if is_in_ohms else [point for point in sensor if point.volts is not None]
    celsius = np.array([point.celsius for point in chosen], dtype=np.float64)
    if len(chosen) < 2 or np.ptp(celsius) < 1.0:
        return "Points at two temperatures are needed for a curve of their own.", None, None
    if is_in_ohms:
        logs = np.log(np.array([point.ohm for point in chosen], dtype=np.float64))
        spread = np.full(len(chosen), OHM_SHARE)
    else:
        volts = np.array([point.volts for point in chosen], dtype=np.float64)
        logs = np.log(volts / (supply - volts))
        spread = np.array([volts_uncertainty(v) * (1.0 / v + 1.0 / (supply - v)) for v in volts])
    fit = fit_beta(celsius, np.array([p.celsius_uncertainty for p in chosen]), logs, spread)
    return _own_words(fit, is_in_ohms=is_in_ohms, pull_up=pull_up)


def _own_words(
    fit: BetaFit, *, is_in_ohms: bool, pull_up: Estimate | None
) -> tuple[str, Estimate | None, Estimate | None]:
    beta, at_25 = fit.beta_kelvin, fit.ratio_25
    if beta.value <= 0.0:
        return "Resistance rises with temperature here: no thermistor of this kind.", beta, None
    said = f"Through these points: beta {beta.value:.0f} K ({beta.low:.0f} to {beta.high:.0f})"
    if not is_in_ohms and pull_up is not None:
        low, high = at_25.low * pull_up.low, at_25.high * pull_up.high
        at_25 = Estimate(at_25.value * pull_up.value, low, high)
    if is_in_ohms or pull_up is not None:
        said += f", {_ohm_words(at_25)} at 25 °C."
    else:
        said += (
            f", resistance at 25 °C {at_25.value:.3g} times the pull-up"
            f" ({at_25.low:.3g} to {at_25.high:.3g} times)."
        )
    if fit.misfit < FITS:
        said += " One beta fits these points poorly: a real thermistor's rises with temperature."
    in_ohms = at_25 if is_in_ohms or pull_up is not None else None
    return said, beta, in_ohms


def _fit_verdict(candidates: tuple[CurveCandidate, ...], pull_up: Estimate | None) -> str:
    if not candidates:
        return f"The pull-up is {_ohm_words(pull_up)}." if pull_up else "Nothing is told."
    left = [line for line in candidates if not line.is_excluded]
    if not left:
        return (
            "No curve kept here gives these points with any usual pull-up: another part, a wet or"
            " resistive connection, a lifted ground, or a temperature that isn't what it was taken"
            " for."
        )
    likely = [line for line in left if line.probability >= 0.05]
    if len(likely) == 1:
        return f"Of the curves kept here only one is likely: {likely[0].title}; {likely[0].said}."
    named = ", ".join(f"{line.curve} ({percent(line.probability)})" for line in likely)
    return f"{len(likely)} of the {len(candidates)} curves kept here remain likely: {named}."


def _cannot_tell(
    points: Sequence[KnownPoint],
    candidates: tuple[CurveCandidate, ...],
    pull_up: Estimate | None,
) -> list[str]:
    """What these points leave open, and what would settle it."""
    said = []
    has_ohms = any(point.ohm is not None and not point.is_resistor for point in points)
    has_volts = any(point.volts is not None and not point.is_resistor for point in points)
    if has_volts and not has_ohms and pull_up is None:
        said.append(
            "Volts alone tell the sensor's resistance over the pull-up, never both: measure the"
            " unplugged sensor's ohms once (key off), or fit a known resistor in its place."
        )
    degrees = [point.celsius for point in points if point.celsius is not None]
    if degrees and max(degrees) - min(degrees) < 40.0:
        said.append("These temperatures lie within 40 degrees: curves differ more when apart.")
    if has_volts and (not degrees or max(degrees) < 60.0):
        said.append("Whether a second pull-up is switched in when hot can't be told from these.")
    if sum(not line.is_excluded for line in candidates) > 1:
        said.append("A curve that isn't kept here may fit as well as those that are.")
    return said
