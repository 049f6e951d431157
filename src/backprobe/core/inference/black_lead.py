"""What the black lead's point does to all readings of a round: it lifts them, and divides them.

A sound point stands a few millivolts off battery negative. A bad one carries the current of other
consumers and is lifted by what they drop across it, steadily while they stay on; or it makes and
breaks contact, and moves from reading to reading; or it is hardly connected or not at all, and
divides what the meter sees.
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
# By kind of lead, all common practice: what it changes by from reading to reading, V; and how far
# it is lifted, V: ``size (z + stretch z^3)`` of a standard normal z. Sound, that is from round to
# round. Half of the steady ones are lifted by less than 0.3 V, one in ten by more than 1.4 V.
LEAD_WANDER = np.array([0.0, 0.01, 0.3])
LIFT_VOLT = np.array([0.005, 0.3, 1.0])
LIFT_STRETCH = np.array([TAIL_STRETCH, 0.67, TAIL_STRETCH])
# Share of every voltage that is left behind a wandering one (common practice), its soft edges from
# a clip that hangs free to one that touches; a wider one had far below nothing as likely as that.
# What is steady touches: beside 10 Mohm its resistance is nothing.
WANDERING_GAIN = (0.1, 1.0)


def lead_at(
    layout: Layout, sheet: Sheet, z: Array, kind: IntArray, *, sensitivities: bool
) -> tuple[Field, Field]:
    """Offset and gain of the black lead in each round.

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
    offset, gain : Field
        (M, R, 1): what is taken from every voltage, V, and what the rest is multiplied by.
    """
    n_m, n_r = kind.shape
    at = np.array([layout.lead(r) for r in range(n_r)], dtype=np.int64).reshape(n_r, 2)
    point_at = np.array([layout.point(r.point) for r in sheet.rounds], dtype=np.int64)
    bad = kind != LeadKind.SOUND
    shape, slope = normal_shape(z[:, at[:, 0]], LIFT_STRETCH[kind])
    point, point_slope = normal_shape(z[:, point_at])
    size, point_size = LIFT_VOLT[kind], np.where(bad, 0.0, SOUND_POINT_VOLT)
    offset = (size * shape + point_size * point)[..., None]
    low, high = WANDERING_GAIN
    flat, flat_slope = uniform_shape(z[:, at[:, 1]])
    loose = kind == LeadKind.WANDERING
    left = 0.5 * (low + high) + 0.5 * (high - low) * flat
    gain = np.where(loose, left, 1.0)[..., None]
    if not sensitivities:
        return Field(offset), Field(gain)
    offset_by, gain_by = np.zeros((n_m, n_r, 1, layout.size)), np.zeros((n_m, n_r, 1, layout.size))
    rounds = np.arange(n_r)
    offset_by[:, rounds, 0, at[:, 0]] = size * slope
    offset_by[:, rounds, 0, point_at] = point_size * point_slope
    gain_by[:, rounds, 0, at[:, 1]] = np.where(loose, 0.5 * (high - low) * flat_slope, 0.0)
    return Field(offset, offset_by), Field(gain, gain_by)


def lifted_alike(layout: Layout, z: Array, kind: IntArray, new_kind: IntArray) -> Array:
    """Coordinates by which leads of another kind are lifted by the same volts, (M, n_z).

    Parameters
    ----------
    layout : Layout
        Of the coordinates.
    z : ndarray, shape (M, n_z)
        Coordinates.
    kind, new_kind : ndarray of int, shape (M, R)
        `LeadKind` in each round, before and now.

    Notes
    -----
    The real root of ``z + s z^3 = t`` is ``2 / sqrt(3 s) sinh(asinh(1.5 t sqrt(3 s)) / 3)``, the
    hyperbolic form of Cardano's formula [nickalls1993].
    """
    at = [layout.lead(r)[0] for r in range(kind.shape[1])]
    lift = LIFT_VOLT[kind] * normal_shape(z[:, at], LIFT_STRETCH[kind])[0]
    share, root = lift / LIFT_VOLT[new_kind], np.sqrt(3.0 * LIFT_STRETCH[new_kind])
    moved = z.copy()
    moved[:, at] = 2.0 / root * np.sinh(np.arcsinh(1.5 * share * root) / 3.0)
    return moved
