"""Priors as smooth maps from standard normal coordinates to values.

Every unknown value is ``value = map(z)`` with ``z`` standard normal, so that fitting, sampling
and Occam factors are the same for all of them. Real vehicles lie outside what a list of priors
foresees more often than its limits say; the maps therefore have wider tails than the laws they
are named after, in both shapes alike: a normal prior's tail stretches (`normal_shape`), a uniform
prior has soft edges (`uniform_shape`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

TAIL_STRETCH = 0.06  # cubic stretch of a normal prior: z = 2 lies at 2.5, z = 3 at 4.6 deviations
EDGE_SOFTNESS = 0.12  # how far a uniform prior goes on beyond its edges, half-widths per z
N_CHOICE = 4  # most options of one choice
FURTHEST_INVERSE = 6.0  # coordinates looked for when a value is given
_HALVINGS = 40  # of the interval between them: to 1e-11
_ROOT_2_PI = float(np.sqrt(2.0 * np.pi))


def normal_shape(z: Array, stretch: float | Array = TAIL_STRETCH) -> tuple[Array, Array]:
    """Deviation in standard deviations, and its slope: z + stretch z^3.

    Parameters
    ----------
    z : ndarray
        Standard normal coordinates, 1.
    stretch : float or ndarray, shape of ``z``
        How much longer the tails are than those of a normal distribution, 1.

    Returns
    -------
    shape, slope : ndarray
        Same shape as ``z``, 1.
    """
    square = z * z
    return z + stretch * square * z, 1.0 + 3.0 * stretch * square


def uniform_shape(z: Array) -> tuple[Array, Array]:
    """Position from -1 to 1 between the limits, with soft edges beyond, and its slope.

    Parameters
    ----------
    z : ndarray
        Standard normal coordinates, 1.

    Returns
    -------
    shape, slope : ndarray
        2 Phi(z) - 1 + softness z, and its derivative; five in six lie within the limits.
    """
    density = np.exp(-0.5 * z * z) / _ROOT_2_PI
    return 2.0 * ndtr(z) - 1.0 + EDGE_SOFTNESS * z, 2.0 * density + EDGE_SOFTNESS


@dataclass(frozen=True, slots=True)
class PriorTable:
    """Priors of many values: ``value = exp or not (centre + scale * shape(z))``.

    centre, scale : ndarray, shape (..., n_value)
        In the value's unit, or its natural logarithm where ``is_log``.
    is_log, is_uniform : ndarray of bool, same shape
        Whether the map is exponential, and which shape it uses.
    lowest, highest : ndarray, same shape
        Limits that physics sets (a share lies within 0 and 1), in the value's unit.
    choice, edge : ndarray, shape (..., n_value, N_CHOICE)
        Values of a choice and the upper edge of each one's bin of z; NaN and inf pad them.
        A value with ``choice[..., 0]`` not NaN is a choice.
    """

    centre: Array
    scale: Array
    is_log: Bools
    is_uniform: Bools
    lowest: Array
    highest: Array
    choice: Array
    edge: Array

    def rows(self, index: NDArray[np.int64]) -> "PriorTable":
        """Priors of some rows."""
        return PriorTable(
            self.centre[index],
            self.scale[index],
            self.is_log[index],
            self.is_uniform[index],
            self.lowest[index],
            self.highest[index],
            self.choice[index],
            self.edge[index],
        )

    def in_states(self, states: NDArray[np.int64]) -> "PriorTable":
        """Priors (M, S, n_value) in some of the S states each, (M, *states.shape, n_value)."""
        names = PriorTable.__dataclass_fields__
        return PriorTable(*(getattr(self, n).take(states, axis=1) for n in names))

    def laid_out(self) -> "PriorTable":
        """Priors (M, ..., n_value) in one row each, (M, n)."""
        n_m, inner = self.centre.shape[0], self.centre.ndim
        parts = (getattr(self, name) for name in PriorTable.__dataclass_fields__)
        # Choices have one axis more.
        return PriorTable(*(part.reshape(n_m, -1, *part.shape[inner:]) for part in parts))

    def followed_by(self, other: "PriorTable") -> "PriorTable":
        """Priors (M, n) and those of another table (M, k), as (M, n + k)."""
        names = PriorTable.__dataclass_fields__
        return PriorTable(
            *(np.concatenate([getattr(self, n), getattr(other, n)], axis=1) for n in names)
        )

    @property
    def is_choice(self) -> Bools:
        """Which values are choices, shape (..., n_value)."""
        return np.asarray(~np.isnan(self.choice[..., 0]))


def to_values(prior: PriorTable, z: Array) -> tuple[Array, Array]:
    """Values at coordinates, and their slopes.

    Parameters
    ----------
    prior : PriorTable
        Shapes broadcast against ``z``.
    z : ndarray, shape (..., n_value)
        Standard normal coordinates.

    Returns
    -------
    value, slope : ndarray, shape (..., n_value)
        Values, and d value / d z (at a limit, towards its inside).
    """
    shape, slope = normal_shape(z)
    if prior.is_uniform.any():
        flat, flat_slope = uniform_shape(z)
        shape = np.where(prior.is_uniform, flat, shape)
        slope = np.where(prior.is_uniform, flat_slope, slope)
    value, slope = prior.centre + prior.scale * shape, prior.scale * slope
    if prior.is_log.any():
        raised = np.exp(np.where(prior.is_log, value, 0.0))
        slope = np.where(prior.is_log, raised * slope, slope)
        value = np.where(prior.is_log, raised, value)
    clipped = np.clip(value, prior.lowest, prior.highest)
    chosen = prior.is_choice
    if chosen.any():
        chosen = np.broadcast_to(chosen, clipped.shape)
        edge, options = (
            np.broadcast_to(all_, (*clipped.shape, N_CHOICE))[chosen]
            for all_ in (prior.edge, prior.choice)
        )  # (n_chosen, N_CHOICE)
        own = np.broadcast_to(z, clipped.shape)[chosen]
        place = np.minimum((own[:, None] > edge).sum(axis=1), N_CHOICE - 1)
        clipped[chosen] = options[np.arange(place.size), place]
        slope[chosen] = 0.0
    return clipped, slope


def to_coordinates(prior: PriorTable, value: Array) -> Array:
    """Coordinates at which values lie, by bisection.

    Parameters
    ----------
    prior : PriorTable
        No choices; shapes broadcast against ``value``.
    value : ndarray, shape (..., n_value)
        Values; what lies outside of all that coordinates of `FURTHEST_INVERSE` reach is taken for
        the nearest that does.

    Returns
    -------
    ndarray, shape (..., n_value)
        Standard normal coordinates; 0 where a value has no width.
    """
    inner = np.where(prior.is_log, np.log(np.maximum(value, 1e-300)), value)
    target = (inner - prior.centre) / np.where(prior.scale > 0, prior.scale, 1.0)
    low = np.full(target.shape, -FURTHEST_INVERSE)
    high = -low
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        shape = np.where(prior.is_uniform, uniform_shape(middle)[0], normal_shape(middle)[0])
        is_below = shape < target
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    return np.asarray(np.where(prior.scale > 0, 0.5 * (low + high), 0.0))


def choice_bin(prior: PriorTable, z: Array) -> tuple[NDArray[np.int64], Array]:
    """Which option each coordinate falls on, and its log probability.

    Parameters
    ----------
    prior : PriorTable
        Shapes broadcast against ``z``.
    z : ndarray, shape (..., n_value)
        Coordinates.

    Returns
    -------
    place : ndarray of int, shape (..., n_value)
        Option, 0 where the value is no choice.
    log_probability : ndarray, shape (..., n_value)
        Its log probability, 0 where the value is no choice.
    """
    shape = np.broadcast_shapes(prior.centre.shape, z.shape)
    edge = np.broadcast_to(prior.edge, (*shape, N_CHOICE))
    place = option_at(edge, z)
    upper = ndtr(np.take_along_axis(edge, place[..., None], axis=-1)[..., 0])
    below = np.take_along_axis(edge, np.maximum(place - 1, 0)[..., None], axis=-1)[..., 0]
    lower = np.where(place > 0, ndtr(below), 0.0)
    chosen = np.broadcast_to(prior.is_choice, shape)
    log_p = np.log(np.maximum(upper - lower, 1e-12))
    return np.where(chosen, place, 0), np.where(chosen, log_p, 0.0)


def option_at(edge: Array, z: Array) -> NDArray[np.int64]:
    """Which option coordinates (...) fall on, given the upper edges (..., N_CHOICE) of all."""
    return np.asarray(np.minimum((z[..., None] > edge).sum(axis=-1), N_CHOICE - 1))


def option_middles(choice: Array, edge: Array) -> Array:
    """Coordinate in the middle of each option's bin, NaN where there is no option.

    Parameters
    ----------
    choice, edge : ndarray, shape (..., N_CHOICE)
        As in `PriorTable`.

    Returns
    -------
    ndarray, shape (..., N_CHOICE)
    """
    upper = ndtr(edge)
    lower = np.concatenate([np.zeros_like(upper[..., :1]), upper[..., :-1]], axis=-1)
    middle = ndtri(np.clip(0.5 * (upper + lower), 1e-6, 1.0 - 1e-6))
    return np.where(np.isnan(choice), np.nan, middle)
