"""Weighted draws from the posterior: explanations with their values, each with its weight."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Draws:
    """Weighted draws from the posterior, n_draw of them.

    hypothesis : ndarray of int, shape (n_draw,)
    condition : ndarray of int, shape (n_draw,): which measurement condition (sheet) it assumes.
    group : ndarray of int, shape (n_draw,): hypothesis and choices that it belongs to.
    z : list of coordinates is kept by condition since sheets share one layout, (n_draw, n_z)
    log_weight : ndarray, shape (n_draw,): prior, likelihood and proposal, not normalised.
    marginal : ndarray, shape (n_draw, n_terminal, n_terminal): wire probabilities by terminal.
    best : ndarray of int, shape (n_draw, n_terminal): most probable assignment.
    values : ndarray, shape (n_draw, R, P): circuit values in each round.
    """

    hypothesis: IntArray
    condition: IntArray
    group: IntArray
    z: Array
    log_weight: Array
    marginal: Array
    best: IntArray
    values: Array

    def rows(self, index: IntArray) -> "Draws":
        """Some of the draws."""
        return Draws(*(getattr(self, n)[index] for n in Draws.__dataclass_fields__))

    @property
    def weight(self) -> Array:
        """Normalised weights, (n_draw,)."""
        shifted = self.log_weight - self.log_weight.max()
        weight = np.exp(shifted)
        return np.asarray(weight / weight.sum())

    @property
    def effective_sample_size(self) -> float:
        """(sum w)^2 / sum w^2 [kong1994]."""
        w = self.weight
        return float(1.0 / np.sum(w**2))


def concatenate(parts: list[Draws]) -> Draws:
    """Draws one after the other."""
    return Draws(
        *(np.concatenate([getattr(p, n) for p in parts]) for n in Draws.__dataclass_fields__)
    )
