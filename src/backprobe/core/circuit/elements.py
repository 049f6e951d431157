"""What each element contributes to the nodal equations, and how that moves with its values.

Every element is written as stamps. A conductance stamp adds ``c * u w'`` to the conductance
matrix (u, w: node differences; w = u for an ordinary two-terminal element, w elsewhere for a
controlled output), a current stamp adds ``c * u`` to the injected currents. The coefficient
``c`` is a function of at most three values, listed here with its partial derivatives.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.int8]

KELVIN_AT_0_DEGC = 273.15  # definition of the degree Celsius (SI brochure, 2019)
KELVIN_AT_25_DEGC = 298.15
PLATINUM_A = 3.9083e-3  # 1/K, IEC 60751:2008
PLATINUM_B = -5.775e-7  # 1/K^2, IEC 60751:2008
PLATINUM_C = -4.183e-12  # 1/K^4, IEC 60751:2008, below 0 degC only
TRACK_END_SHARE = 0.002  # end resistance of a potentiometer's track, share of the whole


class Coefficient(IntEnum):
    """Kinds of coefficient; p0, p1, p2 are the element's values in SI units."""

    NONE = 0
    CONDUCTANCE = 1  # 1 / p0
    THERMISTOR = 2  # 1 / (p0 exp(p1 (1/T - 1/298.15))), T = p2 + 273.15
    PLATINUM = 3  # 1 / (p0 f(p1))
    TRACK_UPPER = 4  # 1 / (p0 (1 - p1 + end)): wiper to the supply end
    TRACK_LOWER = 5  # 1 / (p0 (p1 + end)): wiper to the ground end
    TRANSFER = 6  # -p1 / p0: controlled output, gain p1 behind p0 ohm
    TRANSFER_STARVED = 7  # -p1 / (p0 p2): regulated output without enough supply
    SOURCE = 8  # current: p0 / p1 (p0 volt behind p1 ohm)
    CURRENT = 9  # current: p0
    SINK_STARVED = 10  # p0 / p1: a current sink below its full voltage p1


CURRENT_KINDS = (Coefficient.SOURCE, Coefficient.CURRENT)


def thermistor_ohm(ohm_25: Array, beta_kelvin: Array, celsius: Array) -> Array:
    """Resistance of a thermistor by the one-beta law.

    Parameters
    ----------
    ohm_25, beta_kelvin, celsius : ndarray, same shape
        Resistance at 25 degC, ohm; beta, K; temperature, degC.

    Returns
    -------
    ndarray
        Resistance, ohm: R25 exp(B (1/T - 1/T25)).
    """
    inverse = 1.0 / (celsius + KELVIN_AT_0_DEGC) - 1.0 / KELVIN_AT_25_DEGC
    return np.asarray(ohm_25 * np.exp(beta_kelvin * inverse))


def thermistor_celsius(ohm: Array, ohm_25: Array, beta_kelvin: Array) -> Array:
    """Temperature, degC, at which a thermistor has a resistance: the law above, inverted."""
    inverse = np.log(ohm / ohm_25) / beta_kelvin + 1.0 / KELVIN_AT_25_DEGC
    return np.asarray(1.0 / inverse - KELVIN_AT_0_DEGC)


def platinum_ratio(celsius: Array) -> Array:
    """Resistance of a platinum sensor over that at 0 degC (IEC 60751 eqs. (1) and (2))."""
    t = celsius
    cold = np.minimum(t, 0.0)
    return np.asarray(
        1.0 + PLATINUM_A * t + PLATINUM_B * t**2 + PLATINUM_C * (cold - 100.0) * cold**3
    )


def coefficients(kind: Codes, p0: Array, p1: Array, p2: Array) -> tuple[Array, Array, Array, Array]:
    """Coefficients of stamps and their partial derivatives.

    Parameters
    ----------
    kind : ndarray of int8, shape (..., n_stamp)
        `Coefficient` codes.
    p0, p1, p2 : ndarray, shape (..., n_stamp)
        Values, SI units; ignored where the kind does not use them.

    Returns
    -------
    c, dc_dp0, dc_dp1, dc_dp2 : ndarray, shape (..., n_stamp)
        Coefficient (S or A) and its derivative by each value.

    Notes
    -----
    Closed forms of the table above; held to central differences by a property test.
    """
    shape = np.broadcast_shapes(kind.shape, p0.shape)
    code = np.broadcast_to(kind, shape)
    c = np.zeros(shape)
    d0, d1, d2 = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    present = set(np.unique(kind).tolist())

    def values(which: Coefficient) -> tuple[NDArray[np.bool_], Array, Array, Array] | None:
        if int(which) not in present:
            return None
        mask = code == which
        return mask, p0[mask], p1[mask], p2[mask]

    if (hit := values(Coefficient.CONDUCTANCE)) is not None:
        m, a, _, _ = hit
        c[m], d0[m] = 1.0 / a, -1.0 / a**2
    if (hit := values(Coefficient.THERMISTOR)) is not None:
        m, a, b, t = hit
        kelvin = t + KELVIN_AT_0_DEGC
        g = 1.0 / thermistor_ohm(a, b, t)
        c[m], d0[m] = g, -g / a
        d1[m] = -g * (1.0 / kelvin - 1.0 / KELVIN_AT_25_DEGC)
        d2[m] = g * b / kelvin**2
    if (hit := values(Coefficient.PLATINUM)) is not None:
        m, a, t, _ = hit
        ratio = platinum_ratio(t)
        cold = np.minimum(t, 0.0)
        slope = PLATINUM_A + 2 * PLATINUM_B * t + PLATINUM_C * (4 * cold - 300.0) * cold**2
        c[m] = 1.0 / (a * ratio)
        d0[m], d1[m] = -1.0 / (a**2 * ratio), -slope / (a * ratio**2)
    for which, sign in ((Coefficient.TRACK_UPPER, -1.0), (Coefficient.TRACK_LOWER, 1.0)):
        if (hit := values(which)) is not None:
            m, a, x, _ = hit
            inside = (x >= 0.0) & (x <= 1.0)
            part = np.clip(x if sign > 0 else 1.0 - x, 0.0, 1.0) + TRACK_END_SHARE
            c[m], d0[m] = 1.0 / (a * part), -1.0 / (a**2 * part)
            d1[m] = np.where(inside, -sign / (a * part**2), 0.0)
    if (hit := values(Coefficient.TRANSFER)) is not None:
        m, a, x, _ = hit
        c[m], d0[m], d1[m] = -x / a, x / a**2, -1.0 / a
    if (hit := values(Coefficient.TRANSFER_STARVED)) is not None:
        m, a, x, full = hit
        c[m], d0[m] = -x / (a * full), x / (a**2 * full)
        d1[m], d2[m] = -1.0 / (a * full), x / (a * full**2)
    for which in (Coefficient.SOURCE, Coefficient.SINK_STARVED):
        if (hit := values(which)) is not None:
            m, a, b, _ = hit
            c[m], d0[m], d1[m] = a / b, 1.0 / b, -a / b**2
    if (hit := values(Coefficient.CURRENT)) is not None:
        m, a, _, _ = hit
        c[m], d0[m] = a, 1.0
    return c, d0, d1, d2
