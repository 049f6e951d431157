"""Explanations with a slowly pulsing driver taken to stand still instead.

A driver that is on for a few thousandths of the time leaves a mean that is nearly the steady level,
but what a meter shows of it wanders: beside the true explanation (off altogether) lies a second one
(barely pulsing) that takes a firm reading for a chance one. No small step leads from one to the
other, since how closely readings agree tells a fit nothing of shares. So both are fitted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.layout import base_index, layout_of
from backprobe.core.inference.prior import PriorTable, to_coordinates
from backprobe.core.inference.round_values import plan_rounds, round_values
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEARLY = 0.12  # share of time from a limit within which standing still may be meant
WORTH = 10.0  # nats behind the best within which it is tried
MOST = 12  # such explanations, at most
BEYOND = 1e-3  # coordinates beyond the limit, so that it is at it


def held_still(bench: Workbench, sheet: Sheet, fits: Fit) -> tuple[IntArray, Array]:
    """The best explanations with each nearly steady switch steady in all rounds of its state.

    Parameters
    ----------
    bench : Workbench
        Of the sheet.
    sheet : Sheet
        What was fitted.
    fits : Fit
        Explanations.

    Returns
    -------
    source : ndarray of int, shape (n,)
        Explanation that each comes from, the best first.
    z : ndarray, shape (n, n_z)
        Its coordinates, changed.
    """
    table = bench.hypotheses.table
    score = fits.log_posterior + table.log_prior[fits.hypothesis]
    some = np.flatnonzero(score > score.max() - WORTH)
    some = some[(table.circuits.switch_share[fits.hypothesis[some]] >= 0).any(axis=1)]
    source, z = [np.zeros(0, dtype=np.int64)], [np.zeros((0, fits.z.shape[1]))]
    if some.size:
        for side in (-1, 1):
            for row, changed in _steady(bench, sheet, fits.rows(some), side):
                source.append(some[row])
                z.append(changed)
    joined = np.concatenate(source)
    order = np.argsort(-score[joined], kind="stable")[:MOST]
    return joined[order], np.concatenate(z)[order]


def _steady(bench: Workbench, sheet: Sheet, fits: Fit, side: int) -> list[tuple[IntArray, Array]]:
    """Rows whose switches nearly stand on one side (-1: off, 1: on), and their new coordinates."""
    table = bench.hypotheses.table
    rows, layout = table.rows(fits.hypothesis), layout_of(table, sheet)
    value = round_values(plan_rounds(rows, layout, sheet), fits.z).value  # (M, R, S, P)
    row, found = np.arange(fits.hypothesis.size), []
    for slot in table.circuits.switch_share[fits.hypothesis].T:
        is_share = (rows.driven_slot == slot[:, None]) & (slot >= 0)[:, None]  # (M, Q)
        place = np.argmax(is_share, axis=1)
        share = value[row, :, 0, np.maximum(slot, 0)]  # (M, R)
        off = share if side < 0 else 1.0 - share
        at = np.stack([base_index(rows, layout, r.state)[row, place] for r in sheet.rounds], axis=1)
        for state in layout.states:
            base = base_index(rows, layout, state)[row, place]
            mine = at == base[:, None]  # (M, R)
            near = np.where(mine, off, 0.0).max(axis=1)
            which = np.flatnonzero(is_share.any(axis=1) & (near > 0.0) & (near < NEARLY))
            if not which.size:
                continue
            z, q = fits.z[which], place[which]
            z[np.arange(which.size), base[which]] = _limit(rows, which, state, q, side)
            for r in range(layout.n_round):
                change = layout.change(r).start + q
                kept = z[np.arange(which.size), change]
                z[np.arange(which.size), change] = np.where(mine[which, r], 0.0, kept)
            found.append((which, z))
    return found


def _limit(rows: HypothesisTable, which: IntArray, state: int, q: IntArray, side: int) -> Array:
    """The most probable coordinate at which a share of time stands at its limit."""
    whole = rows.driven_prior.in_states(np.array(state))
    prior = PriorTable(*(getattr(whole, n)[which, q] for n in PriorTable.__dataclass_fields__))
    limit = prior.lowest if side < 0 else prior.highest
    at = side * to_coordinates(prior, limit)
    return np.asarray(side * (np.maximum(at, 0.0) + BEYOND))
