"""What each element contributes to the nodal equations, and how that moves with its values.

Every element is written as stamps. A conductance stamp adds ``c * u w'`` to the conductance
matrix (u, w: node differences; w = u for an ordinary two-terminal element, w elsewhere for a
controlled output), a current stamp adds ``c * u`` to the injected currents. The coefficient
``c`` is a function of at most three values, listed here with its partial derivatives.
"""

from collections.abc import Callable, Mapping
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
    SOURCE = 7  # current: p0 / p1 (p0 volt behind p1 ohm)
    CURRENT = 8  # current: p0
    SINK_STARVED = 9  # p0 / (p1 - p2): a current sink from its onset p2 to its full voltage p1
    SERIES = 10  # 1 / (p0 + p1): one resistance behind another
    SINK_ONSET = 11  # current: p0 p2 / (p1 - p2): what it takes less for beginning at its onset


CURRENT_KINDS = (Coefficient.SOURCE, Coefficient.CURRENT, Coefficient.SINK_ONSET)
LEAST_SPAN_VOLT = 0.1  # from a sink's onset to its full voltage


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


# Each law returns the coefficient and its derivatives by as many values as it uses.
def _conductance(ohm: Array, *_: Array) -> tuple[Array, ...]:
    return 1.0 / ohm, -1.0 / ohm**2


def _series(ohm: Array, further: Array, *_: Array) -> tuple[Array, ...]:
    total = ohm + further
    return 1.0 / total, -1.0 / total**2, -1.0 / total**2


def _thermistor(ohm_25: Array, beta: Array, celsius: Array) -> tuple[Array, ...]:
    kelvin = celsius + KELVIN_AT_0_DEGC
    g = 1.0 / thermistor_ohm(ohm_25, beta, celsius)
    by_beta = -g * (1.0 / kelvin - 1.0 / KELVIN_AT_25_DEGC)
    return g, -g / ohm_25, by_beta, g * beta / kelvin**2


def _platinum(ohm_0: Array, celsius: Array, *_: Array) -> tuple[Array, ...]:
    ratio, cold = platinum_ratio(celsius), np.minimum(celsius, 0.0)
    slope = PLATINUM_A + 2 * PLATINUM_B * celsius + PLATINUM_C * (4 * cold - 300.0) * cold**2
    g = 1.0 / (ohm_0 * ratio)
    return g, -g / ohm_0, -g * slope / ratio


def _track(ohm: Array, share: Array, sign: float) -> tuple[Array, ...]:
    inside = (share >= 0.0) & (share <= 1.0)  # the wiper stops at the track's ends
    part = np.clip(share if sign > 0 else 1.0 - share, 0.0, 1.0) + TRACK_END_SHARE
    g = 1.0 / (ohm * part)
    return g, -g / ohm, np.where(inside, -sign * g / part, 0.0)


def _track_upper(ohm: Array, share: Array, *_: Array) -> tuple[Array, ...]:
    return _track(ohm, share, -1.0)


def _track_lower(ohm: Array, share: Array, *_: Array) -> tuple[Array, ...]:
    return _track(ohm, share, 1.0)


def _transfer(ohm: Array, gain: Array, *_: Array) -> tuple[Array, ...]:
    return -gain / ohm, gain / ohm**2, -1.0 / ohm


def _ratio(volt: Array, ohm: Array, *_: Array) -> tuple[Array, ...]:
    return volt / ohm, 1.0 / ohm, -volt / ohm**2


def _sink_starved(ampere: Array, full: Array, onset: Array) -> tuple[Array, ...]:
    span = np.maximum(full - onset, LEAST_SPAN_VOLT)
    by_span = np.where(full - onset > LEAST_SPAN_VOLT, ampere / span**2, 0.0)
    return ampere / span, 1.0 / span, -by_span, by_span


def _sink_onset(ampere: Array, full: Array, onset: Array) -> tuple[Array, ...]:
    slope, by_ampere, by_full, by_onset = _sink_starved(ampere, full, onset)
    return slope * onset, by_ampere * onset, by_full * onset, by_onset * onset + slope


def _current(ampere: Array, *_: Array) -> tuple[Array, ...]:
    return ampere, np.ones_like(ampere)


_LAWS: Mapping[Coefficient, Callable[[Array, Array, Array], tuple[Array, ...]]] = {
    Coefficient.CONDUCTANCE: _conductance,
    Coefficient.THERMISTOR: _thermistor,
    Coefficient.PLATINUM: _platinum,
    Coefficient.TRACK_UPPER: _track_upper,
    Coefficient.TRACK_LOWER: _track_lower,
    Coefficient.TRANSFER: _transfer,
    Coefficient.SOURCE: _ratio,
    Coefficient.CURRENT: _current,
    Coefficient.SINK_STARVED: _sink_starved,
    Coefficient.SERIES: _series,
    Coefficient.SINK_ONSET: _sink_onset,
}


def coefficient_of(kind: Coefficient, p0: Array, p1: Array, p2: Array) -> tuple[Array, ...]:
    """Coefficients of stamps of one kind and their partial derivatives.

    Parameters
    ----------
    kind : Coefficient
        Any but `Coefficient.NONE`.
    p0, p1, p2 : ndarray, shape (n,)
        Values, SI units; ignored where the kind does not use them.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Coefficient (S or A) and its derivative by each value that the kind uses.
    """
    return _LAWS[kind](p0, p1, p2)


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
    result = (np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape))
    for present in np.unique(kind).tolist():
        law = _LAWS.get(Coefficient(present))
        if law is None:
            continue
        mask = code == present
        for target, found in zip(result, law(p0[mask], p1[mask], p2[mask]), strict=False):
            target[mask] = found
    return result
