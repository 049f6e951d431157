"""What two circuits have in common, carried from the coordinates of one to those of the other.

Values go by their names. One keeps its volts and ohms, a choice its option, however likely each
is in the other circuit: what a sound sensor hardly ever shows may be usual for a broken one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import Layout, base_index
from backprobe.core.inference.prior import (
    PriorTable,
    option_at,
    option_middles,
    to_coordinates,
    to_values,
)
from backprobe.services.bank_cache import Workbench

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

FURTHEST = 2.5  # coordinate at which a value starts that the other circuit hardly ever has


def moved(bench: Workbench, layout: Layout, source: int, z: Array, target: IntArray) -> Array:
    """Coordinates of one hypothesis carried over to others by the names of their values."""
    return carried_over(bench, layout, source, z, target)[0]


def carried_over(
    bench: Workbench, layout: Layout, source: int, z: Array, target: IntArray
) -> tuple[Array, Bools]:
    """As `moved`, and which coordinates it says something of; the others are 0.

    Parameters
    ----------
    bench : Workbench
        Of the sheet.
    layout : Layout
        Of the coordinates.
    source : int
        Hypothesis that they are known of.
    z : ndarray, shape (n_z,)
    target : ndarray of int, shape (n,)
        Hypotheses.

    Returns
    -------
    carried : ndarray, shape (n, n_z)
    told : ndarray of bool, shape (n, n_z)
    """
    h, table = bench.hypotheses, bench.hypotheses.table
    out = np.zeros((target.size, layout.size))
    told = np.zeros(out.shape, dtype=bool)
    free = _places(h.free_name[source], h.free_name[target])
    row, to = np.nonzero(free >= 0)
    of = free[row, to]
    out[row, to], told[row, to] = z[of], True
    # How bad a fault is says nothing of another one; it is tried anew.
    is_same = to != table.severity_at[target[row]]
    row, to, of = row[is_same], to[is_same], of[is_same]
    out[row, to] = _same_value(
        table.static, (np.full(of.size, source), of), (target[row], to), z[of]
    )
    driven = _places(h.driven_name[source], h.driven_name[target])
    row, q = np.nonzero(driven >= 0)
    of = driven[row, q]
    for state in layout.states:
        known = z[_base(table, layout, state, source)[of]]
        places = np.full(of.size, state)
        at = layout.base(state).start + q
        out[row, at] = _same_value(
            table.driven_prior,
            (np.full(of.size, source), places, of),
            (target[row], places, q),
            known,
        )
        told[row, at] = True
    for r in range(layout.n_round):
        start = layout.change(r).start
        out[row, start + q], told[row, start + q] = z[start + of], True
    _carry_choices(bench, layout, source, z, target, out, told)
    fixed_part = slice(layout.lead(0)[0], layout.size)
    out[:, fixed_part], told[:, fixed_part] = z[fixed_part], True
    return out, told


def _places(own: IntArray, others: IntArray) -> IntArray:
    """Where names (n, k) are among a circuit's own, -1 where it has none, (n, k)."""
    found = (others[:, :, None] == own) & (own >= 0)
    return np.asarray(np.where(found.any(axis=2), found.argmax(axis=2), -1))


def _base(table: HypothesisTable, layout: Layout, state: int, source: int) -> IntArray:
    """Coordinate of each driven quantity of a hypothesis in a state, (Q,)."""
    return np.asarray(base_index(table.rows(np.array([source])), layout, state)[0])


def _carry_choices(
    bench: Workbench,
    layout: Layout,
    source: int,
    z: Array,
    target: IntArray,
    out: Array,
    told: Bools,
) -> None:
    """The driven choices of each round."""
    h, choice_at = bench.hypotheses, bench.hypotheses.table.choice_at
    own = {h.driven_name[source, q]: c for c, q in enumerate(choice_at[source]) if q >= 0}
    starts = [layout.choice(r, e).start for r in range(layout.n_round) for e in range(layout.n_end)]
    for k, t in enumerate(target):
        for c, q in enumerate(choice_at[t]):
            if q >= 0 and h.driven_name[t, q] in own:
                for start in starts:
                    at = start + c
                    out[k, at], told[k, at] = z[start + own[h.driven_name[t, q]]], True


def _same_value(
    prior: PriorTable, source: tuple[IntArray, ...], target: tuple[IntArray, ...], z: Array
) -> Array:
    """Coordinates, (n,), at which values lie in other circuits; as they are where none differs."""
    of, to = _at(prior, source), _at(prior, target)
    out = z.copy()
    is_choice = of.is_choice & to.is_choice
    other = is_choice & ~np.all(of.edge == to.edge, axis=1)
    if other.any():
        middle = option_middles(to.choice[other], to.edge[other])
        place = option_at(of.edge[other], z[other])
        found = middle[np.arange(place.size), place]
        out[other] = np.where(np.isnan(found), z[other], found)
    names = ("centre", "scale", "is_log", "is_uniform")
    differs = np.any([getattr(of, n) != getattr(to, n) for n in names], axis=0)
    some = differs & ~of.is_choice & ~to.is_choice & (of.scale > 0) & (to.scale > 0)
    if some.any():
        value = to_values(of.rows(np.flatnonzero(some)), z[some])[0]
        found = to_coordinates(to.rows(np.flatnonzero(some)), value)
        out[some] = np.clip(found, -FURTHEST, FURTHEST)
    return out


def _at(prior: PriorTable, place: tuple[IntArray, ...]) -> PriorTable:
    """Priors at some places of a table, one in a row."""
    return PriorTable(*(getattr(prior, n)[place] for n in PriorTable.__dataclass_fields__))
