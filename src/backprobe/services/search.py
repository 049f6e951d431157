"""Where to look for explanations: what the bank suggests, and the nearest rivals of the best.

1. The bank says which hypotheses and assignments deserve a fit.
2. The best families are fitted with every one of their faults, and their best assignments with
   every exchange of two terminals, so that nearest rivals are always weighed.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference import fit as fitting
from backprobe.core.inference.fit import Fit
from backprobe.core.inference.layout import Layout, layout_of
from backprobe.core.inference.screen import screen
from backprobe.core.inference.sheet import Sheet
from backprobe.services.bank_cache import Workbench
from backprobe.services.fits import fit_split, refined, score, start_z

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_START = 40
N_PARTICLE = 2  # starts of each explanation
N_FAMILY = 3  # families that are fitted with all their faults
N_LAST = 15  # explanations that are gone over once more
NEAR = 14.0  # nats behind the best within which they are
SEVERITY_STARTS = (-1.1, 0.0, 1.2)
FIRST_STEPS, WIDEN_STEPS = 4, 2


def explore(bench: Workbench, sheet: Sheet) -> Fit:
    """Fits of the sheet taken at its word."""
    table = bench.hypotheses.table
    names = [family.id for family, _ in bench.hypotheses.pairs]
    kin = np.unique(names, return_inverse=True)[1]
    start = screen(bench.bank, table, sheet, N_START, per_assignment=N_PARTICLE, kin=kin)
    z = start_z(bench, sheet, start.particle)
    first = fit_split(bench, start.hypothesis, start.assigned, z, sheet, FIRST_STEPS)
    return widened(bench, sheet, refined(bench, sheet, first, FIRST_STEPS))


def widened(bench: Workbench, sheet: Sheet, fits: Fit) -> Fit:
    """The same fits with their nearest rivals beside them, the best of all carried to the end."""
    wide = fitting.concatenate([fits, nearest_rivals(bench, sheet, fits)])
    near = refined(bench, sheet, wide)
    return refined(bench, sheet, near, most=N_LAST, within=NEAR)


def nearest_rivals(bench: Workbench, sheet: Sheet, first: Fit) -> Fit:
    """All faults of the best families, and all exchanges of two terminals of the best fit.

    Each fault is tried at several severities without fitting; its best one starts the fit.
    """
    table, hypotheses = bench.hypotheses.table, bench.hypotheses
    layout = layout_of(table, sheet)
    order = np.argsort(-(first.log_evidence + table.log_prior[first.hypothesis]))
    target, assigned, z = [], [], []
    families: list[str] = []
    for row in order:
        source = int(first.hypothesis[row])
        family = hypotheses.pairs[source][0].id
        if family in families:
            continue
        families.append(family)
        some = hypotheses.of_family(family)
        target.append(some)
        z.append(moved(bench, layout, source, first.z[row], some))
        assigned.append(np.repeat(first.assigned[row : row + 1], some.size, axis=0))
        if len(families) == N_FAMILY:
            break
    hypothesis, wires, start = np.concatenate(target), np.concatenate(assigned), np.concatenate(z)
    doubted = first.lead_bad[:1]
    start = _best_severity(bench, hypothesis, wires, start, sheet, doubted)
    best = int(order[0])
    swapped = _exchanges(first.assigned[best])
    n_swap = len(swapped)
    return fit_split(
        bench,
        np.concatenate([hypothesis, np.full(n_swap, first.hypothesis[best])]),
        np.concatenate([wires, swapped]),
        np.concatenate([start, np.repeat(first.z[best : best + 1], n_swap, axis=0)]),
        sheet,
        WIDEN_STEPS,
        np.repeat(doubted, hypothesis.size + n_swap, axis=0),
        gentle=fitting.GENTLE[-1:],
    )


def _best_severity(
    bench: Workbench,
    hypothesis: IntArray,
    assigned: IntArray,
    z: Array,
    sheet: Sheet,
    lead_bad: Bools,
) -> Array:
    """Starting coordinates with the severity that explains the readings best as they stand."""
    place = np.array([bench.hypotheses.severity_place(int(h)) for h in hypothesis])
    rows = np.arange(hypothesis.size)
    doubted = np.repeat(lead_bad, hypothesis.size, axis=0)
    scores, tried = [], []
    for severity in SEVERITY_STARTS:
        some = z.copy()
        some[rows[place >= 0], place[place >= 0]] = severity
        scores.append(score(bench, hypothesis, assigned, some, sheet, doubted).sum(axis=1))
        tried.append(some)
    best = np.argmax(np.stack(scores), axis=0)
    return np.asarray(np.stack(tried)[best, rows])


def _exchanges(assigned: IntArray) -> IntArray:
    """An assignment with every two of its terminals exchanged, (n_pair, n_terminal)."""
    pairs = list(combinations(range(assigned.size), 2))
    swapped = np.repeat(assigned[None], len(pairs), axis=0)
    for k, (a, b) in enumerate(pairs):
        swapped[k, [a, b]] = swapped[k, [b, a]]
    return swapped


def moved(bench: Workbench, layout: Layout, source: int, z: Array, target: IntArray) -> Array:
    """Coordinates of one hypothesis carried over to others by the names of their values."""
    h, choice_at = bench.hypotheses, bench.hypotheses.table.choice_at
    out = np.zeros((target.size, layout.size))
    free_from = {int(n): f for f, n in enumerate(h.free_name[source]) if n >= 0}
    driven_from = {int(n): q for q, n in enumerate(h.driven_name[source]) if n >= 0}
    choice_from = {h.driven_name[source, q]: c for c, q in enumerate(choice_at[source]) if q >= 0}
    choices = [
        layout.choice(r, e).start for r in range(layout.n_round) for e in range(layout.n_end)
    ]
    fixed_part = slice(layout.lead(0)[0], layout.size)
    for k, t in enumerate(target):
        for f, name in enumerate(h.free_name[t]):
            if int(name) in free_from:
                out[k, f] = z[free_from[int(name)]]
        for q, name in enumerate(h.driven_name[t]):
            if int(name) not in driven_from:
                continue
            p = driven_from[int(name)]
            for state in layout.states:
                out[k, layout.base(state).start + q] = z[layout.base(state).start + p]
            for r in range(layout.n_round):
                out[k, layout.change(r).start + q] = z[layout.change(r).start + p]
        for c, q in enumerate(choice_at[t]):
            if q >= 0 and h.driven_name[t, q] in choice_from:
                for start in choices:
                    out[k, start + c] = z[start + choice_from[h.driven_name[t, q]]]
        out[k, fixed_part] = z[fixed_part]
    return out
