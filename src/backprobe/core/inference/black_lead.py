"""What the black lead's point does to all readings of a round: it lifts them, and divides them.

A sound point stands a few millivolts off battery negative. A bad one carries the current of other
consumers and is lifted by what they drop across it, steadily while they stay on; or it makes and
breaks contact, and moves from reading to reading; or it is hardly connected or not at all. Its
resistance lies in series with the meter and with whatever loads the wire between it and the probe:
against 10 Mohm it is often nothing, of a loading resistor it may leave nothing.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.layout import Layout
from backprobe.core.inference.prediction import Field
from backprobe.core.inference.prior import TAIL_STRETCH, normal_shape, uniform_shape
from backprobe.core.inference.sheet import Sheet

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


class LeadKind(IntEnum):
    """How the black lead's point of a round is."""

    SOUND = 0
    STEADY = 1  # bad, and lifted by the same from reading to reading
    WANDERING = 2  # bad, and another at each reading


SOUND_POINT_VOLT = 0.01  # offset of a sound point, one standard deviation (common practice)
# By kind of lead, all common practice: what it changes by from reading to reading, V, and as a
# share of how far it is lifted; and that, V: ``size (z + stretch z^3)`` of a standard normal z.
# Sound, it is from round to round. Half of the steady ones are lifted by less than 0.3 V, one in
# ten by more than 1.4 V.
WANDER_VOLT = np.array([0.0, 0.01, 0.2])
WANDER_SHARE = np.array([0.0, 0.0, 0.3])
LIFT_VOLT = np.array([0.005, 0.3, 1.0])
LIFT_STRETCH = np.array([TAIL_STRETCH, 0.67, TAIL_STRETCH])
# Resistance to battery negative, by kind of lead, ohm: the middle of its logarithm and half of its
# width (common practice). What is steady is anything from 10 mohm, a corroded strap, to the 10 Mohm
# of damp dirt; a wandering one from 1 ohm, a clip that touches, to 100 Mohm, one that hangs free. A
# sound one has none that a meter could tell.
LOG_OHM = np.array([-np.inf, np.log(10**2.5), np.log(1e4)])
LOG_OHM_HALF = np.array([0.0, np.log(10**4.5), np.log(1e4)])


def lead_at(
    layout: Layout, sheet: Sheet, z: Array, kind: IntArray, *, sensitivities: bool
) -> tuple[Field, Field]:
    """Offset and resistance of the black lead in each round.

    Parameters
    ----------
    layout : Layout
        Of the coordinates.
    sheet : Sheet
        Its rounds.
    z : ndarray, shape (M, n_z)
        Coordinates.
    kind : ndarray of int, shape (M, R)
        `LeadKind` in each round.
    sensitivities : bool
        Whether to return derivatives by z.

    Returns
    -------
    offset, ohm : Field
        (M, R, 1): what is taken from every voltage, V, and what lies in series with it, ohm.
    """
    n_m, n_r = kind.shape
    at = np.array([layout.lead(r) for r in range(n_r)], dtype=np.int64).reshape(n_r, 2)
    point_at = np.array([layout.point(r.point) for r in sheet.rounds], dtype=np.int64)
    bad = kind != LeadKind.SOUND
    shape, slope = normal_shape(z[:, at[:, 0]], LIFT_STRETCH[kind])
    point, point_slope = normal_shape(z[:, point_at])
    size, point_size = LIFT_VOLT[kind], np.where(bad, 0.0, SOUND_POINT_VOLT)
    offset = (size * shape + point_size * point)[..., None]
    flat, flat_slope = uniform_shape(z[:, at[:, 1]])
    ohm = np.exp(LOG_OHM[kind] + LOG_OHM_HALF[kind] * flat)
    if not sensitivities:
        return Field(offset), Field(ohm[..., None])
    offset_by, ohm_by = np.zeros((n_m, n_r, 1, layout.size)), np.zeros((n_m, n_r, 1, layout.size))
    rounds = np.arange(n_r)
    offset_by[:, rounds, 0, at[:, 0]] = size * slope
    offset_by[:, rounds, 0, point_at] = point_size * point_slope
    ohm_by[:, rounds, 0, at[:, 1]] = ohm * LOG_OHM_HALF[kind] * flat_slope
    return Field(offset, offset_by), Field(ohm[..., None], ohm_by)


def wander_of(kind: IntArray, offset: Array) -> tuple[Array, Array]:
    """What a lead changes by from reading to reading.

    Parameters
    ----------
    kind : ndarray of int
        `LeadKind`.
    offset : ndarray, same shape
        How far it is lifted, V.

    Returns
    -------
    wander, slope : ndarray, same shape
        Standard deviation, V; half the slope of its square by the offset, V.
    """
    share = WANDER_SHARE[kind]
    return np.hypot(WANDER_VOLT[kind], share * offset), share**2 * offset


def lifted_alike(layout: Layout, z: Array, kind: IntArray, new_kind: IntArray) -> Array:
    """Coordinates by which leads of another kind are lifted alike and have the same ohms, (M, n_z).

    Parameters
    ----------
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)
        Coordinates.
    kind, new_kind : ndarray of int, shape (M, R)
        `LeadKind` in each round, before and now.

    Returns
    -------
    ndarray, shape (M, n_z)
        The ohms as near as the other kind comes; as they were where one of both kinds is sound.
    """
    at = np.array([layout.lead(r) for r in range(kind.shape[1])], dtype=np.int64).reshape(-1, 2)
    lift = LIFT_VOLT[kind] * normal_shape(z[:, at[:, 0]], LIFT_STRETCH[kind])[0]
    moved = z.copy()
    moved[:, at[:, 0]] = _lift_coordinate(lift, new_kind)
    bad = (kind != LeadKind.SOUND) & (new_kind != LeadKind.SOUND)
    flat = uniform_shape(z[:, at[:, 1]])[0][bad]
    log_ohm = LOG_OHM[kind[bad]] + LOG_OHM_HALF[kind[bad]] * flat
    behind = moved[:, at[:, 1]]
    behind[bad] = _ohm_coordinate(log_ohm, new_kind[bad])
    moved[:, at[:, 1]] = behind
    return moved


def behind_leads(layout: Layout, z: Array, rounds: IntArray, lift: Array, ohm: Array) -> Array:
    """Coordinates with wandering black leads of given lift and resistance, (M, n_z).

    Parameters
    ----------
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)
        Coordinates.
    rounds : ndarray of int, shape (n,)
        Rounds of these leads.
    lift, ohm : ndarray, shape (n,)
        Volts above battery negative, V; resistance to it, ohm, as near as a wandering one comes.
    """
    at = np.array([layout.lead(r) for r in rounds], dtype=np.int64).reshape(-1, 2)
    kind = np.full(rounds.shape, int(LeadKind.WANDERING))
    moved = z.copy()
    moved[:, at[:, 0]] = _lift_coordinate(lift, kind)
    moved[:, at[:, 1]] = _ohm_coordinate(np.log(np.maximum(ohm, 1e-9)), kind)
    return moved


def _ohm_coordinate(log_ohm: Array, kind: IntArray) -> Array:
    """Where the resistance is that, or at the limit next to it, by Newton's method."""
    flat = np.clip((log_ohm - LOG_OHM[kind]) / LOG_OHM_HALF[kind], -1.0, 1.0)
    z: Array = flat.copy()
    for _ in range(6):
        shape, slope = uniform_shape(z)
        z -= (shape - flat) / slope
    return z


def _lift_coordinate(lift: Array, kind: IntArray) -> Array:
    """Where ``z + s z^3`` is the lift over its size.

    The real root of ``z + s z^3 = t`` is ``2 / sqrt(3 s) sinh(asinh(1.5 t sqrt(3 s)) / 3)``, the
    hyperbolic form of Cardano's formula [nickalls1993].
    """
    root = np.sqrt(3.0 * LIFT_STRETCH[kind])
    return np.asarray(2.0 / root * np.sinh(np.arcsinh(1.5 * lift / LIFT_VOLT[kind] * root) / 3.0))
