"""Resistance of temperature sensors: thermistors by three laws, platinum by its standard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import (
    KELVIN_AT_0_DEGC,
    PLATINUM_A,
    PLATINUM_B,
    platinum_ratio,
)
from backprobe.errors import ValueOutOfRange

Array: TypeAlias = NDArray[np.float64]

_NEWTON_STEPS: Final = 8
# IEC 60751 begins at -200 degC; colder platinum isn't told by it.
_COLDEST_PLATINUM: Final = -200.0


class ResistanceCurve(Protocol):
    """Ohms over temperature, one to one."""

    def ohm(self, celsius: Array) -> Array:
        """Resistance, ohm, at temperatures, degC."""

    def celsius(self, ohm: Array) -> Array:
        """Temperature, degC, at resistances, ohm."""


def _require_ohm(ohm: Array) -> Array:
    values = np.asarray(ohm, dtype=np.float64)
    if not (values > 0.0).all():
        raise ValueOutOfRange(
            "A sensor's resistance has to be above zero.",
            remedy="A reading of 0 is a short, an OL an open circuit: neither is a temperature.",
        )
    return values


@dataclass(frozen=True, slots=True)
class BetaCurve:
    """One-constant law: R = R_ref exp(beta (1/T - 1/T_ref)).

    Parameters
    ----------
    r_ref_ohm, t_ref_degc, beta_kelvin : float
        Resistance at a reference temperature, and the constant, both above zero.

    Notes
    -----
    Good to about 1 K over 50 K and 3 K over the range of a vehicle: a thermistor's beta rises
    with temperature. [iec60539, 3.4] (B-value).
    """

    r_ref_ohm: float
    t_ref_degc: float
    beta_kelvin: float

    def ohm(self, celsius: Array) -> Array:
        """Resistance, ohm."""
        inverse = 1.0 / (celsius + KELVIN_AT_0_DEGC) - 1.0 / (self.t_ref_degc + KELVIN_AT_0_DEGC)
        return np.asarray(self.r_ref_ohm * np.exp(self.beta_kelvin * inverse))

    def celsius(self, ohm: Array) -> Array:
        """Temperature, degC."""
        ratio = np.log(_require_ohm(ohm) / self.r_ref_ohm) / self.beta_kelvin
        return np.asarray(
            1.0 / (ratio + 1.0 / (self.t_ref_degc + KELVIN_AT_0_DEGC)) - KELVIN_AT_0_DEGC
        )


@dataclass(frozen=True, slots=True)
class SteinhartHartCurve:
    """1/T = A + B ln R + C (ln R)^3, T in kelvin, R in ohm [steinhart1968].

    Parameters
    ----------
    a, b, c : float
        Coefficients; b above and c not below zero, so that the curve is one to one.
    """

    a: float
    b: float
    c: float

    def ohm(self, celsius: Array) -> Array:
        """Resistance, ohm: Cardano's root of the depressed cubic."""
        inverse = 1.0 / (np.asarray(celsius) + KELVIN_AT_0_DEGC)
        if self.c == 0.0:
            return np.asarray(np.exp((inverse - self.a) / self.b))
        half = (self.a - inverse) / (2.0 * self.c)
        root = np.sqrt((self.b / (3.0 * self.c)) ** 3 + half**2)
        return np.asarray(np.exp(np.cbrt(root - half) - np.cbrt(root + half)))

    def celsius(self, ohm: Array) -> Array:
        """Temperature, degC."""
        log = np.log(_require_ohm(ohm))
        return np.asarray(1.0 / (self.a + self.b * log + self.c * log**3) - KELVIN_AT_0_DEGC)


@dataclass(frozen=True, eq=False)
class TableCurve:
    """A table, between its rows straight in ln R over 1/T; beyond them as in the last gap.

    Parameters
    ----------
    celsius_rows : ndarray, shape (n_row,)
        Temperatures, degC, rising.
    ohm_rows : ndarray, shape (n_row,)
        Resistances, ohm, falling.

    Raises
    ------
    ValueOutOfRange
        Fewer than two rows, or rows out of order.
    """

    celsius_rows: Array
    ohm_rows: Array

    def __post_init__(self) -> None:
        celsius, ohm = self.celsius_rows, self.ohm_rows
        if len(celsius) < 2 or len(celsius) != len(ohm):
            raise ValueOutOfRange(
                "A table of a thermistor needs two rows at least, each with degC and ohm.",
                remedy="Add rows.",
            )
        if not ((np.diff(celsius) > 0.0).all() and (np.diff(ohm) < 0.0).all() and ohm[-1] > 0.0):
            raise ValueOutOfRange(
                "Temperatures have to rise from row to row and resistances to fall.",
                remedy="Sort the rows and check each number.",
            )

    def ohm(self, celsius: Array) -> Array:
        """Resistance, ohm."""
        inverse = 1.0 / (np.asarray(celsius) + KELVIN_AT_0_DEGC)
        rows = 1.0 / (self.celsius_rows[::-1] + KELVIN_AT_0_DEGC)
        return np.asarray(np.exp(_straight(inverse, rows, np.log(self.ohm_rows[::-1]))))

    def celsius(self, ohm: Array) -> Array:
        """Temperature, degC."""
        rows = 1.0 / (self.celsius_rows[::-1] + KELVIN_AT_0_DEGC)
        log = np.log(_require_ohm(ohm))
        return np.asarray(
            1.0 / _straight(log, np.log(self.ohm_rows[::-1]), rows) - KELVIN_AT_0_DEGC
        )


def _straight(x: Array, x_rows: Array, y_rows: Array) -> Array:
    """Straight between rows, and on from the first and last two."""
    gap = np.clip(np.searchsorted(x_rows, x) - 1, 0, len(x_rows) - 2)
    slope = np.diff(y_rows) / np.diff(x_rows)
    return np.asarray(y_rows[gap] + slope[gap] * (x - x_rows[gap]))


@dataclass(frozen=True, slots=True)
class PlatinumCurve:
    """Platinum by IEC 60751: resistance rises with temperature.

    Parameters
    ----------
    r0_ohm : float
        Resistance at 0 degC, ohm; 100 for a Pt100.
    """

    r0_ohm: float

    def ohm(self, celsius: Array) -> Array:
        """Resistance, ohm [iec60751, eqs. (1) and (2)]."""
        return np.asarray(self.r0_ohm * platinum_ratio(np.asarray(celsius, dtype=np.float64)))

    def celsius(self, ohm: Array) -> Array:
        """Temperature, degC: the root above 0 degC in closed form, below it by Newton's steps."""
        ratio = _require_ohm(ohm) / self.r0_ohm
        most = 1.0 - PLATINUM_A**2 / (4.0 * PLATINUM_B)  # of the parabola
        under = np.sqrt(PLATINUM_A**2 - 4.0 * PLATINUM_B * (1.0 - np.minimum(ratio, most)))
        found = (under - PLATINUM_A) / (2.0 * PLATINUM_B)
        for _ in range(_NEWTON_STEPS):
            step = 1e-3
            slope = (platinum_ratio(found + step) - platinum_ratio(found - step)) / (2.0 * step)
            better = found - (platinum_ratio(found) - ratio) / slope
            found = np.where(ratio < 1.0, np.maximum(better, _COLDEST_PLATINUM), found)
        return np.asarray(found)


def relative_slope(curve: ResistanceCurve, celsius: Array) -> Array:
    """Relative change of resistance a degree, d ln R / dT, 1/K; about -0.03 for a thermistor."""
    step = 0.05
    return np.asarray(np.log(curve.ohm(celsius + step) / curve.ohm(celsius - step)) / (2.0 * step))
